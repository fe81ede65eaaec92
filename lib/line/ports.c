// SPDX-License-Identifier: GPL-3.0-or-later
//
// Lists serial ports through libserialport, and finds who holds one by looking through the open
// descriptors of all processes: most programs that use a port take no lock on it.
#include "line/ports.h"
#include "line/ports_inside.h"
#include "line/terminal.h"

#include "base/text.h"

#include <ctype.h>
#include <dirent.h>
#include <grp.h>
#include <libserialport.h>
#include <linux/serial.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <termios.h>
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

bool lw_ports_sees_all(void)
{
    return geteuid() == 0;
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

static void clean_into(char *to, size_t size, const char *from)
{
    if (from) {
        lw_text_clean(to, size, from, strlen(from));
    }
}

static void describe_usb(struct lw_port *port, const struct sp_port *found)
{
    if (sp_get_port_transport(found) != SP_TRANSPORT_USB) {
        return;
    }
    port->on_usb = true;
    if (sp_get_port_usb_bus_address(found, &port->usb_bus, &port->usb_number) != SP_OK) {
        port->usb_bus = port->usb_number = 0;
    }
    if (sp_get_port_usb_vid_pid(found, &port->vendor_id, &port->product_id) != SP_OK) {
        port->vendor_id = port->product_id = 0;
    }
    clean_into(port->maker, sizeof port->maker, sp_get_port_usb_manufacturer(found));
    clean_into(port->product, sizeof port->product, sp_get_port_usb_product(found));
    clean_into(port->serial, sizeof port->serial, sp_get_port_usb_serial(found));
}

// The name of the driver is where its link leads to.
static bool read_link_name(const char *path, char *name, size_t size)
{
    char to[300];
    ssize_t length = readlink(path, to, sizeof to - 1);
    if (length <= 0) {
        return false;
    }
    to[length] = '\0';
    const char *slash = strrchr(to, '/');
    clean_into(name, size, slash ? slash + 1 : to);
    return true;
}

// Newer kernels put a "port" and a "ctrl" of their own between a UART and its driver.
static void read_driver(struct lw_port *port, const char *device)
{
    static const char *const ups[] = {"", "/..", "/../.."};
    char path[200];
    for (size_t i = 0; i < sizeof ups / sizeof ups[0]; i++) {
        lw_print(path, sizeof path, "/sys/class/tty/%s/device%s/driver", device, ups[i]);
        bool found = read_link_name(path, port->driver, sizeof port->driver);
        if (!found || (strcmp(port->driver, "port") != 0 && strcmp(port->driver, "ctrl") != 0)) {
            return;
        }
    }
}

int lw_port_latency_ms(const char *device)
{
    char path[200];
    int latency_ms = -1;
    lw_print(path, sizeof path, "/sys/class/tty/%s/device/latency_timer", device);
    FILE *file = fopen(path, "r");
    if (file && (fscanf(file, "%d", &latency_ms) != 1 || latency_ms <= 0)) {
        latency_ms = -1;
    }
    if (file) {
        fclose(file);
    }
    return latency_ms;
}

static void read_rights(struct lw_port *port, const char *name)
{
    struct stat facts;
    bool there = stat(name, &facts) == 0;
    const mode_t both = S_IRGRP | S_IWGRP;
    const struct group *group = there && facts.st_gid != 0 && (facts.st_mode & both) == both
                                    ? getgrgid(facts.st_gid)
                                    : NULL;
    if (group) {
        clean_into(port->group, sizeof port->group, group->gr_name);
    }
    port->may_open = access(name, R_OK | W_OK) == 0;
}

static void describe(struct lw_port *port, const struct sp_port *found)
{
    const char *name = sp_get_port_name(found), *slash = strrchr(name, '/');
    const char *device = slash ? slash + 1 : name;
    clean_into(port->name, sizeof port->name, name);
    const char *says = sp_get_port_description(found);
    if (says && strcmp(says, device) != 0) { // the library's word for nothing
        clean_into(port->description, sizeof port->description, says);
    }
    describe_usb(port, found);
    read_driver(port, device);
    port->latency_ms = lw_port_latency_ms(device);
    read_rights(port, name);
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

enum lw_status lw_port_rs485(const char *path, struct lw_port_rs485 *rs485, struct lw_error *error)
{
    struct serial_rs485 now = {0};
    struct termios before;
    int port = -1;
    *rs485 = (struct lw_port_rs485){0};
    enum lw_status status = lw_terminal_open(path, true, &port, &before, error);
    if (status != LW_OK) {
        return status;
    }
    if (ioctl(port, TIOCGRS485, &now) == 0) {
        *rs485 = (struct lw_port_rs485){
            .supported = true,
            .on = now.flags & SER_RS485_ENABLED,
            .rts_while_sending = now.flags & SER_RS485_RTS_ON_SEND,
            .rts_after_sending = now.flags & SER_RS485_RTS_AFTER_SEND,
            .hears_itself = now.flags & SER_RS485_RX_DURING_TX,
            .before_ms = (int)now.delay_rts_before_send,
            .after_ms = (int)now.delay_rts_after_send,
        };
    }
    lw_terminal_close(port, &before);
    return LW_OK;
}
