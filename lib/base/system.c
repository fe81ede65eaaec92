// SPDX-License-Identifier: GPL-3.0-or-later
//
// System calls that can be made to fail. A failure stays until it is turned off, as a full disk
// does.
#include "base/system.h"

#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

static int64_t calls_left = -1; // negative: no failure is ordered
static int ordered_errno;

const char *lw_path_shown(char to[LW_PATH_SHOWN], const char *path)
{
    lw_text_clean(to, LW_PATH_SHOWN, path, strlen(path));
    return to;
}

enum lw_status lw_system_fail(struct lw_error *error, int reason, const char *what,
                              const char *path)
{
    char safe[LW_PATH_SHOWN];
    return lw_fail_errno(error, reason, "%s '%s'", what, lw_path_shown(safe, path));
}

void lw_file_fail_after(int64_t n, int errno_value)
{
    calls_left = n;
    ordered_errno = errno_value;
}

static bool must_fail(void)
{
    if (calls_left < 0) {
        return false;
    }
    if (calls_left > 0) {
        calls_left--;
        return false;
    }
    errno = ordered_errno;
    return true;
}

int lw_system_open(const char *path, int flags)
{
    int descriptor = -1;
    if (must_fail()) {
        return -1;
    }
    do {
        descriptor = open(path, flags | O_CLOEXEC, 0666);
    } while (descriptor < 0 && errno == EINTR);
    return descriptor;
}

ssize_t lw_system_read(int descriptor, void *bytes, size_t count)
{
    ssize_t got = -1;
    if (must_fail()) {
        return -1;
    }
    do {
        got = read(descriptor, bytes, count);
    } while (got < 0 && errno == EINTR);
    return got;
}

ssize_t lw_system_write(int descriptor, const void *bytes, size_t count)
{
    ssize_t put = -1;
    if (must_fail()) {
        return -1;
    }
    do {
        put = write(descriptor, bytes, count);
    } while (put < 0 && errno == EINTR);
    return put;
}

int lw_system_fsync(int descriptor)
{
    int result = -1;
    if (must_fail()) {
        return -1;
    }
    do {
        result = fsync(descriptor);
    } while (result != 0 && errno == EINTR);
    return result;
}

int lw_system_rename(const char *from, const char *to)
{
    return must_fail() ? -1 : rename(from, to);
}

int lw_system_link(const char *from, const char *to)
{
    return must_fail() ? -1 : link(from, to);
}

int lw_system_mkdir(const char *path)
{
    return must_fail() ? -1 : mkdir(path, 0777);
}
