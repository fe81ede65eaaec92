// SPDX-License-Identifier: GPL-3.0-or-later
//
// Lists serial ports through libserialport, and finds who holds one by looking through the open
// descriptors of all processes: most programs that use a port take no lock on it.
#include "line/ports.h"

#include "base/text.h"

#include <ctype.h>
#include <dirent.h>
#include <grp.h>
#include <libserialport.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool process_has_open(const char *pid, dev_t device)
{
    char path[300];
    lw_print(path, sizeof path, "/proc/%s/fd", pid);
    DIR *folder = opendir(path);
    bool has = false;
    for (struct dirent *entry = NULL; folder && !has && (entry = readdir(folder));) {
        struct stat facts;
        lw_print(path, sizeof path, "/proc/%s/fd/%s", pid, entry->d_name);
        has = stat(path, &facts) == 0 && S_ISCHR(facts.st_mode) && facts.st_rdev == device;
    }
    if (folder) {
        closedir(folder);
    }
    return has;
}

static void process_name(const char *pid, char *name, size_t size)
{
    char path[300], raw[32], clean[32];
    lw_print(path, sizeof path, "/proc/%s/comm", pid);
    FILE *file = fopen(path, "r");
    size_t count = file ? fread(raw, 1, sizeof raw, file) : 0;
    if (file) {
        fclose(file);
    }
    while (count > 0 && raw[count - 1] == '\n') {
        count--;
    }
    lw_text_clean(clean, sizeof clean, raw, count);
    lw_print(name, size, "%s (%s)", clean[0] ? clean : "process", pid);
}

bool lw_port_holder(const char *path, char *holder, size_t size)
{
    struct stat facts;
    char self[24];
    holder[0] = '\0';
    lw_print(self, sizeof self, "%ld", (long)getpid());
    DIR *folder = stat(path, &facts) == 0 ? opendir("/proc") : NULL;
    for (struct dirent *entry = NULL; folder && !holder[0] && (entry = readdir(folder));) {
        if (isdigit((unsigned char)entry->d_name[0]) && strcmp(entry->d_name, self) != 0 &&
            process_has_open(entry->d_name, facts.st_rdev)) {
            process_name(entry->d_name, holder, size);
        }
    }
    if (folder) {
        closedir(folder);
    }
    return holder[0] != '\0';
}

static void describe(struct lw_port *port, const struct sp_port *found)
{
    const char *name = sp_get_port_name(found), *says = sp_get_port_description(found);
    struct stat facts;
    lw_text_clean(port->name, sizeof port->name, name, strlen(name));
    if (says) {
        lw_text_clean(port->description, sizeof port->description, says, strlen(says));
    }
    const struct group *group = stat(name, &facts) == 0 ? getgrgid(facts.st_gid) : NULL;
    if (group) {
        lw_text_clean(port->group, sizeof port->group, group->gr_name, strlen(group->gr_name));
    }
    port->may_open = access(name, R_OK | W_OK) == 0;
    lw_port_holder(name, port->holder, sizeof port->holder);
}

static int by_name(const void *left, const void *right)
{
    return strverscmp(((const struct lw_port *)left)->name, ((const struct lw_port *)right)->name);
}

enum lw_status lw_ports_list(struct lw_list *ports, struct lw_error *error)
{
    struct sp_port **found = NULL;
    *ports = (struct lw_list){0};
    enum sp_return got = sp_list_ports(&found);
    if (got != SP_OK) {
        return lw_fail(error, got == SP_ERR_MEM ? LW_MEMORY : LW_SYSTEM,
                       "cannot list the serial ports");
    }
    size_t count = 0;
    while (found[count]) {
        count++;
    }
    struct lw_port *items = calloc(count + 1, sizeof *items);
    if (items) {
        for (size_t i = 0; i < count; i++) {
            describe(&items[i], found[i]);
        }
        qsort(items, count, sizeof *items, by_name);
        *ports = (struct lw_list){.items = items, .count = count};
    }
    sp_free_port_list(found);
    return items ? LW_OK : lw_fail(error, LW_MEMORY, "out of memory");
}

void lw_ports_free(struct lw_list *ports)
{
    free(ports->items);
    *ports = (struct lw_list){0};
}
