// SPDX-License-Identifier: GPL-3.0-or-later
//
// Running a program that stands beside this one. The folder comes from the system, not from
// argv[0], so that a link elsewhere finds it too.
#include "cli/beside.h"

#include "base/file.h"

#include <assert.h>
#include <errno.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

extern char **environ;

bool lw_beside(const char *name, char *path, size_t size)
{
    char self[LW_PATH], folder[LW_PATH];
    ssize_t length = readlink("/proc/self/exe", self, sizeof self - 1);
    if (length <= 0) {
        return false;
    }
    self[length] = '\0';
    return lw_path_folder(folder, sizeof folder, self) && lw_path_join(path, size, folder, name) &&
           access(path, X_OK) == 0;
}

static int wait_for(pid_t child)
{
    int status = 0;
    while (waitpid(child, &status, 0) < 0 && errno == EINTR) {
    }
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

static void put_arguments(const char *program, const char *const *arguments,
                          char *argv[LW_BESIDE_MOST + 2])
{
    argv[0] = (char *)program;
    for (size_t i = 0; arguments[i] != NULL; i++) {
        assert(i < LW_BESIDE_MOST);
        argv[i + 1] = (char *)arguments[i];
    }
}

enum lw_status lw_run_beside(const char *program, const char *const *arguments, int *exit_status,
                             struct lw_error *error)
{
    char path[LW_PATH];
    char *argv[LW_BESIDE_MOST + 2] = {0};
    put_arguments(program, arguments, argv);
    pid_t child;
    int failed = lw_beside(program, path, sizeof path)
                     ? posix_spawn(&child, path, NULL, NULL, argv, environ)
                     : posix_spawnp(&child, program, NULL, NULL, argv, environ);
    if (failed != 0) {
        return lw_fail_errno(error, failed, "cannot run '%s'", program);
    }
    *exit_status = wait_for(child);
    return LW_OK;
}

enum lw_status lw_become_beside(const char *program, const char *const *arguments,
                                struct lw_error *error)
{
    char path[LW_PATH];
    char *argv[LW_BESIDE_MOST + 2] = {0};
    put_arguments(program, arguments, argv);
    if (lw_beside(program, path, sizeof path)) {
        execv(path, argv);
    } else {
        execvp(program, argv);
    }
    return lw_fail_errno(error, errno, "cannot run '%s'", program);
}
