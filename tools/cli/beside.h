// SPDX-License-Identifier: GPL-3.0-or-later
//
// Running a program of ours that stands beside this one.
#ifndef LW_CLI_BESIDE_H
#define LW_CLI_BESIDE_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum { LW_BESIDE_MOST = 60 }; // arguments

// Runs `program` (a bare name) from the folder of the running program, else from PATH, with
// `arguments` (at most LW_BESIDE_MOST, NULL-terminated, without the program's name), and waits for
// it. *exit_status gets how it ended, 128 and more for a signal. LW_SYSTEM when it cannot be run.
enum lw_status lw_run_beside(const char *program, const char *const *arguments, int *exit_status,
                             struct lw_error *error);

// The same, in this process's place: returns only with LW_SYSTEM, when it cannot be run.
enum lw_status lw_become_beside(const char *program, const char *const *arguments,
                                struct lw_error *error);

// The path of a name in this program's own folder; false when nothing is there.
bool lw_beside(const char *name, char *path, size_t size);

#endif
