// SPDX-License-Identifier: GPL-3.0-or-later
//
// Every call of lines and captures that takes memory, with the first allocation refused, then the
// second, and so on until the call succeeds: a clean error each time, and under the address
// sanitizer nothing leaked.
#include "capture/pcapng.h"
#include "capture/reader.h"
#include "line/line.h"
#include "line/ports.h"

#include <pty.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *block, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *block, size_t size);

static int allocations_left = -1; // negative: none is refused

static bool refused(void)
{
    if (allocations_left > 0) {
        allocations_left--;
    }
    return allocations_left == 0;
}

void *__wrap_malloc(size_t size)
{
    return refused() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return refused() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *block, size_t size)
{
    return refused() ? NULL : __real_realloc(block, size);
}

static const struct lw_line_options plain = {.framing = {19200, 8, 'E', 1}};
static char path[64], near_path[64];
static int port;

static int set_up(void **state)
{
    (void)state;
    snprintf(path, sizeof path, "/tmp/lw-memory-XXXXXX");
    close(mkstemp(path));
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    unlink(path);
    return 0;
}

// Runs the call with the n-th and all later allocations refused, n counting up, until it succeeds;
// it must have failed at least `least` times.
static void refuse_each(enum lw_status (*call)(struct lw_error *error), int least)
{
    enum lw_status status = LW_MEMORY;
    int n = 0;
    while (status != LW_OK) {
        struct lw_error error = {0};
        allocations_left = ++n;
        status = call(&error);
        allocations_left = -1;
        if (status != LW_OK) {
            assert_int_equal(status, LW_MEMORY);
            assert_string_equal(error.says, "out of memory");
        }
    }
    assert_true(n > least);
}

static enum lw_status open_pty(struct lw_error *error)
{
    struct lw_line *line = NULL;
    enum lw_status status = lw_pty_open(near_path, &plain, &line, error);
    assert_int_equal(line != NULL, status == LW_OK);
    lw_line_close(line);
    return status;
}

static enum lw_status serve_pty(struct lw_error *error)
{
    struct lw_line *line = NULL;
    unlink(path);
    enum lw_status status = lw_pty_serve(path, &plain, &line, error);
    lw_line_close(line);
    return status;
}

static enum lw_status serve_socket(struct lw_error *error)
{
    struct lw_line *line = NULL;
    int bound = 0;
    enum lw_status status = lw_socket_serve(0, LW_ADU_RTU, &plain, &bound, &line, error);
    lw_line_close(line);
    return status;
}

static enum lw_status open_socket(struct lw_error *error)
{
    struct lw_line *line = NULL;
    char url[64];
    snprintf(url, sizeof url, "tcp://127.0.0.1:%d", port);
    enum lw_status status = lw_socket_open(url, &plain, &line, error);
    lw_line_close(line);
    return status;
}

static enum lw_status list_ports(struct lw_error *error)
{
    struct lw_list ports;
    enum lw_status status = lw_ports_list(&ports, error);
    lw_ports_free(&ports);
    return status;
}

// A recorded line from its opening to its end. A refused recorder leaves the line to the caller.
static enum lw_status record(struct lw_error *error)
{
    const struct lw_capture_facts facts = {.application = "linewalk 0.1.0", .line = "pty"};
    struct lw_capture *capture = NULL;
    struct lw_line *inner = NULL, *line = NULL;
    enum lw_status status = lw_pty_open(near_path, &plain, &inner, error);
    if (status == LW_OK) {
        status = lw_capture_create(path, &facts, &capture, error);
    }
    if (status == LW_OK) {
        status = lw_recorder_wrap(inner, capture, &line, error);
    }
    if (status == LW_OK) {
        status = lw_line_send(line, (const uint8_t *)"12345678", 8, NULL, NULL, error);
    }
    lw_line_close(line ? line : inner);
    enum lw_status closed = lw_capture_close(capture, NULL, status == LW_OK ? error : NULL);
    return status == LW_OK ? closed : status;
}

static enum lw_status read_back(struct lw_error *error)
{
    struct lw_reader *reader = NULL;
    struct lw_read_packet read;
    bool more = false;
    enum lw_status status = lw_reader_open(path, &reader, error);
    if (status == LW_OK) {
        status = lw_reader_next(reader, &read, &more, error);
        assert_true(more);
    }
    lw_reader_close(reader);
    return status;
}

static void lines_without_memory_do_not_open(void **state)
{
    (void)state;
    int far = -1, near = -1;
    struct lw_line *server = NULL;
    assert_int_equal(openpty(&far, &near, near_path, NULL, NULL), 0);
    refuse_each(open_pty, 1);
    refuse_each(serve_pty, 1);
    refuse_each(serve_socket, 1);
    assert_int_equal(lw_socket_serve(0, LW_ADU_RTU, &plain, &port, &server, NULL), LW_OK);
    refuse_each(open_socket, 1);
    refuse_each(list_ports, 1);
    lw_line_close(server);
    close(near);
    close(far);
}

static void recordings_without_memory_fail_cleanly(void **state)
{
    (void)state;
    int far = -1, near = -1;
    assert_int_equal(openpty(&far, &near, near_path, NULL, NULL), 0);
    close(near);
    refuse_each(record, 5); // line, capture, its file, its first block, recorder
    refuse_each(read_back, 1);
    close(far);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(lines_without_memory_do_not_open, set_up, tear_down),
        cmocka_unit_test_setup_teardown(recordings_without_memory_fail_cleanly, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
