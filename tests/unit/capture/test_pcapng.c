// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the writer writes: block by block against draft-ietf-opsawg-pcapng, and what happens when
// the disk is full.
#include "base/file.h"
#include "capture/pcapng.h"
#include "capture/reader.h"

#include <errno.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

static const struct lw_capture_facts facts = {.application = "linewalk 0.1.0",
                                              .line = "/dev/ttyUSB0",
                                              .framing = "19200/8E1",
                                              .comment = "listening",
                                              .adu = LW_ADU_RTU};

static char path[64];

static int set_up(void **state)
{
    (void)state;
    snprintf(path, sizeof path, "/tmp/lw-capture-XXXXXX");
    close(mkstemp(path));
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    lw_file_fail_after(-1, 0);
    unlink(path);
    return 0;
}

// draft-ietf-opsawg-pcapng, 4.1 section header, 4.2 interface (147 = 0x93: LINKTYPE_USER0), 4.3
// enhanced packet with epb_flags: bits 0-1 direction (2: outbound), bit 31 symbol error.
static const unsigned char expected[] = {
    0x0a, 0x0d, 0x0d, 0x0a, 0x34, 0,    0,    0,    0x4d, 0x3c, 0x2b, 0x1a, 1,    0,   0,   0,
    0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 4,    0,    14,   0,    'l',  'i', 'n', 'e',
    'w',  'a',  'l',  'k',  ' ',  '0',  '.',  '1',  '.',  '0',  0,    0,    0,    0,   0,   0,
    0x34, 0,    0,    0,

    1,    0,    0,    0,    0x50, 0,    0,    0,    0x93, 0,    0,    0,    0,    0,   0,   0,
    2,    0,    12,   0,    '/',  'd',  'e',  'v',  '/',  't',  't',  'y',  'U',  'S', 'B', '0',
    3,    0,    9,    0,    '1',  '9',  '2',  '0',  '0',  '/',  '8',  'E',  '1',  0,   0,   0,
    1,    0,    9,    0,    'l',  'i',  's',  't',  'e',  'n',  'i',  'n',  'g',  0,   0,   0,
    9,    0,    1,    0,    9,    0,    0,    0,    0,    0,    0,    0,    0x50, 0,   0,   0,

    6,    0,    0,    0,    0x44, 0,    0,    0,    0,    0,    0,    0,    2,    0,   0,   0,
    1,    0,    0,    0,    5,    0,    0,    0,    5,    0,    0,    0,    'a',  'b', 'c', 'd',
    'e',  0,    0,    0,    2,    0,    4,    0,    2,    0,    0,    0x80, 1,    0,   9,   0,
    'l',  'a',  's',  't',  '=',  '+',  '7',  'n',  's',  0,    0,    0,    0,    0,   0,   0,
    0x44, 0,    0,    0,
};

static void every_byte_is_where_the_format_has_it(void **state)
{
    (void)state;
    struct lw_capture *capture = NULL;
    struct lw_text text = {0};
    const struct lw_packet packet = {.first_utc_ns = (INT64_C(2) << 32) + 1,
                                     .last_utc_ns = (INT64_C(2) << 32) + 8,
                                     .outbound = true,
                                     .damage = LW_DAMAGE_SYMBOL,
                                     .bytes = (const uint8_t *)"abcde",
                                     .count = 5};
    char digest[LW_DIGEST], computed[LW_DIGEST];
    assert_int_equal(lw_capture_create(path, &facts, &capture, NULL), LW_OK);
    assert_int_equal(lw_capture_packet(capture, &packet, NULL), LW_OK);
    assert_int_equal(lw_capture_count(capture), 1);
    assert_int_equal(lw_capture_close(capture, digest, NULL), LW_OK);
    assert_int_equal(lw_file_read(path, 10000, &text, NULL), LW_OK);
    assert_int_equal(text.length, sizeof expected);
    assert_memory_equal(text.bytes, expected, sizeof expected);
    lw_digest(expected, sizeof expected, computed);
    assert_string_equal(digest, computed);
    lw_text_finish(&text);
}

static void a_packet_is_on_the_disk_before_the_file_is_closed(void **state)
{
    (void)state;
    struct lw_capture *capture = NULL;
    struct lw_reader *reader = NULL;
    struct lw_read_packet read;
    bool more = false;
    const struct lw_packet packet = {
        .first_utc_ns = 5, .last_utc_ns = -1, .bytes = (const uint8_t *)"x", .count = 1};
    assert_int_equal(lw_capture_create(path, &facts, &capture, NULL), LW_OK);
    assert_int_equal(lw_capture_packet(capture, &packet, NULL), LW_OK);
    assert_int_equal(lw_reader_open(path, &reader, NULL), LW_OK);
    assert_int_equal(lw_reader_next(reader, &read, &more, NULL), LW_OK);
    assert_true(more);
    assert_int_equal(read.packet.last_utc_ns, -1);
    lw_reader_close(reader);
    assert_int_equal(lw_capture_close(capture, NULL, NULL), LW_OK);
}

static void a_process_that_is_killed_loses_no_packet_that_it_wrote(void **state)
{
    (void)state;
    struct lw_reader *reader = NULL;
    struct lw_read_packet read;
    bool more = true;
    size_t count = 0;
    pid_t child = fork();
    if (child == 0) {
        struct lw_capture *capture = NULL;
        const struct lw_packet packet = {.bytes = (const uint8_t *)"12345678", .count = 8};
        bool fine = lw_capture_create(path, &facts, &capture, NULL) == LW_OK;
        for (int i = 0; i < 1000; i++) {
            fine = fine && lw_capture_packet(capture, &packet, NULL) == LW_OK;
        }
        raise(fine ? SIGKILL : SIGTERM);
    }
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
    assert_int_equal(lw_reader_open(path, &reader, NULL), LW_OK);
    while (more) {
        assert_int_equal(lw_reader_next(reader, &read, &more, NULL), LW_OK);
        count += more;
    }
    assert_int_equal(count, 1000);
    lw_reader_close(reader);
}

// Writes ten packets and closes; the first failure, else LW_OK. Nothing may follow a failure.
static enum lw_status write_ten(struct lw_error *error)
{
    struct lw_capture *capture = NULL;
    enum lw_status first = lw_capture_create(path, &facts, &capture, error);
    if (first != LW_OK) {
        assert_null(capture);
        return first;
    }
    uint8_t bytes[200] = {0};
    for (int i = 0; i < 10; i++) {
        struct lw_packet packet = {
            .first_utc_ns = i, .last_utc_ns = i, .bytes = bytes, .count = sizeof bytes};
        enum lw_status status = lw_capture_packet(capture, &packet, error);
        assert_true(first == LW_OK || status == first);
        first = status;
        if (first != LW_OK) {
            lw_file_fail_after(-1, 0); // there is room again, too late
        }
    }
    enum lw_status closed = lw_capture_close(capture, NULL, error);
    assert_true(first == LW_OK || closed == first);
    return closed;
}

static void a_full_disk_fails_once_and_for_all_and_leaves_a_readable_file(void **state)
{
    (void)state;
    enum lw_status status = LW_SYSTEM;
    int n = 0;
    for (; status != LW_OK; n++) {
        struct lw_error error = {0};
        assert_true(n < 1000);
        lw_file_fail_after(n, ENOSPC);
        status = write_ten(&error);
        lw_file_fail_after(-1, 0);
        if (status == LW_OK) {
            break;
        }
        assert_int_equal(status, LW_SYSTEM);
        assert_non_null(strstr(error.says, "No space left on device"));
        struct lw_reader *reader = NULL;
        bool more = lw_reader_open(path, &reader, NULL) == LW_OK;
        while (more) {
            struct lw_read_packet read;
            assert_int_equal(lw_reader_next(reader, &read, &more, NULL), LW_OK);
        }
        lw_reader_close(reader);
    }
    assert_true(n > 10); // a failure of the opening, of every write and of the syncing was met
}

static void a_file_that_cannot_be_made_is_told(void **state)
{
    (void)state;
    struct lw_capture *capture = NULL;
    struct lw_error error = {0};
    assert_int_equal(lw_capture_create("/no/such/folder/x.pcapng", &facts, &capture, &error),
                     LW_SYSTEM);
    assert_null(capture);
    assert_non_null(strstr(error.says, "No such file or directory"));
    assert_int_equal(lw_capture_close(NULL, NULL, NULL), LW_OK);
}

#define WITH_A_FILE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_A_FILE(every_byte_is_where_the_format_has_it),
        WITH_A_FILE(a_packet_is_on_the_disk_before_the_file_is_closed),
        WITH_A_FILE(a_process_that_is_killed_loses_no_packet_that_it_wrote),
        WITH_A_FILE(a_full_disk_fails_once_and_for_all_and_leaves_a_readable_file),
        cmocka_unit_test(a_file_that_cannot_be_made_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
