// SPDX-License-Identifier: GPL-3.0-or-later
//
// Waiting on descriptors. The wait is ppoll() on the port and on the pipe that a signal handler
// writes to: a flag alone would be missed when the signal comes just before the wait.
#include "line/system_line.h"

#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <math.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

void lw_system_line_init(struct lw_system_line *system, const struct lw_line_ops *ops,
                         const struct lw_line_options *options, const char *name)
{
    *system = (struct lw_system_line){.cancel = options->cancel, .descriptor = -1};
    lw_clock_system(&system->clock);
    system->line.ops = ops;
    system->line.clock = &system->clock;
    system->line.paced = true;
    system->line.framing = options->framing;
    lw_text_clean(system->line.name, sizeof system->line.name, name, strlen(name));
}

static enum lw_status cancelled(struct lw_error *error)
{
    return lw_fail(error, LW_CANCELLED, "interrupted");
}

static struct timespec time_left(const struct lw_system_line *system, int64_t deadline_ns)
{
    int64_t now_ns = lw_clock_now_ns(&system->clock);
    int64_t left_ns = deadline_ns > now_ns ? deadline_ns - now_ns : 0;
    return (struct timespec){.tv_sec = (time_t)(left_ns / 1000000000),
                             .tv_nsec = (long)(left_ns % 1000000000)};
}

enum lw_status lw_system_line_wait(const struct lw_system_line *system, int descriptor,
                                   short events, int64_t deadline_ns, bool *ready,
                                   struct lw_error *error)
{
    const struct lw_cancel *cancel = system->cancel;
    struct pollfd waits[2] = {{.fd = descriptor, .events = events},
                              {.fd = cancel ? cancel->wake_descriptor : -1, .events = POLLIN}};
    int found = -1;
    while (found < 0) {
        if (cancel && cancel->flag) {
            return cancelled(error);
        }
        struct timespec left = time_left(system, deadline_ns);
        found = ppoll(waits, 2, &left, NULL);
        if (found < 0 && errno != EINTR) {
            return lw_fail_errno(error, errno, "cannot wait for '%s'", system->line.name);
        }
    }
    if (waits[1].revents || (cancel && cancel->flag)) {
        return cancelled(error);
    }
    *ready = waits[0].revents != 0;
    return LW_OK;
}

enum lw_status lw_system_line_gone(const struct lw_system_line *system, struct lw_error *error)
{
    return lw_fail(error, LW_SYSTEM, "'%s' is gone: %s", system->line.name, system->gone);
}

// Errors by which the system says that the other end is lost.
static bool is_loss(int code)
{
    return code == EIO || code == ENXIO || code == ENODEV || code == EPIPE || code == ECONNRESET ||
           code == ETIMEDOUT || code == EHOSTUNREACH || code == ENETUNREACH || code == ENOTCONN;
}

enum lw_status lw_system_line_read(const struct lw_system_line *system, uint8_t *bytes, size_t size,
                                   size_t *count, bool *ended, struct lw_error *error)
{
    *count = 0;
    *ended = false;
    ssize_t got = read(system->descriptor, bytes, size);
    if (got > 0) {
        *count = (size_t)got;
    } else if (got == 0 || is_loss(errno)) {
        *ended = true;
    } else if (errno != EAGAIN && errno != EINTR) {
        return lw_fail_errno(error, errno, "cannot read from '%s'", system->line.name);
    }
    return LW_OK;
}

enum lw_status lw_system_line_take(const struct lw_system_line *system, int64_t deadline_ns,
                                   uint8_t *bytes, size_t size, size_t *count,
                                   struct lw_error *error)
{
    *count = 0;
    bool ready = true;
    while (ready && *count == 0) {
        bool ended = false;
        enum lw_status status =
            lw_system_line_wait(system, system->descriptor, POLLIN, deadline_ns, &ready, error);
        if (status == LW_OK && ready) {
            status = lw_system_line_read(system, bytes, size, count, &ended, error);
        }
        if (status != LW_OK) {
            return status;
        }
        if (ended) {
            return lw_system_line_gone(system, error);
        }
    }
    return LW_OK;
}

static ssize_t put(const struct lw_system_line *system, const uint8_t *bytes, size_t count)
{
    return system->socket ? send(system->descriptor, bytes, count, MSG_NOSIGNAL)
                          : write(system->descriptor, bytes, count);
}

enum lw_status lw_system_line_write(const struct lw_system_line *system, const uint8_t *bytes,
                                    size_t count, struct lw_error *error)
{
    size_t done = 0;
    while (done < count) {
        ssize_t took = put(system, bytes + done, count - done);
        if (took >= 0) {
            done += (size_t)took;
        } else if (is_loss(errno)) {
            return lw_system_line_gone(system, error);
        } else if (errno == EAGAIN) {
            bool ready = false;
            enum lw_status status =
                lw_system_line_wait(system, system->descriptor, POLLOUT, INT64_MAX, &ready, error);
            if (status != LW_OK) {
                return status;
            }
        } else if (errno != EINTR) {
            return lw_fail_errno(error, errno, "cannot write to '%s'", system->line.name);
        }
    }
    return LW_OK;
}

int64_t lw_lateness_u_ns(int64_t late_ns)
{
    return (int64_t)((double)late_ns / sqrt(3));
}

void lw_system_line_stamp(const struct lw_system_line *system, size_t count, struct lw_piece *piece)
{
    piece->count = count;
    piece->first_ns = lw_clock_now_ns(&system->clock);
    piece->last_ns = piece->first_ns;
    piece->timing_u_ns = lw_lateness_u_ns(system->line.late_ns);
}
