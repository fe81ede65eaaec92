// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reads captures. A block is read up to a fixed size and the rest of it skipped, so that a lie in a
// length costs time and never memory; both lengths of a block must agree. What is read is parsed
// within its bounds only.
#include "capture/reader.h"

#include "capture/block.h"
#include "capture/classic.h"
#include "capture/source.h"
#include "capture/time_unit.h"

#include <assert.h>
#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { HEAD = 1 << 17, INTERFACES = 1024, FACT = 256, LENGTHS = 12 };

struct interface {
    unsigned link_type;
    uint32_t snap_length; // 0: none
    struct lw_time_unit unit;
};

struct lw_reader {
    struct lw_source source;
    char name[160];
    bool classic, big_endian;
    struct lw_classic pcap; // when classic
    uint8_t first[4];       // of the file, read to learn its kind and not yet used
    size_t first_count;
    struct interface interfaces[INTERFACES];
    size_t interface_count;
    uint64_t block_offset; // of the block in `head`
    size_t head_count;     // bytes of its body in `head`
    bool head_whole;       // that is the whole body
    bool adu_known;
    struct lw_capture_facts facts;
    char application[FACT], line[FACT], framing[FACT], comment[FACT];
    uint64_t foreign;
    struct lw_error failure;
    uint8_t head[HEAD];
};

static unsigned get16(const struct lw_reader *reader, const uint8_t *at)
{
    return reader->big_endian ? (unsigned)at[0] << 8 | at[1] : (unsigned)at[1] << 8 | at[0];
}

static uint32_t get32(const struct lw_reader *reader, const uint8_t *at)
{
    uint32_t first = get16(reader, at), second = get16(reader, at + 2);
    return reader->big_endian ? first << 16 | second : second << 16 | first;
}

static enum lw_status bad_block(const struct lw_reader *reader, struct lw_error *error,
                                const char *what)
{
    return lw_fail(error, LW_BAD_FILE, "block at offset %" PRIu64 ": %s", reader->block_offset,
                   what);
}

// The byte order stands in each section's head: 1A 2B 3C 4D as its writer stores numbers.
static enum lw_status learn_order(struct lw_reader *reader, const uint8_t *magic,
                                  struct lw_error *error)
{
    static const uint8_t big[4] = {0x1a, 0x2b, 0x3c, 0x4d}, little[4] = {0x4d, 0x3c, 0x2b, 0x1a};
    reader->big_endian = memcmp(magic, big, 4) == 0;
    return reader->big_endian || memcmp(magic, little, 4) == 0
               ? LW_OK
               : bad_block(reader, error, "no byte order in the section's head");
}

// Type and length; of a section's head also the byte order, which the length needs.
static enum lw_status read_lengths(struct lw_reader *reader, uint32_t *type, uint32_t *length,
                                   size_t *taken, struct lw_error *error)
{
    uint8_t fixed[8];
    size_t have = reader->first_count;
    reader->block_offset = reader->source.offset - have;
    reader->first_count = 0;
    *taken = 0;
    memcpy(fixed, reader->first, have);
    enum lw_status status =
        lw_source_take(&reader->source, fixed + have, sizeof fixed - have, error);
    if (status != LW_OK) {
        return status;
    }
    *type = get32(reader, fixed);
    if (*type == LW_BLOCK_SECTION) { // the same in both byte orders
        *taken = 4;
        status = lw_source_take(&reader->source, reader->head, *taken, error);
        if (status == LW_OK) {
            status = learn_order(reader, reader->head, error);
        }
    }
    *length = get32(reader, fixed + 4);
    if (status == LW_OK && (*length < LENGTHS + *taken || *length % 4 != 0)) {
        status = lw_fail(error, LW_BAD_FILE,
                         "block at offset %" PRIu64 ": its length %" PRIu32 " cannot be",
                         reader->block_offset, *length);
    }
    return status;
}

static enum lw_status read_trailer(struct lw_reader *reader, uint32_t length,
                                   struct lw_error *error)
{
    uint8_t trailer[4];
    enum lw_status status = lw_source_take(&reader->source, trailer, sizeof trailer, error);
    if (status == LW_OK && get32(reader, trailer) != length) {
        status =
            lw_fail(error, LW_BAD_FILE,
                    "block at offset %" PRIu64 ": its two lengths differ: %" PRIu32 " and %" PRIu32,
                    reader->block_offset, length, get32(reader, trailer));
    }
    return status;
}

static enum lw_status read_block(struct lw_reader *reader, uint32_t *type, struct lw_error *error)
{
    uint32_t length = 0;
    size_t taken = 0;
    enum lw_status status = read_lengths(reader, type, &length, &taken, error);
    if (status != LW_OK) {
        return status;
    }
    size_t body = length - LENGTHS;
    reader->head_count = body < HEAD ? body : HEAD;
    reader->head_whole = reader->head_count == body;
    status =
        lw_source_take(&reader->source, reader->head + taken, reader->head_count - taken, error);
    if (status == LW_OK) {
        status = lw_source_skip(&reader->source, body - reader->head_count, error);
    }
    return status == LW_OK ? read_trailer(reader, length, error) : status;
}

struct option {
    unsigned code;
    size_t count;
    const uint8_t *bytes;
};

// Steps through the options that stand in the head from *at; *found is false at their end.
static enum lw_status next_option(const struct lw_reader *reader, size_t *at, bool *found,
                                  struct option *option, struct lw_error *error)
{
    size_t left = reader->head_count - *at;
    *found = false;
    if (left == 0 || (left < 4 && !reader->head_whole)) {
        return LW_OK;
    }
    const uint8_t *here = reader->head + *at;
    *option = (struct option){get16(reader, here), get16(reader, here + 2), here + 4};
    size_t padded = (option->count + 3) / 4 * 4;
    if (option->code == LW_OPTION_END) {
        return LW_OK;
    }
    if (padded > left - 4) {
        return reader->head_whole ? bad_block(reader, error, "an option is longer than its block")
                                  : LW_OK;
    }
    *at += 4 + padded;
    *found = true;
    return LW_OK;
}

static void keep_fact(char fact[FACT], const char **shown, const struct option *option)
{
    if (!*shown) {
        lw_text_clean(fact, FACT, (const char *)option->bytes, option->count);
        *shown = fact;
    }
}

static bool option_is(const struct option *option, const char *text)
{
    return option->count == strlen(text) && memcmp(option->bytes, text, option->count) == 0;
}

static enum lw_status take_section(struct lw_reader *reader, struct lw_error *error)
{
    size_t at = 16;
    if (reader->head_count < at) {
        return bad_block(reader, error, "too short for a section");
    }
    if (get16(reader, reader->head + 4) != 1) {
        return bad_block(reader, error, "a version of the format that is not known");
    }
    reader->interface_count = 0;
    struct option option;
    bool found = true;
    enum lw_status status = LW_OK;
    while (status == LW_OK && found) {
        status = next_option(reader, &at, &found, &option, error);
        if (status == LW_OK && found && option.code == LW_OPTION_APPLICATION) {
            keep_fact(reader->application, &reader->facts.application, &option);
        }
        if (status == LW_OK && found && option.code == LW_OPTION_COMMENT) {
            reader->facts.simulated |= option_is(&option, LW_CAPTURE_SIMULATED);
        }
    }
    return status;
}

static bool is_ours(unsigned link_type)
{
    return link_type == LW_LINKTYPE_RTU || link_type == LW_LINKTYPE_MBAP;
}

static enum lw_adu adu_of(unsigned link_type)
{
    return link_type == LW_LINKTYPE_MBAP ? LW_ADU_MBAP : LW_ADU_RTU;
}

static void keep_interface_fact(struct lw_reader *reader, const struct option *option)
{
    if (option->code == LW_OPTION_NAME) {
        keep_fact(reader->line, &reader->facts.line, option);
    } else if (option->code == LW_OPTION_DESCRIPTION) {
        keep_fact(reader->framing, &reader->facts.framing, option);
    } else if (option->code == LW_OPTION_COMMENT) {
        keep_fact(reader->comment, &reader->facts.comment, option);
    }
}

static int64_t get_seconds(const struct lw_reader *reader, const uint8_t *at)
{
    uint64_t first = get32(reader, at), second = get32(reader, at + 4);
    return (int64_t)(reader->big_endian ? first << 32 | second : second << 32 | first);
}

static enum lw_status take_interface_option(struct lw_reader *reader, struct interface *interface,
                                            const struct option *option, struct lw_error *error)
{
    if (option->code == LW_OPTION_RESOLUTION) {
        if (option->count != 1 || !lw_time_unit_set(&interface->unit, option->bytes[0])) {
            return bad_block(reader, error, "a resolution of times that cannot be");
        }
    } else if (option->code == LW_OPTION_OFFSET) {
        if (option->count != 8) {
            return bad_block(reader, error, "an offset of times that cannot be");
        }
        interface->unit.offset_s = get_seconds(reader, option->bytes);
    } else if (is_ours(interface->link_type)) {
        keep_interface_fact(reader, option);
    }
    return LW_OK;
}

static enum lw_status take_interface(struct lw_reader *reader, struct lw_error *error)
{
    size_t at = 8;
    if (reader->head_count < at) {
        return bad_block(reader, error, "too short for an interface");
    }
    if (reader->interface_count == INTERFACES) {
        return bad_block(reader, error, "more interfaces than any real capture has");
    }
    struct interface *interface = &reader->interfaces[reader->interface_count++];
    *interface = (struct interface){.link_type = get16(reader, reader->head),
                                    .snap_length = get32(reader, reader->head + 4)};
    lw_time_unit_set(&interface->unit, 6); // where none is named
    if (is_ours(interface->link_type) && !reader->adu_known) {
        reader->facts.adu = adu_of(interface->link_type);
        reader->adu_known = true;
    }
    struct option option;
    bool found = true;
    enum lw_status status = LW_OK;
    while (status == LW_OK && found) {
        status = next_option(reader, &at, &found, &option, error);
        if (status == LW_OK && found) {
            status = take_interface_option(reader, interface, &option, error);
        }
    }
    return status;
}

// "last=+1234ns", as the writer leaves it.
static void take_comment(struct lw_packet *packet, const struct option *option)
{
    static const char start[] = "last=+", end[] = "ns";
    size_t from = sizeof start - 1, tail = sizeof end - 1;
    int64_t value = 0;
    if (packet->first_utc_ns < 0 || option->count < from + tail + 1 ||
        option->count > from + tail + 18 || memcmp(option->bytes, start, from) != 0 ||
        memcmp(option->bytes + option->count - tail, end, tail) != 0) {
        return;
    }
    for (size_t i = from; i < option->count - tail; i++) {
        if (option->bytes[i] < '0' || option->bytes[i] > '9') {
            return;
        }
        value = value * 10 + (option->bytes[i] - '0');
    }
    if (value <= INT64_MAX - packet->first_utc_ns) {
        packet->last_utc_ns = packet->first_utc_ns + value;
    }
}

static void take_flags(struct lw_read_packet *read, uint32_t flags)
{
    read->directed = (flags & LW_EPB_DIRECTION) == LW_EPB_INBOUND ||
                     (flags & LW_EPB_DIRECTION) == LW_EPB_OUTBOUND;
    read->packet.outbound = (flags & LW_EPB_DIRECTION) == LW_EPB_OUTBOUND;
    read->packet.damage = (flags & LW_EPB_CRC_ERROR ? LW_DAMAGE_CRC : 0u) |
                          (flags & (LW_EPB_TOO_SHORT | LW_EPB_TOO_LONG) ? LW_DAMAGE_LENGTH : 0u) |
                          (flags & LW_EPB_GAP_ERROR ? LW_DAMAGE_GAP : 0u) |
                          (flags & LW_EPB_SYMBOL_ERROR ? LW_DAMAGE_SYMBOL : 0u);
}

static enum lw_status take_packet_options(const struct lw_reader *reader, size_t at,
                                          struct lw_read_packet *read, struct lw_error *error)
{
    struct option option;
    bool found = true;
    enum lw_status status = LW_OK;
    while (status == LW_OK && found) {
        status = next_option(reader, &at, &found, &option, error);
        if (status == LW_OK && found && option.code == LW_OPTION_COMMENT) {
            take_comment(&read->packet, &option);
        }
        if (status == LW_OK && found && option.code == LW_OPTION_FLAGS && option.count == 4) {
            take_flags(read, get32(reader, option.bytes));
        }
    }
    return status;
}

// The interface a packet came in on, or NULL when it was not described before.
static const struct interface *interface_of(const struct lw_reader *reader, size_t number)
{
    return number < reader->interface_count ? &reader->interfaces[number] : NULL;
}

static enum lw_status no_interface(const struct lw_reader *reader, struct lw_error *error)
{
    return bad_block(reader, error, "a packet of an interface that was not described");
}

// Bytes of a packet that stand in the block from `at`.
static enum lw_status take_bytes(const struct lw_reader *reader, size_t at, size_t captured,
                                 struct lw_read_packet *read, struct lw_error *error)
{
    if (captured > LW_CAPTURE_PACKET_MOST || captured > reader->head_count - at) {
        return bad_block(reader, error, "a packet longer than its block, or than any on a line");
    }
    read->packet.bytes = reader->head + at;
    read->packet.count = captured;
    return LW_OK;
}

static void begin_packet(const struct lw_reader *reader, const struct interface *interface,
                         struct lw_read_packet *read)
{
    *read = (struct lw_read_packet){.offset = reader->block_offset,
                                    .adu = adu_of(interface->link_type),
                                    .packet = {.first_utc_ns = -1, .last_utc_ns = -1}};
}

// Enhanced packet, or its forerunner, which differs in the size of the interface's number:
//   interface time-high time-low captured original bytes pad options
static enum lw_status take_packet(struct lw_reader *reader, bool old, bool *ours,
                                  struct lw_read_packet *read, struct lw_error *error)
{
    const uint8_t *head = reader->head;
    if (reader->head_count < 20) {
        return bad_block(reader, error, "too short for a packet");
    }
    const struct interface *interface =
        interface_of(reader, old ? get16(reader, head) : get32(reader, head));
    if (!interface) {
        return no_interface(reader, error);
    }
    *ours = is_ours(interface->link_type);
    if (!*ours) {
        return LW_OK;
    }
    begin_packet(reader, interface, read);
    read->original = get32(reader, head + 16);
    uint64_t units = (uint64_t)get32(reader, head + 4) << 32 | get32(reader, head + 8);
    if (!lw_time_unit_ns(&interface->unit, units, &read->packet.first_utc_ns)) {
        return bad_block(reader, error, "a time that cannot be");
    }
    enum lw_status status = take_bytes(reader, 20, get32(reader, head + 12), read, error);
    size_t options = 20 + (read->packet.count + 3) / 4 * 4;
    if (status == LW_OK && options > reader->head_count) {
        status = bad_block(reader, error, "a packet longer than its block");
    }
    return status == LW_OK ? take_packet_options(reader, options, read, error) : status;
}

// Only the original length and the bytes, on the first interface, without a time.
static enum lw_status take_simple_packet(struct lw_reader *reader, bool *ours,
                                         struct lw_read_packet *read, struct lw_error *error)
{
    if (reader->head_count < 4) {
        return bad_block(reader, error, "too short for a packet");
    }
    const struct interface *interface = interface_of(reader, 0);
    if (!interface) {
        return no_interface(reader, error);
    }
    *ours = is_ours(interface->link_type);
    if (!*ours) {
        return LW_OK;
    }
    begin_packet(reader, interface, read);
    read->original = get32(reader, reader->head);
    bool cut = interface->snap_length > 0 && interface->snap_length < read->original;
    return take_bytes(reader, 4, cut ? interface->snap_length : read->original, read, error);
}

// One block: *ours says that `read` has a packet.
static enum lw_status take_block(struct lw_reader *reader, bool *ours, struct lw_read_packet *read,
                                 struct lw_error *error)
{
    uint32_t type = 0;
    enum lw_status status = read_block(reader, &type, error);
    if (status != LW_OK) {
        return status;
    }
    switch (type) {
    case LW_BLOCK_SECTION:
        return take_section(reader, error);
    case LW_BLOCK_INTERFACE:
        return take_interface(reader, error);
    case LW_BLOCK_OLD_PACKET:
    case LW_BLOCK_PACKET:
        status = take_packet(reader, type == LW_BLOCK_OLD_PACKET, ours, read, error);
        reader->foreign += status == LW_OK && !*ours;
        return status;
    case LW_BLOCK_SIMPLE_PACKET:
        status = take_simple_packet(reader, ours, read, error);
        reader->foreign += status == LW_OK && !*ours;
        return status;
    default:
        return LW_OK;
    }
}

static enum lw_status take_classic(struct lw_reader *reader, bool *ours,
                                   struct lw_read_packet *read, struct lw_error *error)
{
    size_t count = 0;
    *read = (struct lw_read_packet){.offset = reader->source.offset,
                                    .adu = reader->facts.adu,
                                    .packet = {.last_utc_ns = -1, .bytes = reader->head}};
    enum lw_status status =
        lw_classic_next(&reader->pcap, &reader->source, reader->head, LW_CAPTURE_PACKET_MOST,
                        &count, &read->original, &read->packet.first_utc_ns, error);
    read->packet.count = count;
    *ours = is_ours(reader->pcap.link_type);
    reader->foreign += status == LW_OK && !*ours;
    return status;
}

enum lw_status lw_reader_next(struct lw_reader *reader, struct lw_read_packet *packet, bool *more,
                              struct lw_error *error)
{
    assert(reader && packet && more);
    bool ours = false;
    *more = false;
    while (reader->failure.status == LW_OK && !ours) {
        if (reader->first_count == 0 && lw_source_ended(&reader->source)) {
            return LW_OK;
        }
        enum lw_status status = reader->classic
                                    ? take_classic(reader, &ours, packet, &reader->failure)
                                    : take_block(reader, &ours, packet, &reader->failure);
        if (status != LW_OK) {
            lw_error_within(&reader->failure, "capture '%s'", reader->name);
        }
    }
    if (reader->failure.status != LW_OK && error) {
        *error = reader->failure;
    }
    *more = reader->failure.status == LW_OK;
    return reader->failure.status;
}

bool lw_reader_is_cut(const struct lw_reader *reader)
{
    return reader->source.cut;
}

const struct lw_capture_facts *lw_reader_facts(const struct lw_reader *reader)
{
    return &reader->facts;
}

uint64_t lw_reader_foreign(const struct lw_reader *reader)
{
    return reader->foreign;
}

void lw_reader_close(struct lw_reader *reader)
{
    if (reader) {
        fclose(reader->source.file);
        free(reader);
    }
}

// The first four bytes tell the kind. A file too short for them is none of ours.
static enum lw_status learn_kind(struct lw_reader *reader, struct lw_error *error)
{
    enum lw_status status = lw_source_take(&reader->source, reader->first, 4, error);
    if (status != LW_OK && !reader->source.cut) {
        return status;
    }
    if (status == LW_OK && lw_classic_is(reader->first)) {
        reader->classic = true;
        status = lw_classic_open(&reader->pcap, reader->first, &reader->source, error);
        reader->facts.adu = adu_of(reader->pcap.link_type);
        return status;
    }
    if (status != LW_OK || memcmp(reader->first, "\x0a\x0d\x0d\x0a", 4) != 0) {
        reader->source.cut = false;
        return lw_fail(error, LW_BAD_FILE, "is no capture (pcapng or pcap)");
    }
    reader->first_count = 4;
    return LW_OK;
}

enum lw_status lw_reader_take(FILE *file, const char *name, struct lw_reader **reader,
                              struct lw_error *error)
{
    assert(file && name && reader);
    struct lw_reader *opened = malloc(sizeof *opened);
    if (!opened) {
        fclose(file);
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    memset(opened, 0, offsetof(struct lw_reader, head));
    opened->source.file = file;
    lw_text_clean(opened->name, sizeof opened->name, name, strlen(name));
    enum lw_status status = learn_kind(opened, error);
    if (status != LW_OK) {
        lw_error_within(error, "capture '%s'", opened->name);
        lw_reader_close(opened);
        return status;
    }
    *reader = opened;
    return LW_OK;
}

enum lw_status lw_reader_open(const char *path, struct lw_reader **reader, struct lw_error *error)
{
    FILE *file = fopen(path, "rb");
    if (!file) {
        int code = errno;
        char clean[160];
        lw_text_clean(clean, sizeof clean, path, strlen(path));
        return lw_fail_errno(error, code, "cannot open capture '%s'", clean);
    }
    return lw_reader_take(file, path, reader, error);
}
