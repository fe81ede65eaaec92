// SPDX-License-Identifier: GPL-3.0-or-later
//
// The system calls of the file room, each with the switch by which a test makes it fail. Inside
// lib/base only. Calls that a signal interrupted are made again.
#ifndef LW_BASE_SYSTEM_H
#define LW_BASE_SYSTEM_H

#include "base/error.h"

#include <stddef.h>
#include <sys/types.h>

enum { LW_PATH_SHOWN = 200 };

// The path cleaned and cut for a message; returns `to`.
const char *lw_path_shown(char to[LW_PATH_SHOWN], const char *path);

// lw_fail_errno() with "WHAT 'PATH'".
enum lw_status lw_system_fail(struct lw_error *error, int reason, const char *what,
                              const char *path);

// As the POSIX calls of the same name: -1 and errno on failure. Files are created with mode 0666
// less the umask, descriptors are closed on exec.
int lw_system_open(const char *path, int flags);
ssize_t lw_system_read(int descriptor, void *bytes, size_t count);
ssize_t lw_system_write(int descriptor, const void *bytes, size_t count);
int lw_system_fsync(int descriptor);
int lw_system_rename(const char *from, const char *to);
int lw_system_link(const char *from, const char *to);
int lw_system_mkdir(const char *path);

#endif
