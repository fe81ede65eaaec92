// SPDX-License-Identifier: GPL-3.0-or-later
//
// Lines through real sockets on this machine: the two ends are a serving line and a joining one, or
// a bare socket where an end has to misbehave.
#include "line/address.h"
#include "line/line.h"

#include <fcntl.h>
#include <netinet/in.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmocka.h>

static const struct lw_line_options plain = {.framing = {19200, 8, 'E', 1}, .connect_s = 30};

static int64_t soon(const struct lw_line *line)
{
    return lw_clock_now_ns(line->clock) + INT64_C(30000000000);
}

static void join(struct lw_line **line, const char *scheme, int port)
{
    char url[64];
    snprintf(url, sizeof url, "%s://127.0.0.1:%d", scheme, port);
    assert_int_equal(lw_socket_open(url, &plain, line, NULL), LW_OK);
}

static struct lw_piece hear(struct lw_line *line, const char *expected)
{
    uint8_t bytes[64];
    struct lw_piece piece;
    size_t count = 0, length = strlen(expected);
    do {
        assert_int_equal(
            lw_line_receive(line, soon(line), bytes + count, sizeof bytes - count, &piece, NULL),
            LW_OK);
        count += piece.count;
    } while (count < length);
    assert_int_equal(count, length);
    assert_memory_equal(bytes, expected, length);
    return piece;
}

static void say(struct lw_line *line, const char *bytes)
{
    assert_int_equal(lw_line_send(line, (const uint8_t *)bytes, strlen(bytes), NULL, NULL, NULL),
                     LW_OK);
}

// A listening socket of our own, for ends that misbehave.
static int open_door(int backlog, int *port)
{
    struct sockaddr_in here = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof here;
    int door = socket(AF_INET, SOCK_STREAM, 0);
    assert_int_equal(bind(door, (struct sockaddr *)&here, size), 0);
    assert_int_equal(listen(door, backlog), 0);
    assert_int_equal(getsockname(door, (struct sockaddr *)&here, &size), 0);
    *port = ntohs(here.sin_port);
    return door;
}

static void addresses_are_taken_apart(void **state)
{
    (void)state;
    static const struct {
        const char *url, *host, *port;
        enum lw_adu adu;
    } table[] = {
        {"tcp://10.1.2.3:1502", "10.1.2.3", "1502", LW_ADU_MBAP},
        // MODBUS Messaging on TCP/IP V1.0b, 3.1.3: port 502.
        {"tcp://gateway.example", "gateway.example", "502", LW_ADU_MBAP},
        {"rtu://gateway:4001", "gateway", "4001", LW_ADU_RTU},
        {"tcp://[::1]:1502", "::1", "1502", LW_ADU_MBAP},
        {"tcp://[fe80::1]", "fe80::1", "502", LW_ADU_MBAP},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct lw_address address;
        assert_int_equal(lw_address_parse(table[i].url, &address, NULL), LW_OK);
        assert_string_equal(address.host, table[i].host);
        assert_string_equal(address.port, table[i].port);
        assert_int_equal(address.adu, table[i].adu);
    }
}

static void what_is_no_address_is_refused(void **state)
{
    (void)state;
    static const char *const urls[] = {
        "",           "tcp://",         "tcp://:502",   "rtu://host",    "http://host:80",
        "tcp://h:0",  "tcp://h:65536",  "tcp://h:",     "tcp://h:+5",    "tcp://h:5x",
        "tcp://h/x",  "tcp://[::1:502", "tcp://[]:502", "tcp://a b:502", "tcp://u@h:502",
        "TCP://h:502"};
    for (size_t i = 0; i < sizeof urls / sizeof urls[0]; i++) {
        struct lw_address address;
        struct lw_error error = {0};
        assert_int_equal(lw_address_parse(urls[i], &address, &error), LW_USAGE);
        assert_non_null(strstr(error.says, "is no address: write tcp://host"));
    }
}

static void both_ends_hear_each_other(void **state)
{
    (void)state;
    struct lw_line *server = NULL, *client = NULL;
    int port = 0;
    assert_int_equal(lw_socket_serve(0, LW_ADU_MBAP, &plain, &port, &server, NULL), LW_OK);
    assert_true(port > 0);
    join(&client, "tcp", port);
    say(client, "question");
    struct lw_piece piece = hear(server, "question");
    assert_true(piece.timing_u_ns > 0);
    say(server, "answer");
    hear(client, "answer");
    lw_line_close(client);
    lw_line_close(server);
}

static void a_gateway_hides_others_and_a_raw_socket_does_not(void **state)
{
    (void)state;
    struct lw_line *server = NULL, *client = NULL;
    int port = 0;
    assert_int_equal(lw_socket_serve(0, LW_ADU_RTU, &plain, &port, &server, NULL), LW_OK);
    join(&client, "tcp", port);
    assert_int_equal(client->adu, LW_ADU_MBAP);
    assert_false(client->hears_others);
    assert_false(client->simulated);
    assert_false(client->framed);
    lw_line_close(client);
    join(&client, "rtu", port);
    assert_int_equal(client->adu, LW_ADU_RTU);
    assert_true(client->hears_others);
    lw_line_close(client);
    lw_line_close(server);
}

static void a_server_takes_one_client_after_the_other(void **state)
{
    (void)state;
    struct lw_line *server = NULL, *client = NULL;
    int port = 0;
    uint8_t byte;
    struct lw_piece piece;
    assert_int_equal(lw_socket_serve(0, LW_ADU_RTU, &plain, &port, &server, NULL), LW_OK);
    say(server, "nobody hears this");
    for (int i = 0; i < 3; i++) {
        join(&client, "rtu", port);
        say(client, "a");
        hear(server, "a");
        lw_line_close(client);
        assert_int_equal(lw_line_receive(server, soon(server), &byte, 1, &piece, NULL), LW_OK);
        assert_int_equal(piece.count, 0);
        assert_int_equal(piece.flags, LW_PIECE_CLOSED);
    }
    lw_line_close(server);
}

static void a_refused_connection_says_so(void **state)
{
    (void)state;
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    char url[64], says[128];
    int port = 0;
    close(open_door(1, &port));
    snprintf(url, sizeof url, "tcp://127.0.0.1:%d", port);
    snprintf(says, sizeof says, "cannot reach '%s': Connection refused", url);
    assert_int_equal(lw_socket_open(url, &plain, &line, &error), LW_SYSTEM);
    assert_string_equal(error.says, says);
    assert_null(line);
}

// Fills a listening queue until a further connection hangs; returns how many sockets that took.
static int fill_queue(int port, int *sockets, int most)
{
    struct sockaddr_in there = {.sin_family = AF_INET,
                                .sin_port = htons((uint16_t)port),
                                .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    for (int i = 0; i < most; i++) {
        sockets[i] = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0);
        (void)!connect(sockets[i], (struct sockaddr *)&there, sizeof there);
    }
    return most;
}

static void a_gateway_that_hangs_is_given_up_in_time(void **state)
{
    (void)state;
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    char url[64], says[128];
    int port = 0, waiting[8];
    int door = open_door(0, &port);
    int count = fill_queue(port, waiting, 8);
    const struct lw_line_options hurried = {.framing = plain.framing, .connect_s = 0.05};
    snprintf(url, sizeof url, "tcp://127.0.0.1:%d", port);
    snprintf(says, sizeof says, "cannot reach '%s': no answer in time", url);
    assert_int_equal(lw_socket_open(url, &hurried, &line, &error), LW_SYSTEM);
    assert_string_equal(error.says, says);

    struct lw_cancel cancel = {.flag = 1, .wake_descriptor = -1};
    const struct lw_line_options given_up = {.framing = plain.framing, .cancel = &cancel};
    assert_int_equal(lw_socket_open(url, &given_up, &line, &error), LW_CANCELLED);
    for (int i = 0; i < count; i++) {
        close(waiting[i]);
    }
    close(door);
}

static void a_gateway_that_closes_in_the_middle_is_told_once_and_then_an_error(void **state)
{
    (void)state;
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    uint8_t byte = 0;
    struct lw_piece piece;
    int port = 0;
    int door = open_door(1, &port);
    join(&line, "tcp", port);
    int other = accept(door, NULL, NULL);
    assert_int_equal(write(other, "half", 4), 4);
    close(other);
    piece = hear(line, "half");
    assert_int_equal(piece.flags, 0);
    assert_int_equal(lw_line_receive(line, soon(line), &byte, 1, &piece, &error), LW_OK);
    assert_int_equal(piece.count, 0);
    assert_int_equal(piece.flags, LW_PIECE_CLOSED);
    assert_int_equal(lw_line_receive(line, soon(line), &byte, 1, &piece, &error), LW_SYSTEM);
    assert_non_null(strstr(error.says, "is gone: the other end closed the connection"));
    enum lw_status status = LW_OK;
    for (int i = 0; i < 1000 && status == LW_OK; i++) {
        status = lw_line_send(line, &byte, 1, NULL, NULL, &error);
    }
    assert_int_equal(status, LW_SYSTEM); // and no signal that ends the process
    lw_line_close(line);
    close(door);
}

static void a_name_that_nobody_knows_is_said(void **state)
{
    (void)state;
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    // RFC 6761, 6.4: "invalid" never resolves.
    assert_int_equal(lw_socket_open("tcp://no-such-gateway.invalid", &plain, &line, &error),
                     LW_SYSTEM);
    assert_non_null(strstr(error.says, "cannot find 'tcp://no-such-gateway.invalid': "));
}

static void a_port_in_use_cannot_be_served(void **state)
{
    (void)state;
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    int port = 0, bound = 0;
    int door = open_door(1, &port);
    assert_int_equal(lw_socket_serve(port, LW_ADU_RTU, &plain, &bound, &line, &error), LW_SYSTEM);
    assert_non_null(strstr(error.says, "cannot listen on port"));
    assert_int_equal(lw_socket_serve(65536, LW_ADU_RTU, &plain, &bound, &line, &error), LW_USAGE);
    close(door);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(addresses_are_taken_apart),
        cmocka_unit_test(what_is_no_address_is_refused),
        cmocka_unit_test(both_ends_hear_each_other),
        cmocka_unit_test(a_gateway_hides_others_and_a_raw_socket_does_not),
        cmocka_unit_test(a_server_takes_one_client_after_the_other),
        cmocka_unit_test(a_refused_connection_says_so),
        cmocka_unit_test(a_gateway_that_hangs_is_given_up_in_time),
        cmocka_unit_test(a_gateway_that_closes_in_the_middle_is_told_once_and_then_an_error),
        cmocka_unit_test(a_name_that_nobody_knows_is_said),
        cmocka_unit_test(a_port_in_use_cannot_be_served),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
