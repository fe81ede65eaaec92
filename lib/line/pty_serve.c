// SPDX-License-Identifier: GPL-3.0-or-later
//
// The far end of a pseudo-terminal: where a virtual chain is served. The near end is kept open here
// too, since otherwise every client that leaves would look like a lost line.
#include "line/line.h"
#include "line/system_line.h"
#include "line/terminal.h"

#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

static const int64_t WAKE_NS = 1000000; // as in pty.c: the time to wake a process

struct served {
    struct lw_system_line system; // first: it is a line
    int near;                     // keeps the pair alive, and empties what nobody reads
    char link[1024];              // empty until it stands
};

// Like a wire: what nobody listens to is lost, so that a full buffer never stops the chain and a
// client that comes later does not find a pile of old answers.
static enum lw_status served_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                  int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct served *served = (struct served *)line;
    *first_ns = lw_clock_now_ns(&served->system.clock);
    ssize_t took = write(served->system.descriptor, bytes, count);
    if (took < 0 && errno == EAGAIN) {
        tcflush(served->near, TCIFLUSH);
        took = write(served->system.descriptor, bytes, count);
    }
    if (took < 0 && errno != EAGAIN && errno != EINTR) {
        return lw_fail_errno(error, errno, "cannot write to '%s'", line->name);
    }
    *last_ns = lw_clock_now_ns(&served->system.clock);
    return LW_OK;
}

static enum lw_status served_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                     size_t size, struct lw_piece *piece, struct lw_error *error)
{
    const struct lw_system_line *system = &((struct served *)line)->system;
    size_t count = 0;
    enum lw_status status = lw_system_line_take(system, deadline_ns, bytes, size, &count, error);
    if (status == LW_OK && count > 0) {
        lw_system_line_stamp(system, count, piece);
    }
    return status;
}

static void served_close(struct lw_line *line)
{
    struct served *served = (struct served *)line;
    if (served->link[0]) {
        unlink(served->link);
    }
    if (served->near >= 0) {
        close(served->near);
    }
    if (served->system.descriptor >= 0) {
        close(served->system.descriptor);
    }
    free(served);
}

static const struct lw_line_ops served_ops = {
    .send = served_send, .receive = served_receive, .close = served_close};

static enum lw_status open_pair(struct served *served, char *near_path, size_t size,
                                struct lw_error *error)
{
    struct lw_system_line *system = &served->system;
    struct termios settings;
    system->descriptor = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (system->descriptor < 0 || grantpt(system->descriptor) != 0 ||
        unlockpt(system->descriptor) != 0 || ptsname_r(system->descriptor, near_path, size) != 0) {
        return lw_fail_errno(error, errno, "cannot make a pseudo-terminal");
    }
    served->near = open(near_path, O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (served->near < 0 || tcgetattr(served->near, &settings) != 0) {
        return lw_fail_errno(error, errno, "cannot open the pseudo-terminal '%s'", near_path);
    }
    cfmakeraw(&settings);
    if (tcsetattr(served->near, TCSANOW, &settings) != 0) {
        return lw_fail_errno(error, errno, "cannot set up the pseudo-terminal '%s'", near_path);
    }
    return LW_OK;
}

// A link that a killed server left behind points to nothing, or to a number that was given out
// again: to ours just now.
static bool is_left_behind(const char *path, const char *near_path)
{
    char to[64] = {0};
    ssize_t length = readlink(path, to, sizeof to - 1);
    return length > 9 && memcmp(to, "/dev/pts/", 9) == 0 &&
           (strcmp(to, near_path) == 0 || access(to, F_OK) != 0);
}

static enum lw_status make_link(struct served *served, const char *link, const char *near_path,
                                struct lw_error *error)
{
    const char *name = served->system.line.name;
    if (is_left_behind(link, near_path)) {
        unlink(link);
    }
    if (symlink(near_path, link) != 0) {
        return errno == EEXIST
                   ? lw_fail(error, LW_USAGE,
                             "'%s' exists already: remove it or choose another name", name)
                   : lw_fail_errno(error, errno, "cannot make the link '%s'", name);
    }
    lw_copy(served->link, sizeof served->link, link);
    return LW_OK;
}

enum lw_status lw_pty_serve(const char *link, const struct lw_line_options *options,
                            struct lw_line **line, struct lw_error *error)
{
    assert(link && options && line);
    struct served *served = calloc(1, sizeof *served);
    if (!served) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    char near_path[64];
    served->near = -1;
    lw_system_line_init(&served->system, &served_ops, options, link);
    served->system.line.late_ns = WAKE_NS;
    served->system.gone = "the pseudo-terminal was closed";
    served->system.line.simulated = true;
    served->system.line.hears_others = true;
    enum lw_status status = strlen(link) < sizeof served->link
                                ? open_pair(served, near_path, sizeof near_path, error)
                                : lw_fail(error, LW_USAGE, "the link's name is too long");
    if (status == LW_OK) {
        status = make_link(served, link, near_path, error);
    }
    if (status != LW_OK) {
        served_close(&served->system.line);
        return status;
    }
    *line = &served->system.line;
    return LW_OK;
}
