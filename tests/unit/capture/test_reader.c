// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reading captures that the test builds block by block, in both byte orders, whole, cut at every
// byte and lying in every length. The layouts are those of draft-ietf-opsawg-pcapng and
// draft-ietf-opsawg-pcap.
#include "capture/reader.h"
#include "capture/time_unit.h"

#include "base/file.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

enum { USER0 = 147, USER1 = 148, ETHERNET = 1 };

// A capture under construction.
struct built {
    uint8_t bytes[8192];
    size_t count, block; // block: where the open one starts
    bool big;
};

static void put(struct built *built, const void *bytes, size_t count)
{
    assert_true(built->count + count <= sizeof built->bytes);
    memcpy(built->bytes + built->count, bytes, count);
    built->count += count;
}

static void write_number(const struct built *built, uint8_t *at, uint32_t value, unsigned size)
{
    for (unsigned i = 0; i < size; i++) {
        at[built->big ? size - 1 - i : i] = (uint8_t)(value >> (8 * i));
    }
}

static void number(struct built *built, uint32_t value, unsigned size)
{
    uint8_t bytes[4];
    write_number(built, bytes, value, size);
    put(built, bytes, size);
}

static void pad(struct built *built)
{
    while (built->count % 4) {
        put(built, "", 1);
    }
}

static void option(struct built *built, unsigned code, const void *bytes, size_t count)
{
    number(built, code, 2);
    number(built, (uint32_t)count, 2);
    put(built, bytes, count);
    pad(built);
}

static void begin(struct built *built, uint32_t type)
{
    built->block = built->count;
    number(built, type, 4);
    number(built, 0, 4);
}

static void end(struct built *built)
{
    uint32_t length = (uint32_t)(built->count - built->block) + 4;
    number(built, length, 4);
    write_number(built, built->bytes + built->block + 4, length, 4);
}

static void section(struct built *built, bool big)
{
    built->big = big;
    begin(built, 0x0a0d0d0a);
    number(built, 0x1a2b3c4d, 4);
    number(built, 1, 2);
    number(built, 0, 2);
    number(built, 0xffffffff, 4);
    number(built, 0xffffffff, 4);
    option(built, 4, "some tool", 9);
    end(built);
}

static void interface(struct built *built, unsigned link_type, int resolution)
{
    uint8_t byte = (uint8_t)resolution;
    begin(built, 1);
    number(built, link_type, 2);
    number(built, 0, 2);
    number(built, 0, 4);
    if (resolution >= 0) {
        option(built, 9, &byte, 1);
        option(built, 0, "", 0);
    }
    end(built);
}

static void packet_head(struct built *built, unsigned interface, uint64_t time, const char *bytes)
{
    begin(built, 6);
    number(built, interface, 4);
    number(built, (uint32_t)(time >> 32), 4);
    number(built, (uint32_t)time, 4);
    number(built, (uint32_t)strlen(bytes), 4);
    number(built, (uint32_t)strlen(bytes), 4);
    put(built, bytes, strlen(bytes));
    pad(built);
}

static void packet(struct built *built, unsigned interface, uint64_t time, const char *bytes)
{
    packet_head(built, interface, time, bytes);
    end(built);
}

// Reads all; shows "time_ns:bytes;" for each packet, and the last status.
struct seen {
    char shown[2000];
    size_t packets;
    enum lw_status status;
    bool cut;
    uint64_t foreign;
    struct lw_error error;
    struct lw_read_packet last; // without its bytes
};

static void see(struct seen *seen, const struct lw_read_packet *read)
{
    size_t at = strlen(seen->shown);
    snprintf(seen->shown + at, sizeof seen->shown - at, "%s%lld:%.*s", at ? ";" : "",
             (long long)read->packet.first_utc_ns, (int)read->packet.count,
             (const char *)read->packet.bytes);
    seen->last = *read;
    seen->packets++;
}

static void read_all(const uint8_t *bytes, size_t count, struct seen *seen)
{
    struct lw_reader *reader = NULL;
    bool more = true;
    static uint8_t nothing[1];
    *seen = (struct seen){0};
    FILE *file = fmemopen(count > 0 ? (void *)bytes : nothing, count > 0 ? count : 1, "rb");
    assert_non_null(file);
    if (count == 0) {
        (void)getc(file);
    }
    seen->status = lw_reader_take(file, "made.pcapng", &reader, &seen->error);
    while (seen->status == LW_OK && more) {
        struct lw_read_packet read;
        seen->status = lw_reader_next(reader, &read, &more, &seen->error);
        if (seen->status == LW_OK && more) {
            see(seen, &read);
        }
    }
    if (reader) {
        bool still = true;
        struct lw_read_packet read;
        seen->cut = lw_reader_is_cut(reader);
        seen->foreign = lw_reader_foreign(reader);
        assert_int_equal(lw_reader_next(reader, &read, &still, NULL), seen->status);
        assert_false(still);
    }
    lw_reader_close(reader);
}

static void check(const struct built *built, const char *shown)
{
    struct seen seen;
    read_all(built->bytes, built->count, &seen);
    assert_string_equal(seen.error.says, "");
    assert_int_equal(seen.status, LW_OK);
    assert_false(seen.cut);
    assert_string_equal(seen.shown, shown);
}

static void refused(const struct built *built, const char *says)
{
    struct seen seen;
    read_all(built->bytes, built->count, &seen);
    assert_int_equal(seen.status, LW_BAD_FILE);
    assert_string_equal(seen.error.says, says);
    assert_string_equal(seen.error.context, "capture 'made.pcapng'");
}

static void both_byte_orders_read_the_same(void **state)
{
    (void)state;
    for (int big = 0; big < 2; big++) {
        struct built built = {0};
        section(&built, big);
        interface(&built, USER0, 9);
        packet(&built, 0, UINT64_C(1764000000123456789), "one");
        packet(&built, 0, UINT64_C(1764000000123456790), "four");
        check(&built, "1764000000123456789:one;1764000000123456790:four");
    }
}

static void unknown_blocks_and_options_are_skipped(void **state)
{
    (void)state;
    struct built built = {0};
    section(&built, false);
    interface(&built, USER0, 9);
    begin(&built, 0x0bad); // custom block
    put(&built, "12345678", 8);
    end(&built);
    packet_head(&built, 0, 5, "one");
    option(&built, 777, "what is this", 12);
    option(&built, 1, "last=+nonsense", 14);
    option(&built, 1, "last=+9ns", 9);
    option(&built, 2, "\x02\x00\x00\x88", 4); // outbound, symbol error, gap error
    end(&built);
    begin(&built, 0xffffffff);
    end(&built);
    struct seen seen;
    read_all(built.bytes, built.count, &seen);
    assert_int_equal(seen.status, LW_OK);
    assert_string_equal(seen.shown, "5:one");
    assert_int_equal(seen.last.packet.last_utc_ns, 14);
    assert_true(seen.last.directed && seen.last.packet.outbound);
    assert_int_equal(seen.last.packet.damage, LW_DAMAGE_SYMBOL | LW_DAMAGE_GAP);
}

static void a_block_longer_than_the_memory_for_one_is_skipped_too(void **state)
{
    (void)state;
    enum { LONG = 3000000 };
    struct built built = {0};
    struct seen seen;
    uint8_t *bytes = calloc(1, LONG + 4096);
    section(&built, false);
    interface(&built, USER0, 9);
    memcpy(bytes, built.bytes, built.count);
    size_t count = built.count + LONG;
    write_number(&built, bytes + built.count, 0x4242, 4);
    write_number(&built, bytes + built.count + 4, LONG, 4);
    write_number(&built, bytes + count - 4, LONG, 4);
    built.count = 0;
    packet(&built, 0, 7, "after");
    memcpy(bytes + count, built.bytes, built.count);
    read_all(bytes, count + built.count, &seen);
    assert_int_equal(seen.status, LW_OK);
    assert_string_equal(seen.shown, "7:after");
    free(bytes);
}

static void sections_may_differ_in_order_and_interfaces_in_everything(void **state)
{
    (void)state;
    struct built built = {0};
    struct seen seen;
    section(&built, false);
    interface(&built, ETHERNET, -1);
    interface(&built, USER0, 9);
    packet(&built, 1, 5, "rtu");
    packet(&built, 0, 6, "an Ethernet frame");
    section(&built, true);
    interface(&built, USER1, -1); // microseconds where nothing is named
    packet(&built, 0, 7, "mbap");
    read_all(built.bytes, built.count, &seen);
    assert_int_equal(seen.status, LW_OK);
    assert_string_equal(seen.shown, "5:rtu;7000:mbap");
    assert_int_equal(seen.foreign, 1);
    assert_int_equal(seen.last.adu, LW_ADU_MBAP);
    assert_false(seen.last.directed);
}

static void a_new_section_forgets_the_interfaces_of_the_old_one(void **state)
{
    (void)state;
    struct built built = {0};
    section(&built, false);
    interface(&built, USER0, 9);
    section(&built, false);
    size_t offset = built.count;
    char says[128];
    packet(&built, 0, 5, "rtu");
    snprintf(says, sizeof says,
             "block at offset %zu: a packet of an interface that was not described", offset);
    refused(&built, says);
}

static void simple_and_old_packets_are_read(void **state)
{
    (void)state;
    struct built built = {0};
    section(&built, true);
    interface(&built, USER0, 9);
    begin(&built, 3);
    number(&built, 5, 4);
    put(&built, "plain\0\0\0", 8);
    end(&built);
    begin(&built, 2);
    number(&built, 0, 2);
    number(&built, 65535, 2);
    number(&built, 0, 4);
    number(&built, 44, 4);
    number(&built, 3, 4);
    number(&built, 9, 4);
    put(&built, "old\0", 4);
    end(&built);
    struct seen seen;
    read_all(built.bytes, built.count, &seen);
    assert_int_equal(seen.status, LW_OK);
    assert_string_equal(seen.shown, "-1:plain;44:old");
    assert_int_equal(seen.last.original, 9);
}

static void classic_captures_of_all_four_kinds_are_read(void **state)
{
    (void)state;
    for (int kind = 0; kind < 4; kind++) {
        struct built built = {.big = kind & 1};
        number(&built, kind & 2 ? 0xa1b23c4d : 0xa1b2c3d4, 4);
        number(&built, 2, 2);
        number(&built, 4, 2);
        number(&built, 0, 4);
        number(&built, 0, 4);
        number(&built, 65535, 4);
        number(&built, USER0, 4);
        number(&built, 1764000000, 4);
        number(&built, 123456, 4);
        number(&built, 3, 4);
        number(&built, 3, 4);
        put(&built, "one", 3);
        number(&built, 1764000001, 4);
        number(&built, 0, 4);
        number(&built, 0, 4);
        number(&built, 0, 4);
        check(&built, kind & 2 ? "1764000000000123456:one;1764000001000000000:"
                               : "1764000000123456000:one;1764000001000000000:");
    }
}

static void a_classic_capture_of_something_else_has_only_foreign_packets(void **state)
{
    (void)state;
    struct built built = {0};
    struct seen seen;
    number(&built, 0xa1b2c3d4, 4);
    for (int i = 0; i < 4; i++) {
        number(&built, 65535, 4);
    }
    number(&built, ETHERNET, 4);
    for (int i = 0; i < 4; i++) {
        number(&built, 4, 4);
    }
    put(&built, "abcd", 4);
    read_all(built.bytes, built.count, &seen);
    assert_int_equal(seen.status, LW_OK);
    assert_int_equal(seen.packets, 0);
    assert_int_equal(seen.foreign, 1);
}

static void times_of_every_resolution_are_exact(void **state)
{
    (void)state;
    // draft-ietf-opsawg-pcapng, 4.2: if_tsresol 6 is microseconds, 0x8a is 1/1024 s.
    static const struct {
        uint8_t resolution;
        uint64_t count;
        int64_t offset_s, ns;
    } table[] = {
        {0, 3, 0, INT64_C(3000000000)},
        {6, UINT64_C(1764000000123456), 0, INT64_C(1764000000123456000)},
        {9, UINT64_C(1764000000123456789), 0, INT64_C(1764000000123456789)},
        {9, 5, 1764000000, INT64_C(1764000000000000005)},
        {9, UINT64_C(2000000000), -1, INT64_C(1000000000)},
        {12, UINT64_C(1123456789012), 0, INT64_C(1123456789)},
        {19, UINT64_C(15000000000000000000), 0, INT64_C(1500000000)},
        {0x80, 7, 0, INT64_C(7000000000)},
        {0x8a, 1024 + 512, 0, INT64_C(1500000000)},
        {0x80 | 32, (UINT64_C(5) << 32) + (UINT64_C(1) << 30), 0, INT64_C(5250000000)},
        {0x80 | 63, (UINT64_C(1) << 63) + (UINT64_C(1) << 62), 0, INT64_C(1500000000)},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct lw_time_unit unit = {.offset_s = table[i].offset_s};
        int64_t ns = -7;
        assert_true(lw_time_unit_set(&unit, table[i].resolution));
        assert_true(lw_time_unit_ns(&unit, table[i].count, &ns));
        assert_int_equal(ns, table[i].ns);
    }
}

static void times_and_resolutions_that_cannot_be_are_refused(void **state)
{
    (void)state;
    struct lw_time_unit unit = {0};
    int64_t ns = 0;
    assert_false(lw_time_unit_set(&unit, 20));
    assert_false(lw_time_unit_set(&unit, 0x80 | 64));
    assert_true(lw_time_unit_set(&unit, 0));
    assert_false(lw_time_unit_ns(&unit, UINT64_MAX, &ns));
    assert_false(lw_time_unit_ns(&unit, UINT64_C(9300000000), &ns)); // the year 2264
    unit.offset_s = INT64_MIN;
    assert_false(lw_time_unit_ns(&unit, 5, &ns));
    unit.offset_s = -6;
    assert_false(lw_time_unit_ns(&unit, 5, &ns));
}

static void what_is_no_capture_is_said(void **state)
{
    (void)state;
    static const char *const texts[] = {"", "x", "abc", "{\"format\": 1}", "\x0a\x0d\x0d"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct built built = {0};
        put(&built, texts[i], strlen(texts[i]));
        refused(&built, "is no capture (pcapng or pcap)");
    }
    struct lw_reader *reader = NULL;
    struct lw_error error = {0};
    assert_int_equal(lw_reader_open("/no/such/capture", &reader, &error), LW_SYSTEM);
    assert_string_equal(error.says,
                        "cannot open capture '/no/such/capture': No such file or directory");
}

static void build_rich(struct built *built)
{
    section(built, false);
    interface(built, USER0, 9);
    packet(built, 0, 1, "first");
    packet_head(built, 0, 2, "second");
    option(built, 1, "last=+9ns", 9);
    option(built, 2, "\x01\x00\x00\x00", 4);
    option(built, 0, "", 0);
    end(built);
    begin(built, 0x99);
    put(built, "12345678", 8);
    end(built);
    section(built, true);
    interface(built, USER1, -1);
    packet(built, 0, 3, "third");
}

static void a_capture_cut_anywhere_is_read_up_to_its_last_whole_block(void **state)
{
    (void)state;
    struct built built = {0};
    struct seen whole, part;
    build_rich(&built);
    read_all(built.bytes, built.count, &whole);
    assert_int_equal(whole.packets, 3);
    size_t before = 0;
    for (size_t count = 4; count < built.count; count++) {
        char says[64];
        read_all(built.bytes, count, &part);
        assert_int_equal(strncmp(whole.shown, part.shown, strlen(part.shown)), 0);
        assert_true(part.packets == before || part.packets == before + 1);
        assert_true(part.packets == before || part.status == LW_OK); // grows at a block's end only
        before = part.packets;
        assert_int_equal(part.cut, part.status != LW_OK);
        snprintf(says, sizeof says, "cut off at offset %zu", count);
        assert_string_equal(part.error.says, part.cut ? says : "");
    }
    assert_int_equal(before, 2);
}

static void a_lie_in_any_length_or_number_is_an_error_with_its_offset_or_harmless(void **state)
{
    (void)state;
    static const uint32_t lies[] = {0,  1,      3,          4,          8,          11,
                                    12, 13,     16,         20,         28,         32,
                                    36, 0xffff, 0x10000000, 0x7fffffff, 0xfffffff0, 0xffffffff};
    struct built built = {0};
    build_rich(&built);
    size_t errors = 0, tries = 0;
    for (size_t at = 0; at + 4 <= built.count; at += 2) {
        for (size_t i = 0; i < sizeof lies / sizeof lies[0]; i++) {
            struct built lying = built;
            struct seen seen;
            lying.big = tries % 2;
            write_number(&lying, lying.bytes + at, lies[i], 4);
            read_all(lying.bytes, lying.count, &seen);
            assert_true(seen.status == LW_OK || seen.status == LW_BAD_FILE);
            if (seen.status == LW_BAD_FILE) {
                assert_true(strstr(seen.error.says, "at offset ") ||
                            strstr(seen.error.says, "is no capture"));
                errors++;
            }
            tries++;
        }
    }
    assert_true(errors > tries / 4 && errors < tries);
}

// The section is at 0, the interface at 44, the packet at 76; their fields are changed one by one.
static void each_lie_has_its_sentence(void **state)
{
    (void)state;
    static const struct {
        size_t at;
        uint32_t value;
        const char *says;
    } table[] = {
        {4, 13, "block at offset 0: its length 13 cannot be"},
        {4, 12, "block at offset 0: its length 12 cannot be"},
        {4, 24, "block at offset 0: its two lengths differ: 24 and 4294967295"},
        {8, 0x12345678, "block at offset 0: no byte order in the section's head"},
        {12, 2, "block at offset 0: a version of the format that is not known"},
        {24, 0xffff0004, "block at offset 0: an option is longer than its block"},
        {44 + 16, 0x00020009, "block at offset 44: a resolution of times that cannot be"},
        {44 + 20, 20, "block at offset 44: a resolution of times that cannot be"},
        {44 + 24, 0x14000009, "block at offset 44: an option is longer than its block"},
        {76 + 4, 0, "block at offset 76: its length 0 cannot be"},
        {76 + 4, 32, "block at offset 76: its two lengths differ: 32 and 875770417"},
        {76 + 8, 1, "block at offset 76: a packet of an interface that was not described"},
        {76 + 12, 0xffffffff, "block at offset 76: a time that cannot be"},
        {76 + 20, 5, "block at offset 76: a packet longer than its block, or than any on a line"},
        {76 + 20, 0x80000000,
         "block at offset 76: a packet longer than its block, or than any on a line"},
        {76 + 32, 33, "block at offset 76: its two lengths differ: 36 and 33"},
    };
    struct built built = {0};
    section(&built, false);
    interface(&built, USER0, 9);
    packet(&built, 0, 1, "1234");
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct built lying = built;
        write_number(&lying, lying.bytes + table[i].at, table[i].value, 4);
        refused(&lying, table[i].says);
    }
}

static void what_is_written_is_read_back(void **state)
{
    (void)state;
    char path[] = "/tmp/lw-reader-XXXXXX";
    const struct lw_capture_facts facts = {.application = "linewalk 0.1.0",
                                           .line = "sim:demo.json",
                                           .framing = "19200/8E1",
                                           .comment = "seed 7",
                                           .adu = LW_ADU_MBAP,
                                           .simulated = true};
    struct lw_capture *capture = NULL;
    struct lw_reader *reader = NULL;
    struct lw_read_packet read;
    bool more = false;
    uint8_t bytes[300];
    close(mkstemp(path));
    assert_int_equal(lw_capture_create(path, &facts, &capture, NULL), LW_OK);
    for (unsigned i = 0; i < 300; i++) {
        bytes[i] = (uint8_t)(i * 7);
        const struct lw_packet packet = {.first_utc_ns = 1000 + i,
                                         .last_utc_ns = i % 3 ? 2000 + (int64_t)i : -1,
                                         .outbound = i % 2,
                                         .damage = i % 16,
                                         .bytes = bytes,
                                         .count = i};
        assert_int_equal(lw_capture_packet(capture, &packet, NULL), LW_OK);
    }
    assert_int_equal(lw_capture_close(capture, NULL, NULL), LW_OK);
    assert_int_equal(lw_reader_open(path, &reader, NULL), LW_OK);
    for (unsigned i = 0; i < 300; i++) {
        assert_int_equal(lw_reader_next(reader, &read, &more, NULL), LW_OK);
        assert_true(more);
        assert_int_equal(read.packet.first_utc_ns, 1000 + i);
        assert_int_equal(read.packet.last_utc_ns, i % 3 ? 2000 + (int64_t)i : -1);
        assert_int_equal(read.packet.outbound, i % 2);
        assert_true(read.directed);
        assert_int_equal(read.packet.damage, i % 16);
        assert_int_equal(read.packet.count, i);
        assert_int_equal(read.original, i);
        assert_int_equal(read.adu, LW_ADU_MBAP);
        assert_memory_equal(read.packet.bytes, bytes, i);
    }
    assert_int_equal(lw_reader_next(reader, &read, &more, NULL), LW_OK);
    assert_false(more);
    const struct lw_capture_facts *back = lw_reader_facts(reader);
    assert_string_equal(back->application, facts.application);
    assert_string_equal(back->line, facts.line);
    assert_string_equal(back->framing, facts.framing);
    assert_string_equal(back->comment, facts.comment);
    assert_int_equal(back->adu, LW_ADU_MBAP);
    assert_true(back->simulated);
    lw_reader_close(reader);
    lw_reader_close(NULL);
    unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(both_byte_orders_read_the_same),
        cmocka_unit_test(unknown_blocks_and_options_are_skipped),
        cmocka_unit_test(a_block_longer_than_the_memory_for_one_is_skipped_too),
        cmocka_unit_test(sections_may_differ_in_order_and_interfaces_in_everything),
        cmocka_unit_test(a_new_section_forgets_the_interfaces_of_the_old_one),
        cmocka_unit_test(simple_and_old_packets_are_read),
        cmocka_unit_test(classic_captures_of_all_four_kinds_are_read),
        cmocka_unit_test(a_classic_capture_of_something_else_has_only_foreign_packets),
        cmocka_unit_test(times_of_every_resolution_are_exact),
        cmocka_unit_test(times_and_resolutions_that_cannot_be_are_refused),
        cmocka_unit_test(what_is_no_capture_is_said),
        cmocka_unit_test(a_capture_cut_anywhere_is_read_up_to_its_last_whole_block),
        cmocka_unit_test(a_lie_in_any_length_or_number_is_an_error_with_its_offset_or_harmless),
        cmocka_unit_test(each_lie_has_its_sentence),
        cmocka_unit_test(what_is_written_is_read_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
