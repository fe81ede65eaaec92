// SPDX-License-Identifier: GPL-3.0-or-later
//
// An hour of a line's traffic in which every fifth system call is interrupted or does less than it
// was asked: the line, the client and the recorder on a real pseudo-terminal, whose far end is
// played here, inside the program's own waiting, on a clock that runs only then. Each answer
// carries its number, so that one that is lost, doubled or taken twice is seen.
#include "capture/pcapng.h"
#include "capture/reader.h"
#include "client/client.h"

#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

enum { FIFTH = 5, NODES = 24, PIECES = 2 };
static const int64_t CHAR_NS = 572917, LATENCY_NS = 10000000, HOUR_NS = 3600000000000;

// The far end, and what was done to the calls.
static struct {
    bool on;
    int far;
    size_t unread; // bytes that the line has taken and the far end has not
    uint8_t heard[LW_RTU_MAX];
    size_t heard_count;
    uint8_t reply[LW_RTU_MAX];
    size_t reply_count, reply_sent;
    int64_t now_ns, due_ns;
    uint32_t number; // of the latest answer
    uint64_t calls, interrupted, shortened;
} made;

enum fault { NONE, INTERRUPTED, SHORT };

// What happens to the next call, which asks for `count` bytes, or for none. One in each five, but
// not always the same one, lest the fault falls on the same call of each exchange.
static enum fault fault(size_t count)
{
    if (!made.on) {
        return NONE;
    }
    uint64_t group = made.calls / FIFTH, place = made.calls++ % FIFTH;
    uint64_t drawn = (group + 1) * UINT64_C(0x9E3779B97F4A7C15) >> 33; // Knuth's golden ratio
    if (place != drawn % FIFTH) {
        return NONE;
    }
    bool is_short = count > 1 && drawn / FIFTH % 2 == 0;
    made.shortened += is_short;
    made.interrupted += !is_short;
    return is_short ? SHORT : INTERRUPTED;
}

int __real_clock_gettime(clockid_t which, struct timespec *now);
int __wrap_clock_gettime(clockid_t which, struct timespec *now);
int __wrap_clock_gettime(clockid_t which, struct timespec *now)
{
    if (!made.on) {
        return __real_clock_gettime(which, now);
    }
    now->tv_sec = made.now_ns / 1000000000 + (which == CLOCK_REALTIME ? 1767225600 : 0);
    now->tv_nsec = made.now_ns % 1000000000;
    return 0;
}

ssize_t __real_read(int descriptor, void *bytes, size_t count);
ssize_t __wrap_read(int descriptor, void *bytes, size_t count);
ssize_t __wrap_read(int descriptor, void *bytes, size_t count)
{
    enum fault kind = fault(count);
    if (kind == INTERRUPTED) {
        errno = EINTR;
        return -1;
    }
    return __real_read(descriptor, bytes, kind == SHORT ? 1 : count);
}

ssize_t __real_write(int descriptor, const void *bytes, size_t count);
ssize_t __wrap_write(int descriptor, const void *bytes, size_t count);
ssize_t __wrap_write(int descriptor, const void *bytes, size_t count)
{
    enum fault kind = fault(count);
    if (kind == INTERRUPTED) {
        errno = EINTR;
        return -1;
    }
    ssize_t put = __real_write(descriptor, bytes, kind == SHORT ? count / 2 : count);
    if (made.on && isatty(descriptor) && put > 0) {
        made.unread += (size_t)put;
    }
    return put;
}

// Real time for what the kernel still carries from end to end; none else passes.
static bool is_readable(int descriptor, int wait_ms)
{
    struct pollfd one = {.fd = descriptor, .events = POLLIN};
    return poll(&one, 1, wait_ms) == 1;
}

static uint32_t number_at(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

static void answer_request(void)
{
    struct lw_pdu reply = {.count = 6, .bytes = {LW_READ_INPUT_REGISTERS, 4}};
    made.number++;
    for (int i = 0; i < 4; i++) {
        reply.bytes[2 + i] = (uint8_t)(made.number >> (24 - 8 * i));
    }
    made.reply_count = lw_rtu_wrap(made.heard[0], &reply, made.reply);
    made.reply_sent = made.heard_count = 0;
    made.due_ns = made.now_ns + 8 * CHAR_NS + LATENCY_NS;
}

static void hear(void)
{
    while (made.unread > 0) {
        assert_true(is_readable(made.far, 10000));
        ssize_t got = __real_read(made.far, made.heard + made.heard_count,
                                  sizeof made.heard - made.heard_count);
        assert_true(got > 0);
        made.heard_count += (size_t)got;
        made.unread -= (size_t)got;
    }
    assert_true(made.heard_count <= 8); // more than was asked: something was sent twice
    if (made.heard_count == 8) {
        assert_int_equal(made.reply_sent, made.reply_count); // no request before its answer
        answer_request();
    }
}

static void send_piece(void)
{
    size_t count = made.reply_count / PIECES, left = made.reply_count - made.reply_sent;
    count = left < 2 * count ? left : count;
    assert_int_equal(__real_write(made.far, made.reply + made.reply_sent, count), count);
    made.reply_sent += count;
    made.due_ns = made.now_ns + (int64_t)count * CHAR_NS;
}

int __real_ppoll(struct pollfd *waits, nfds_t count, const struct timespec *left,
                 const sigset_t *mask);
int __wrap_ppoll(struct pollfd *waits, nfds_t count, const struct timespec *left,
                 const sigset_t *mask);
int __wrap_ppoll(struct pollfd *waits, nfds_t count, const struct timespec *left,
                 const sigset_t *mask)
{
    static const struct timespec none = {0};
    hear();
    int ready = __real_ppoll(waits, count, &none, mask);
    int64_t wait_ns = (int64_t)left->tv_sec * 1000000000 + left->tv_nsec;
    if (fault(0) == INTERRUPTED) {
        made.now_ns += ready == 0 && wait_ns < LATENCY_NS ? wait_ns / 2 : 0;
        errno = EINTR;
        return -1;
    }
    bool owes = made.reply_sent < made.reply_count;
    if (ready != 0) {
        return ready;
    }
    if (!owes || made.due_ns > made.now_ns + wait_ns) {
        made.now_ns += wait_ns;
        return 0;
    }
    made.now_ns = made.due_ns > made.now_ns ? made.due_ns : made.now_ns;
    send_piece();
    const struct timespec patience = {.tv_sec = 10};
    return __real_ppoll(waits, count, &patience, mask);
}

struct bench {
    char name[64], path[64];
    int near;
    struct lw_capture *capture;
    struct lw_line *line;
    struct lw_client *client;
    struct lw_run run;
};

static void open_bench(struct bench *bench)
{
    *bench = (struct bench){.path = "/tmp/lw-interrupted-XXXXXX"};
    struct termios raw;
    struct lw_line *pty = NULL;
    assert_int_equal(openpty(&made.far, &bench->near, bench->name, NULL, NULL), 0);
    tcgetattr(made.far, &raw);
    cfmakeraw(&raw);
    tcsetattr(made.far, TCSANOW, &raw);
    int file = mkstemp(bench->path);
    assert_true(file >= 0);
    close(file);
    made.on = true;
    const struct lw_line_options options = {.framing = {19200, 8, 'E', 1}};
    const struct lw_capture_facts facts = {.application = "test", .line = bench->name};
    assert_int_equal(lw_capture_create(bench->path, &facts, &bench->capture, NULL), LW_OK);
    assert_int_equal(lw_pty_open(bench->name, &options, &pty, NULL), LW_OK);
    assert_int_equal(lw_recorder_wrap(pty, bench->capture, &bench->line, NULL), LW_OK);
    bench->run = (struct lw_run){.clock = bench->line->clock};
    assert_int_equal(lw_client_new(bench->line, &bench->run,
                                   &(struct lw_client_options){.attempts = 1}, &bench->client,
                                   NULL),
                     LW_OK);
}

static void close_bench(struct bench *bench)
{
    lw_client_free(bench->client);
    lw_line_close(bench->line);
    assert_int_equal(lw_capture_close(bench->capture, NULL, NULL), LW_OK);
    made.on = false;
    close(bench->near);
    close(made.far);
}

// Each packet that was sent is a request; what was received, cut where the recorder saw silence, is
// the answers in order.
static uint32_t count_answers(const char *path)
{
    struct lw_reader *reader = NULL;
    struct lw_read_packet packet;
    bool more = true;
    uint8_t answer[9];
    size_t count = 0;
    uint32_t requests = 0, answers = 0;
    assert_int_equal(lw_reader_open(path, &reader, NULL), LW_OK);
    while (lw_reader_next(reader, &packet, &more, NULL) == LW_OK && more) {
        requests += packet.packet.outbound;
        assert_true(count == 0 || !packet.packet.outbound);
        for (size_t i = 0; !packet.packet.outbound && i < packet.packet.count; i++) {
            answer[count++] = packet.packet.bytes[i];
            if (count == sizeof answer) {
                assert_int_equal(number_at(answer + 3), ++answers);
                count = 0;
            }
        }
    }
    assert_false(more);
    assert_false(lw_reader_is_cut(reader));
    lw_reader_close(reader);
    assert_int_equal(count, 0);
    assert_int_equal(requests, answers);
    return answers;
}

static void an_hour_loses_and_doubles_nothing(void **state)
{
    (void)state;
    struct bench bench;
    open_bench(&bench);
    const struct lw_pdu request = {5, {LW_READ_INPUT_REGISTERS, 0, 0, 0, 2}};
    uint32_t asked = 0;
    for (; made.now_ns < HOUR_NS; asked++) {
        struct lw_exchange exchange;
        assert_int_equal(lw_client_exchange(bench.client, (uint8_t)(1 + asked % NODES), &request,
                                            &exchange, NULL),
                         LW_OK);
        assert_int_equal(exchange.outcome, LW_ANSWERED);
        assert_int_equal(exchange.strays, 0);
        assert_int_equal(number_at(exchange.reply.bytes + 2), asked + 1);
    }
    close_bench(&bench);
    assert_int_equal(made.number, asked);
    assert_int_equal(count_answers(bench.path), asked);
    assert_true(asked > 100000);
    assert_true(made.interrupted > 50000 && made.shortened > 50000);
    print_message("%u exchanges, %llu calls: %llu interrupted, %llu short\n", asked,
                  (unsigned long long)made.calls, (unsigned long long)made.interrupted,
                  (unsigned long long)made.shortened);
    unlink(bench.path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(an_hour_loses_and_doubles_nothing)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
