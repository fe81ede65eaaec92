// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writes pcapng. Always little-endian, so that the same exchanges give the same bytes on every
// machine, and one whole block per write, so that what a power failure leaves ends at a block or in
// the middle of the last one.
//
//   section header:     type length magic 1.0 section-length(-1) options length
//   interface:          type length linktype 0 snaplen(0: none) options length
//   enhanced packet:    type length interface time-high time-low captured original bytes pad
//                       options length
#include "capture/pcapng.h"

#include "capture/block.h"
#include <assert.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

struct lw_capture {
    struct lw_file *file;
    struct lw_text block; // under construction
    uint64_t count;
    uint64_t bytes;          // handed to the file
    struct lw_error failure; // the first one: nothing may follow half a block
};

static void put16(struct lw_text *block, unsigned value)
{
    const unsigned char bytes[2] = {(unsigned char)value, (unsigned char)(value >> 8)};
    lw_text_put(block, (const char *)bytes, sizeof bytes);
}

static void put32(struct lw_text *block, uint32_t value)
{
    put16(block, value & 0xffff);
    put16(block, value >> 16);
}

static void put_padded(struct lw_text *block, const void *bytes, size_t count)
{
    static const char zero[4] = {0};
    lw_text_put(block, bytes, count);
    lw_text_put(block, zero, (4 - count % 4) % 4);
}

static void option(struct lw_text *block, unsigned code, const void *bytes, size_t count)
{
    put16(block, code);
    put16(block, (unsigned)count);
    put_padded(block, bytes, count);
}

static void option_text(struct lw_text *block, unsigned code, const char *text)
{
    if (text && text[0]) {
        size_t count = strlen(text);
        option(block, code, text, count < LW_BLOCK_TEXT ? count : LW_BLOCK_TEXT);
    }
}

static void block_begin(struct lw_text *block, uint32_t type)
{
    lw_text_clear(block);
    put32(block, type);
    put32(block, 0);
}

// Ends the options and the block, and writes it. The length stands at both ends, so that a file can
// be read backwards.
static enum lw_status block_end(struct lw_capture *capture, struct lw_error *error)
{
    struct lw_text *block = &capture->block;
    put32(block, 0);
    uint32_t length = (uint32_t)block->length + 4;
    put32(block, length);
    if (lw_text_check(block, error) != LW_OK) {
        return LW_MEMORY;
    }
    for (unsigned i = 0; i < 4; i++) {
        block->bytes[4 + i] = (char)(length >> (8 * i));
    }
    capture->bytes += block->length;
    enum lw_status status = lw_file_append(capture->file, block->bytes, block->length, error);
    return status == LW_OK ? lw_file_flush(capture->file, error) : status;
}

static enum lw_status write_section(struct lw_capture *capture,
                                    const struct lw_capture_facts *facts, struct lw_error *error)
{
    struct lw_text *block = &capture->block;
    block_begin(block, LW_BLOCK_SECTION);
    put32(block, LW_BLOCK_MAGIC);
    put16(block, 1);
    put16(block, 0);
    put32(block, UINT32_MAX);
    put32(block, UINT32_MAX);
    option_text(block, LW_OPTION_APPLICATION, facts->application);
    option_text(block, LW_OPTION_COMMENT, facts->simulated ? LW_CAPTURE_SIMULATED : NULL);
    return block_end(capture, error);
}

static enum lw_status write_interface(struct lw_capture *capture,
                                      const struct lw_capture_facts *facts, struct lw_error *error)
{
    struct lw_text *block = &capture->block;
    block_begin(block, LW_BLOCK_INTERFACE);
    put16(block, facts->adu == LW_ADU_MBAP ? LW_LINKTYPE_MBAP : LW_LINKTYPE_RTU);
    put16(block, 0);
    put32(block, 0);
    option_text(block, LW_OPTION_NAME, facts->line);
    option_text(block, LW_OPTION_DESCRIPTION, facts->framing);
    option_text(block, LW_OPTION_COMMENT, facts->comment);
    option(block, LW_OPTION_RESOLUTION, "\x09", 1);
    return block_end(capture, error);
}

static enum lw_status write_head(struct lw_capture *capture, const struct lw_capture_facts *facts,
                                 struct lw_error *error)
{
    enum lw_status status = write_section(capture, facts, error);
    return status == LW_OK ? write_interface(capture, facts, error) : status;
}

enum lw_status lw_capture_create(const char *path, const struct lw_capture_facts *facts,
                                 struct lw_capture **capture, struct lw_error *error)
{
    assert(path && facts && capture);
    struct lw_capture *created = calloc(1, sizeof *created);
    if (!created) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    enum lw_status status = lw_file_create(path, &created->file, error);
    if (status == LW_OK) {
        status = write_head(created, facts, error);
    }
    if (status != LW_OK) {
        lw_capture_close(created, NULL, NULL);
        return status;
    }
    *capture = created;
    return LW_OK;
}

static uint32_t packet_flags(const struct lw_packet *packet)
{
    static const uint32_t bits[] = {LW_EPB_CRC_ERROR, LW_EPB_TOO_SHORT, LW_EPB_GAP_ERROR,
                                    LW_EPB_SYMBOL_ERROR};
    uint32_t flags = packet->outbound ? LW_EPB_OUTBOUND : LW_EPB_INBOUND;
    for (unsigned i = 0; i < 4; i++) {
        if (packet->damage & (1u << i)) {
            flags |= bits[i];
        }
    }
    return flags;
}

static void packet_options(struct lw_text *block, const struct lw_packet *packet)
{
    uint32_t flags = packet_flags(packet);
    const unsigned char wire[4] = {(unsigned char)flags, (unsigned char)(flags >> 8),
                                   (unsigned char)(flags >> 16), (unsigned char)(flags >> 24)};
    option(block, LW_OPTION_FLAGS, wire, sizeof wire);
    if (packet->last_utc_ns >= packet->first_utc_ns) {
        char comment[40];
        lw_print(comment, sizeof comment, "last=+%" PRId64 "ns",
                 packet->last_utc_ns - packet->first_utc_ns);
        option_text(block, LW_OPTION_COMMENT, comment);
    }
}

static enum lw_status write_packet(struct lw_capture *capture, const struct lw_packet *packet,
                                   struct lw_error *error)
{
    struct lw_text *block = &capture->block;
    uint64_t time_ns = (uint64_t)packet->first_utc_ns;
    block_begin(block, LW_BLOCK_PACKET);
    put32(block, 0);
    put32(block, (uint32_t)(time_ns >> 32));
    put32(block, (uint32_t)time_ns);
    put32(block, (uint32_t)packet->count);
    put32(block, (uint32_t)packet->count);
    put_padded(block, packet->bytes, packet->count);
    packet_options(block, packet);
    return block_end(capture, error);
}

enum lw_status lw_capture_packet(struct lw_capture *capture, const struct lw_packet *packet,
                                 struct lw_error *error)
{
    assert(capture && packet && packet->first_utc_ns >= 0);
    assert(packet->count <= LW_CAPTURE_PACKET_MOST);
    if (capture->failure.status == LW_OK &&
        write_packet(capture, packet, &capture->failure) == LW_OK) {
        capture->count++;
        return LW_OK;
    }
    if (error) {
        *error = capture->failure;
    }
    return capture->failure.status;
}

uint64_t lw_capture_count(const struct lw_capture *capture)
{
    return capture->count;
}

uint64_t lw_capture_bytes(const struct lw_capture *capture)
{
    return capture->bytes;
}

enum lw_status lw_capture_close(struct lw_capture *capture, char digest[LW_DIGEST],
                                struct lw_error *error)
{
    if (!capture) {
        return LW_OK;
    }
    enum lw_status status = lw_file_close(capture->file, digest, error);
    if (capture->failure.status != LW_OK) {
        status = capture->failure.status;
        if (error) {
            *error = capture->failure;
        }
    }
    lw_text_finish(&capture->block);
    free(capture);
    return status;
}
