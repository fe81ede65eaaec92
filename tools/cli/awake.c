// SPDX-License-Identifier: GPL-3.0-or-later
//
// The lock against sleep belongs to whoever has it open, here `systemd-inhibit cat`. A byte that
// comes back through cat shows that the lock was granted; cat ends when our end of its input is
// closed, which the kernel does even where this process is killed.
#include "cli/awake.h"

#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

extern char **environ;

static void close_both(const int ends[2])
{
    close(ends[0]);
    close(ends[1]);
}

// A session of its own: an interruption at the terminal is for us alone, and nothing may ask for a
// password there.
static int start(const int input[2], const int output[2], pid_t *process)
{
    char *const words[] = {"systemd-inhibit",
                           "--what=sleep:idle:handle-lid-switch",
                           "--who=linewalk",
                           "--why=a measurement is running",
                           "--mode=block",
                           "cat",
                           NULL};
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    posix_spawn_file_actions_init(&files);
    posix_spawn_file_actions_adddup2(&files, input[0], 0);
    posix_spawn_file_actions_adddup2(&files, output[1], 1);
    posix_spawn_file_actions_addopen(&files, 2, "/dev/null", O_WRONLY, 0);
    posix_spawnattr_init(&attributes);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSID);
    int code = posix_spawnp(process, words[0], &files, &attributes, words, environ);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&files);
    return code;
}

static bool comes_back(int input, int output)
{
    enum { PATIENCE_MS = 3000 };
    struct pollfd waited = {.fd = output, .events = POLLIN};
    char byte = '.';
    int ready = 0;
    if (write(input, &byte, 1) != 1) {
        return false;
    }
    do {
        ready = poll(&waited, 1, PATIENCE_MS);
    } while (ready < 0 && errno == EINTR);
    return ready == 1 && read(output, &byte, 1) == 1;
}

static void reap(pid_t process)
{
    while (waitpid(process, NULL, 0) < 0 && errno == EINTR) {
    }
}

static enum lw_status hold(struct lw_awake *awake, const int input[2], const int output[2],
                           struct lw_error *error)
{
    pid_t process = 0;
    int code = start(input, output, &process);
    close(input[0]);
    close(output[1]);
    bool held = code == 0 && comes_back(input[1], output[0]);
    close(output[0]);
    if (held) {
        *awake = (struct lw_awake){.process = process, .hold = input[1]};
        return LW_OK;
    }
    close(input[1]);
    if (code != 0) {
        return lw_fail_errno(error, code, "cannot run 'systemd-inhibit'");
    }
    kill(process, SIGTERM);
    reap(process);
    return lw_fail(error, LW_SYSTEM, "the system does not grant it");
}

enum lw_status lw_awake_begin(struct lw_awake *awake, struct lw_error *error)
{
    int input[2], output[2];
    if (pipe2(input, O_CLOEXEC) != 0) {
        return lw_fail_errno(error, errno, "no pipe");
    }
    if (pipe2(output, O_CLOEXEC) != 0) {
        close_both(input);
        return lw_fail_errno(error, errno, "no pipe");
    }
    return hold(awake, input, output, error);
}

void lw_awake_end(struct lw_awake *awake)
{
    if (awake->process > 0) {
        close(awake->hold);
        reap(awake->process);
        *awake = (struct lw_awake){0};
    }
}
