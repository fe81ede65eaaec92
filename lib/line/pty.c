// SPDX-License-Identifier: GPL-3.0-or-later
//
// The near end of a pseudo-terminal: a served virtual chain, or another program that plays a node.
// It has neither rate nor parity. The kernel refuses a change of parity alone and drops it silently
// in company, so everything is set in one call and read back.
#include "line/line.h"
#include "line/system_line.h"
#include "line/terminal.h"

#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

// A process that waits is woken within this, unless the machine is overloaded (common practice).
static const int64_t WAKE_NS = 1000000;

struct pty {
    struct lw_system_line system; // first: a pty is a line
    struct termios before;
};

static enum lw_status pty_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                               int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    const struct lw_system_line *system = &((struct pty *)line)->system;
    *first_ns = lw_clock_now_ns(&system->clock);
    enum lw_status status = lw_system_line_write(system, bytes, count, error);
    *last_ns = lw_clock_now_ns(&system->clock);
    return status;
}

static enum lw_status pty_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                  size_t size, struct lw_piece *piece, struct lw_error *error)
{
    const struct lw_system_line *system = &((struct pty *)line)->system;
    size_t count = 0;
    enum lw_status status = lw_system_line_take(system, deadline_ns, bytes, size, &count, error);
    if (status == LW_OK && count > 0) {
        lw_system_line_stamp(system, count, piece);
    }
    return status;
}

static void pty_close(struct lw_line *line)
{
    struct pty *pty = (struct pty *)line;
    lw_terminal_close(pty->system.descriptor, &pty->before);
    free(pty);
}

static const struct lw_line_ops pty_ops = {
    .send = pty_send, .receive = pty_receive, .close = pty_close};

bool lw_pty_is(const char *path)
{
    char *real = realpath(path, NULL);
    bool is = real && strncmp(real, "/dev/pts/", 9) == 0;
    free(real);
    return is;
}

static enum lw_status pty_set(struct pty *pty, struct lw_error *error)
{
    struct lw_line *line = &pty->system.line;
    struct termios settings = pty->before;
    lw_terminal_raw(&settings, &line->framing);
    int set = tcsetattr(pty->system.descriptor, TCSANOW, &settings);
    if (set != 0 && errno == EINVAL) {
        settings.c_cflag &= ~(tcflag_t)(PARENB | PARODD);
        set = tcsetattr(pty->system.descriptor, TCSANOW, &settings);
    }
    if (set != 0) {
        return lw_fail_errno(error, errno, "cannot set up '%s'", line->name);
    }
    lw_terminal_raw(&settings, &line->framing);
    if (!lw_terminal_took(pty->system.descriptor, &settings)) {
        lw_copy(line->remark, sizeof line->remark,
                "parity and data bits are not carried by a pseudo-terminal");
    }
    return LW_OK;
}

enum lw_status lw_pty_open(const char *path, const struct lw_line_options *options,
                           struct lw_line **line, struct lw_error *error)
{
    assert(path && options && line);
    struct pty *pty = malloc(sizeof *pty);
    if (!pty) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    lw_system_line_init(&pty->system, &pty_ops, options, path);
    pty->system.gone = "the program behind it ended";
    pty->system.line.simulated = true;
    pty->system.line.hears_others = true;
    pty->system.line.late_ns = WAKE_NS;
    enum lw_status status =
        lw_terminal_open(path, false, &pty->system.descriptor, &pty->before, error);
    if (status != LW_OK) {
        free(pty);
        return status;
    }
    status = pty_set(pty, error);
    if (status != LW_OK) {
        pty_close(&pty->system.line);
        return status;
    }
    *line = &pty->system.line;
    return LW_OK;
}
