// SPDX-License-Identifier: GPL-3.0-or-later
//
// Serving a line on a network port of this machine, one client after the other. Only 127.0.0.1 is
// listened on: a virtual chain is nobody else's business.
#include "line/line.h"
#include "line/system_line.h"

#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <unistd.h>

static const int64_t WAKE_NS = 1000000; // as in pty.c: the time to wake a process

struct server {
    struct lw_system_line system; // first: it is a line; its descriptor is the client's, or -1
    int door;
};

static void drop_client(struct server *server)
{
    if (server->system.descriptor >= 0) {
        close(server->system.descriptor);
    }
    server->system.descriptor = -1;
}

// Like a wire: without a client, and with one that does not read, the bytes are lost.
static enum lw_status server_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                  int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct server *server = (struct server *)line;
    (void)error;
    *first_ns = lw_clock_now_ns(&server->system.clock);
    if (server->system.descriptor >= 0) {
        ssize_t took = send(server->system.descriptor, bytes, count, MSG_NOSIGNAL | MSG_DONTWAIT);
        if (took >= 0 && (size_t)took < count) {
            drop_client(server); // half an answer would shift all that follow
        }
    }
    *last_ns = lw_clock_now_ns(&server->system.clock);
    return LW_OK;
}

static enum lw_status let_in(struct server *server, struct lw_error *error)
{
    int on = 1;
    server->system.descriptor = accept4(server->door, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC);
    if (server->system.descriptor >= 0) {
        setsockopt(server->system.descriptor, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
        return LW_OK;
    }
    // A client that went away while it waited is no failure of ours (accept(2)).
    bool passing = errno == EAGAIN || errno == EINTR || errno == ECONNABORTED || errno == EPROTO;
    return passing ? LW_OK
                   : lw_fail_errno(error, errno, "cannot take a client on '%s'",
                                   server->system.line.name);
}

static enum lw_status hear_client(struct server *server, uint8_t *bytes, size_t size,
                                  struct lw_piece *piece, struct lw_error *error)
{
    size_t count = 0;
    bool ended = false;
    enum lw_status status =
        lw_system_line_read(&server->system, bytes, size, &count, &ended, error);
    if (status == LW_OK && (count > 0 || ended)) {
        lw_system_line_stamp(&server->system, count, piece);
    }
    if (ended) {
        piece->flags = LW_PIECE_CLOSED;
        drop_client(server);
    }
    return status;
}

static enum lw_status server_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                     size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct server *server = (struct server *)line;
    bool ready = true;
    while (ready && piece->count == 0 && piece->flags == 0) {
        bool has_client = server->system.descriptor >= 0;
        int waiting_for = has_client ? server->system.descriptor : server->door;
        enum lw_status status =
            lw_system_line_wait(&server->system, waiting_for, POLLIN, deadline_ns, &ready, error);
        if (status == LW_OK && ready) {
            status =
                has_client ? hear_client(server, bytes, size, piece, error) : let_in(server, error);
        }
        if (status != LW_OK) {
            return status;
        }
    }
    return LW_OK;
}

static void server_close(struct lw_line *line)
{
    struct server *server = (struct server *)line;
    drop_client(server);
    if (server->door >= 0) {
        close(server->door);
    }
    free(server);
}

static const struct lw_line_ops server_ops = {
    .send = server_send, .receive = server_receive, .close = server_close};

static enum lw_status open_door(struct server *server, int port, int *bound, struct lw_error *error)
{
    struct sockaddr_in here = {.sin_family = AF_INET,
                               .sin_port = htons((uint16_t)port),
                               .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof here;
    int on = 1;
    server->door = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (server->door < 0) {
        return lw_fail_errno(error, errno, "cannot make a socket");
    }
    setsockopt(server->door, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    if (bind(server->door, (struct sockaddr *)&here, sizeof here) != 0 ||
        listen(server->door, 8) != 0 ||
        getsockname(server->door, (struct sockaddr *)&here, &size) != 0) {
        return lw_fail_errno(error, errno, "cannot listen on port %d", port);
    }
    *bound = ntohs(here.sin_port);
    return LW_OK;
}

enum lw_status lw_socket_serve(int port, enum lw_adu adu, const struct lw_line_options *options,
                               int *bound, struct lw_line **line, struct lw_error *error)
{
    assert(options && bound && line);
    if (port < 0 || port > 65535) {
        return lw_fail(error, LW_USAGE, "port %d: must be 0 to 65535", port);
    }
    struct server *server = calloc(1, sizeof *server);
    if (!server) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    lw_system_line_init(&server->system, &server_ops, options, "");
    server->system.line.late_ns = WAKE_NS;
    server->door = -1;
    server->system.gone = "the client closed the connection";
    server->system.line.adu = adu;
    server->system.line.hears_others = adu == LW_ADU_RTU;
    enum lw_status status = open_door(server, port, bound, error);
    if (status != LW_OK) {
        server_close(&server->system.line);
        return status;
    }
    lw_print(server->system.line.name, sizeof server->system.line.name, "%s://127.0.0.1:%d",
             adu == LW_ADU_MBAP ? "tcp" : "rtu", *bound);
    *line = &server->system.line;
    return LW_OK;
}
