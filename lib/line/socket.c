// SPDX-License-Identifier: GPL-3.0-or-later
//
// Lines through a network: a gateway that speaks Modbus TCP, or one that passes the RTU bytes on.
// Small packets go out at once (no Nagle delay), since a request waits for nothing behind it.
#include "line/address.h"
#include "line/line.h"
#include "line/system_line.h"

#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

// How long bytes may be under way in a plant network and in a gateway's buffer (common practice).
static const int64_t NETWORK_NS = 10000000;
// Serial servers send a long answer in parts, and a network delays one against the other (common
// practice).
static const int64_t GAP_NS = 100000000;

static const double CONNECT_S = 5;

struct joined {
    struct lw_system_line system; // first: it is a line
    bool ended;                   // the other end closed, and that was told
};

static enum lw_status joined_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                  int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    const struct lw_system_line *system = &((struct joined *)line)->system;
    *first_ns = lw_clock_now_ns(&system->clock);
    enum lw_status status = lw_system_line_write(system, bytes, count, error);
    *last_ns = lw_clock_now_ns(&system->clock);
    return status;
}

// A serial server may hold the rest of an answer back until its beginning is acknowledged (RFC
// 896), which would be 40 ms and more later (RFC 1122, 4.2.3.2). The system forgets this with time.
static void acknowledge(const struct lw_system_line *system)
{
    int on = 1;
    setsockopt(system->descriptor, IPPROTO_TCP, TCP_QUICKACK, &on, sizeof on);
}

static enum lw_status joined_read(struct joined *joined, uint8_t *bytes, size_t size,
                                  struct lw_piece *piece, struct lw_error *error)
{
    size_t count = 0;
    enum lw_status status =
        lw_system_line_read(&joined->system, bytes, size, &count, &joined->ended, error);
    acknowledge(&joined->system);
    if (status == LW_OK && (count > 0 || joined->ended)) {
        lw_system_line_stamp(&joined->system, count, piece);
        piece->flags = joined->ended ? LW_PIECE_CLOSED : 0;
    }
    return status;
}

static enum lw_status joined_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                     size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct joined *joined = (struct joined *)line;
    const struct lw_system_line *system = &joined->system;
    if (joined->ended) {
        return lw_system_line_gone(system, error);
    }
    bool ready = true;
    while (ready && piece->count == 0 && !joined->ended) {
        enum lw_status status =
            lw_system_line_wait(system, system->descriptor, POLLIN, deadline_ns, &ready, error);
        if (status == LW_OK && ready) {
            status = joined_read(joined, bytes, size, piece, error);
        }
        if (status != LW_OK) {
            return status;
        }
    }
    return LW_OK;
}

static void joined_close(struct lw_line *line)
{
    struct joined *joined = (struct joined *)line;
    if (joined->system.descriptor >= 0) {
        close(joined->system.descriptor);
    }
    free(joined);
}

static const struct lw_line_ops joined_ops = {
    .send = joined_send, .receive = joined_receive, .close = joined_close};

static enum lw_status cannot_reach(const struct lw_system_line *system, int code,
                                   struct lw_error *error)
{
    return lw_fail_errno(error, code, "cannot reach '%s'", system->line.name);
}

// Waits for the connection that is under way, and learns what became of it.
static enum lw_status finish_connect(struct lw_system_line *system, int64_t deadline_ns,
                                     struct lw_error *error)
{
    bool ready = false;
    enum lw_status status =
        lw_system_line_wait(system, system->descriptor, POLLOUT, deadline_ns, &ready, error);
    if (status != LW_OK) {
        return status;
    }
    if (!ready) {
        return lw_fail(error, LW_SYSTEM, "cannot reach '%s': no answer in time", system->line.name);
    }
    int code = 0;
    socklen_t size = sizeof code;
    getsockopt(system->descriptor, SOL_SOCKET, SO_ERROR, &code, &size);
    return code == 0 ? LW_OK : cannot_reach(system, code, error);
}

static enum lw_status connect_one(struct lw_system_line *system, const struct addrinfo *to,
                                  int64_t deadline_ns, struct lw_error *error)
{
    int on = 1;
    system->descriptor =
        socket(to->ai_family, to->ai_socktype | SOCK_NONBLOCK | SOCK_CLOEXEC, to->ai_protocol);
    if (system->descriptor < 0) {
        return cannot_reach(system, errno, error);
    }
    setsockopt(system->descriptor, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    setsockopt(system->descriptor, SOL_SOCKET, SO_KEEPALIVE, &on, sizeof on);
    enum lw_status status = LW_OK;
    if (connect(system->descriptor, to->ai_addr, to->ai_addrlen) != 0) {
        status = errno == EINPROGRESS || errno == EINTR ? finish_connect(system, deadline_ns, error)
                                                        : cannot_reach(system, errno, error);
    }
    if (status != LW_OK) {
        close(system->descriptor);
        system->descriptor = -1;
    }
    return status;
}

// A name may stand for several addresses; the first that takes the connection is it.
static enum lw_status connect_any(struct lw_system_line *system, const struct lw_address *address,
                                  double connect_s, struct lw_error *error)
{
    const struct addrinfo wish = {.ai_socktype = SOCK_STREAM};
    struct addrinfo *found = NULL;
    int code = getaddrinfo(address->host, address->port, &wish, &found);
    if (code != 0) {
        return lw_fail(error, LW_SYSTEM, "cannot find '%s': %s", system->line.name,
                       gai_strerror(code));
    }
    int64_t deadline_ns =
        lw_clock_now_ns(&system->clock) + (int64_t)(1e9 * (connect_s > 0 ? connect_s : CONNECT_S));
    enum lw_status status = LW_SYSTEM;
    for (const struct addrinfo *to = found; to && status == LW_SYSTEM; to = to->ai_next) {
        status = connect_one(system, to, deadline_ns, error);
    }
    freeaddrinfo(found);
    return status;
}

enum lw_status lw_socket_open(const char *url, const struct lw_line_options *options,
                              struct lw_line **line, struct lw_error *error)
{
    assert(url && options && line);
    struct lw_address address;
    enum lw_status status = lw_address_parse(url, &address, error);
    if (status != LW_OK) {
        return status;
    }
    struct joined *joined = calloc(1, sizeof *joined);
    if (!joined) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    lw_system_line_init(&joined->system, &joined_ops, options, url);
    joined->system.socket = true;
    joined->system.gone = "the other end closed the connection";
    joined->system.line.adu = address.adu;
    joined->system.line.late_ns = NETWORK_NS;
    joined->system.line.gap_ns = GAP_NS;
    joined->system.line.hears_others = address.adu == LW_ADU_RTU;
    status = connect_any(&joined->system, &address, options->connect_s, error);
    if (status != LW_OK) {
        joined_close(&joined->system.line);
        return status;
    }
    *line = &joined->system.line;
    return LW_OK;
}
