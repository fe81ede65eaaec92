// SPDX-License-Identifier: GPL-3.0-or-later
//
// A served pseudo-terminal and its clients, which come and go.
#include "line/line.h"

#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

static const struct lw_line_options plain = {.framing = {19200, 8, 'E', 1}};

struct served {
    char folder[64], link[80];
    struct lw_line *line;
};

static int set_up(void **state)
{
    struct served *served = calloc(1, sizeof *served);
    snprintf(served->folder, sizeof served->folder, "/tmp/lw-pty-XXXXXX");
    assert_non_null(mkdtemp(served->folder));
    snprintf(served->link, sizeof served->link, "%s/chain", served->folder);
    assert_int_equal(lw_pty_serve(served->link, &plain, &served->line, NULL), LW_OK);
    *state = served;
    return 0;
}

static int tear_down(void **state)
{
    struct served *served = *state;
    lw_line_close(served->line);
    unlink(served->link);
    rmdir(served->folder);
    free(served);
    return 0;
}

static void pass(struct lw_line *from, struct lw_line *to, const char *bytes)
{
    uint8_t got[64];
    size_t count = 0, length = strlen(bytes);
    assert_int_equal(lw_line_send(from, (const uint8_t *)bytes, length, NULL, NULL, NULL), LW_OK);
    while (count < length) {
        struct lw_piece piece;
        assert_int_equal(
            lw_line_receive(to, INT64_MAX, got + count, sizeof got - count, &piece, NULL), LW_OK);
        count += piece.count;
    }
    assert_memory_equal(got, bytes, length);
}

static void clients_come_and_go_and_the_server_stays(void **state)
{
    struct served *served = *state;
    for (int i = 0; i < 3; i++) {
        struct lw_line *client = NULL;
        uint8_t byte;
        struct lw_piece piece;
        assert_true(lw_pty_is(served->link));
        assert_int_equal(lw_pty_open(served->link, &plain, &client, NULL), LW_OK);
        pass(client, served->line, "question\xff\x03\x11\x13\n\r");
        pass(served->line, client, "answer\xff\x03\x11\x13\n\r");
        lw_line_close(client);
        assert_int_equal(lw_line_receive(served->line, 0, &byte, 1, &piece, NULL), LW_OK);
        assert_int_equal(piece.count, 0);
    }
}

static void what_nobody_reads_is_lost_and_stops_nothing(void **state)
{
    struct served *served = *state;
    uint8_t frame[200];
    memset(frame, 0x5a, sizeof frame);
    for (int i = 0; i < 1000; i++) {
        assert_int_equal(lw_line_send(served->line, frame, sizeof frame, NULL, NULL, NULL), LW_OK);
    }
}

static void the_link_goes_with_the_server(void **state)
{
    struct served *served = *state;
    assert_int_equal(access(served->link, F_OK), 0);
    lw_line_close(served->line);
    served->line = NULL;
    assert_int_not_equal(access(served->link, F_OK), 0);
}

static void a_link_that_a_killed_server_left_is_replaced(void **state)
{
    struct served *served = *state;
    lw_line_close(served->line);
    assert_int_equal(symlink("/dev/pts/999999", served->link), 0);
    assert_int_equal(lw_pty_serve(served->link, &plain, &served->line, NULL), LW_OK);
}

static void a_file_and_a_living_server_are_never_replaced(void **state)
{
    struct served *served = *state;
    struct lw_line *second = NULL;
    struct lw_error error = {0};
    char file[80], says[160];
    assert_int_equal(lw_pty_serve(served->link, &plain, &second, &error), LW_USAGE);
    snprintf(says, sizeof says, "'%s' exists already: remove it or choose another name",
             served->link);
    assert_string_equal(error.says, says);
    assert_int_equal(access(served->link, F_OK), 0);

    snprintf(file, sizeof file, "%s/file", served->folder);
    close(open(file, O_CREAT | O_WRONLY, 0600));
    assert_int_equal(lw_pty_serve(file, &plain, &second, &error), LW_USAGE);
    assert_int_equal(access(file, F_OK), 0);
    assert_null(second);
    unlink(file);
}

static void a_link_in_a_folder_that_is_not_there_is_refused(void **state)
{
    (void)state;
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    assert_int_equal(lw_pty_serve("/tmp/no-such-folder/x/chain", &plain, &line, &error), LW_SYSTEM);
    assert_string_equal(error.says, "cannot make the link '/tmp/no-such-folder/x/chain': "
                                    "No such file or directory");
}

#define SERVED(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        SERVED(clients_come_and_go_and_the_server_stays),
        SERVED(what_nobody_reads_is_lost_and_stops_nothing),
        SERVED(the_link_goes_with_the_server),
        SERVED(a_link_that_a_killed_server_left_is_replaced),
        SERVED(a_file_and_a_living_server_are_never_replaced),
        cmocka_unit_test(a_link_in_a_folder_that_is_not_there_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
