// SPDX-License-Identifier: GPL-3.0-or-later
//
// Folders, paths, and the lock that keeps two commands out of one visit.
#include "base/clock.h"
#include "base/file.h"
#include "base/list.h"
#include "base/system.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

bool lw_file_exists(const char *path)
{
    struct stat found;
    return stat(path, &found) == 0 && !S_ISDIR(found.st_mode);
}

bool lw_folder_exists(const char *path)
{
    struct stat found;
    return stat(path, &found) == 0 && S_ISDIR(found.st_mode);
}

static bool make_one(const char *path)
{
    if (lw_folder_exists(path)) {
        return true;
    }
    // Another process may make the same folder at the same moment.
    return lw_system_mkdir(path) == 0 || (errno == EEXIST && lw_folder_exists(path));
}

enum lw_status lw_folder_make(const char *path, struct lw_error *error)
{
    char part[LW_PATH];
    if (path[0] == '\0' || !lw_copy(part, sizeof part, path)) {
        return lw_system_fail(error, path[0] == '\0' ? ENOENT : ENAMETOOLONG, "can't make folder",
                              path);
    }
    for (char *at = part + 1; *at != '\0'; at++) {
        if (*at != '/') {
            continue;
        }
        *at = '\0';
        if (!make_one(part)) {
            return lw_system_fail(error, errno, "can't make folder", part);
        }
        *at = '/';
    }
    return make_one(part) ? LW_OK : lw_system_fail(error, errno, "can't make folder", path);
}

static int compare_texts(const void *left, const void *right)
{
    return strcmp(*(char *const *)left, *(char *const *)right);
}

static bool add_name(struct lw_list *names, const char *name)
{
    if (strcmp(name, ".") == 0 || strcmp(name, "..") == 0) {
        return true;
    }
    char **item = lw_list_add(names, sizeof *item);
    if (item != NULL) {
        *item = lw_duplicate(name);
    }
    return item != NULL && *item != NULL;
}

// 0, or the errno of what went wrong.
static int read_names(DIR *folder, struct lw_list *names)
{
    for (;;) {
        errno = 0;
        const struct dirent *entry = readdir(folder);
        if (entry == NULL) {
            return errno;
        }
        if (!add_name(names, entry->d_name)) {
            return ENOMEM;
        }
    }
}

enum lw_status lw_folder_names(const char *path, struct lw_list *names, struct lw_error *error)
{
    *names = (struct lw_list){0};
    int descriptor = lw_system_open(path, O_RDONLY | O_DIRECTORY);
    if (descriptor < 0) {
        return lw_system_fail(error, errno, "can't open folder", path);
    }
    DIR *folder = fdopendir(descriptor);
    int reason = folder == NULL ? errno : read_names(folder, names);
    if (folder == NULL) {
        close(descriptor);
    } else {
        closedir(folder);
    }
    if (reason != 0) {
        lw_names_free(names);
        return reason == ENOMEM ? lw_fail(error, LW_MEMORY, "out of memory")
                                : lw_system_fail(error, reason, "can't read folder", path);
    }
    if (names->count > 0) {
        qsort(names->items, names->count, sizeof(char *), compare_texts);
    }
    return LW_OK;
}

void lw_names_free(struct lw_list *names)
{
    if (names == NULL) {
        return;
    }
    for (size_t i = 0; i < names->count; i++) {
        free(((char **)names->items)[i]);
    }
    free(names->items);
    *names = (struct lw_list){0};
}

bool lw_path_join(char *to, size_t size, const char *folder, const char *name)
{
    if (name[0] == '/' || folder[0] == '\0') {
        return lw_copy(to, size, name);
    }
    const char *between = folder[strlen(folder) - 1] == '/' ? "" : "/";
    return lw_print(to, size, "%s%s%s", folder, between, name);
}

bool lw_path_folder(char *to, size_t size, const char *path)
{
    const char *last = strrchr(path, '/');
    if (last == NULL) {
        return lw_copy(to, size, ".");
    }
    size_t length = last == path ? 1 : (size_t)(last - path);
    return lw_print(to, size, "%.*s", (int)length, path);
}

// A network file system locks only what is open for writing; a folder opens only for reading.
static int open_for_lock(const char *path)
{
    int descriptor = lw_system_open(path, O_RDWR);
    bool refused = descriptor < 0 && (errno == EISDIR || errno == EACCES || errno == EROFS);
    return refused ? lw_system_open(path, O_RDONLY) : descriptor;
}

// There is no call that waits for such a lock with an end, so it is asked for again and again.
static bool wait_for_lock(int descriptor, double wait_s)
{
    static const struct timespec step = {.tv_nsec = 20000000};
    struct lw_clock clock;
    lw_clock_system(&clock);
    int64_t end_ns = lw_clock_now_ns(&clock) + (int64_t)(wait_s * 1e9);
    while (flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
        if (errno != EWOULDBLOCK && errno != EINTR) {
            return false;
        }
        if (lw_clock_now_ns(&clock) >= end_ns) {
            errno = EWOULDBLOCK;
            return false;
        }
        nanosleep(&step, NULL);
    }
    return true;
}

enum lw_status lw_lock_take(const char *path, double wait_s, struct lw_lock *lock,
                            struct lw_error *error)
{
    char safe[LW_PATH_SHOWN];
    lock->descriptor = -1;
    int descriptor = open_for_lock(path);
    if (descriptor < 0) {
        return lw_system_fail(error, errno, "can't open", path);
    }
    if (wait_for_lock(descriptor, wait_s)) {
        lock->descriptor = descriptor;
        return LW_OK;
    }
    int reason = errno;
    close(descriptor);
    return reason == EWOULDBLOCK
               ? lw_fail(error, LW_SYSTEM, "'%s' is in use", lw_path_shown(safe, path))
               : lw_system_fail(error, reason, "can't lock", path);
}

void lw_lock_release(struct lw_lock *lock)
{
    if (lock != NULL && lock->descriptor >= 0) {
        close(lock->descriptor);
        lock->descriptor = -1;
    }
}
