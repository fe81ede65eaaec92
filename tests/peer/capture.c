// SPDX-License-Identifier: GPL-3.0-or-later
//
// Captures as a filter, so that general packet tools can be asked about the same file:
//   capture write rtu|mbap FILE   writes exchanges of every usual kind
//   capture read FILE             reads a capture, ours or theirs
// Both print one line a packet: UTC in ns, direction (in, out, -), damage, bytes in hexadecimal.
// Reading ends with "foreign N", and "cut" or the error.
#include "capture/pcapng.h"
#include "capture/reader.h"
#include "modbus/frame.h"

#include <inttypes.h>

static const int64_t START_NS = INT64_C(1764059462118000001);

// Requests and their replies: function and data.
static const struct {
    size_t count;
    uint8_t bytes[12];
} pdus[] = {
    {5, {0x01, 0x00, 0x13, 0x00, 0x13}}, {5, {0x01, 0x03, 0xcd, 0x6b, 0x05}},
    {5, {0x02, 0x00, 0xc4, 0x00, 0x16}}, {5, {0x02, 0x03, 0xac, 0xdb, 0x35}},
    {5, {0x03, 0x00, 0x6b, 0x00, 0x02}}, {6, {0x03, 0x04, 0x02, 0x2b, 0x00, 0x64}},
    {5, {0x04, 0x00, 0x08, 0x00, 0x01}}, {4, {0x04, 0x02, 0x00, 0x0a}},
    {5, {0x05, 0x00, 0xac, 0xff, 0x00}}, {5, {0x05, 0x00, 0xac, 0xff, 0x00}},
    {5, {0x06, 0x00, 0x01, 0x00, 0x03}}, {5, {0x06, 0x00, 0x01, 0x00, 0x03}},
    {5, {0x08, 0x00, 0x00, 0xa5, 0x37}}, {5, {0x08, 0x00, 0x00, 0xa5, 0x37}},
    {5, {0x03, 0xff, 0xff, 0x00, 0x01}}, {2, {0x83, 0x02}},
};

static void show(const struct lw_packet *packet, bool directed)
{
    printf("%" PRId64 " %s %u ", packet->first_utc_ns,
           !directed          ? "-"
           : packet->outbound ? "out"
                              : "in",
           packet->damage);
    for (size_t i = 0; i < packet->count; i++) {
        printf("%02x", packet->bytes[i]);
    }
    printf("\n");
}

static size_t wrap(enum lw_adu adu, unsigned i, uint8_t bytes[LW_MBAP_MAX])
{
    struct lw_pdu pdu = {.count = pdus[i % 16].count};
    memcpy(pdu.bytes, pdus[i % 16].bytes, pdu.count);
    uint8_t address = (uint8_t)(1 + i / 2 % 247);
    return adu == LW_ADU_RTU ? lw_rtu_wrap(address, &pdu, bytes)
                             : lw_mbap_wrap((uint16_t)(i / 2), address, &pdu, bytes);
}

static int fail(const struct lw_error *error)
{
    char text[600];
    fprintf(stderr, "%s\n", lw_error_text(error, text, sizeof text));
    return 1;
}

static int write_all(enum lw_adu adu, const char *path)
{
    const struct lw_capture_facts facts = {.application = "linewalk",
                                           .line = "made for comparison",
                                           .framing = "19200/8E1",
                                           .comment = "every usual function",
                                           .adu = adu};
    struct lw_capture *capture = NULL;
    struct lw_error error = {0};
    if (lw_capture_create(path, &facts, &capture, &error) != LW_OK) {
        return fail(&error);
    }
    for (unsigned i = 0; i < 600; i++) {
        uint8_t bytes[LW_MBAP_MAX];
        struct lw_packet packet = {.first_utc_ns = START_NS + i * INT64_C(7000013),
                                   .outbound = i % 2 == 0,
                                   .damage = i % 40 == 7 ? i / 40 % 16 : 0,
                                   .bytes = bytes,
                                   .count = wrap(adu, i, bytes)};
        packet.last_utc_ns = packet.first_utc_ns + 573000 * (int64_t)packet.count;
        if (lw_capture_packet(capture, &packet, &error) != LW_OK) {
            break;
        }
        show(&packet, true);
    }
    return lw_capture_close(capture, NULL, &error) == LW_OK ? 0 : fail(&error);
}

static int read_all(const char *path)
{
    struct lw_reader *reader = NULL;
    struct lw_error error = {0};
    struct lw_read_packet read;
    bool more = true;
    enum lw_status status = lw_reader_open(path, &reader, &error);
    while (status == LW_OK && more) {
        status = lw_reader_next(reader, &read, &more, &error);
        if (status == LW_OK && more) {
            show(&read.packet, read.directed);
        }
    }
    if (reader) {
        printf("foreign %" PRIu64 "\n", lw_reader_foreign(reader));
    }
    bool cut = reader && lw_reader_is_cut(reader);
    lw_reader_close(reader);
    if (status != LW_OK && !cut) {
        return fail(&error);
    }
    printf("%s", cut ? "cut\n" : "");
    return 0;
}

int main(int count, char **words)
{
    if (count == 4 && strcmp(words[1], "write") == 0) {
        return write_all(strcmp(words[2], "mbap") == 0 ? LW_ADU_MBAP : LW_ADU_RTU, words[3]);
    }
    if (count == 3 && strcmp(words[1], "read") == 0) {
        return read_all(words[2]);
    }
    fprintf(stderr, "capture write rtu|mbap FILE, capture read FILE\n");
    return 2;
}
