// SPDX-License-Identifier: GPL-3.0-or-later
//
// Opening terminals. A port belongs to one program at a time: the advisory lock is taken at once,
// so that two of ours, or one of ours and another careful program, never mix their requests.
#include "line/terminal.h"

#include "base/text.h"
#include "line/driver.h"
#include "line/ports.h"

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <signal.h>
#include <stdatomic.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

// Terminals that are open, for a handler that has to put them back. A slot is filled before it is
// marked, since the handler may run between any two instructions.
static struct {
    volatile sig_atomic_t used;
    int descriptor;
    struct termios before;
    struct lw_driver driver;
} opened_terminals[16];

enum { SLOTS = sizeof opened_terminals / sizeof opened_terminals[0] };

static void remember(int descriptor, const struct termios *before)
{
    for (size_t i = 0; i < SLOTS; i++) {
        if (!opened_terminals[i].used) {
            opened_terminals[i].descriptor = descriptor;
            opened_terminals[i].before = *before;
            opened_terminals[i].driver = (struct lw_driver){0};
            atomic_signal_fence(memory_order_release);
            opened_terminals[i].used = 1;
            return;
        }
    }
}

// The flags come last, since the handler may run between any two instructions.
void lw_terminal_keep(int descriptor, const struct lw_driver *driver)
{
    for (size_t i = 0; i < SLOTS; i++) {
        if (opened_terminals[i].used && opened_terminals[i].descriptor == descriptor) {
            struct lw_driver *kept = &opened_terminals[i].driver;
            *kept = *driver;
            kept->lowered = kept->switched = kept->woken = false;
            atomic_signal_fence(memory_order_release);
            kept->lowered = driver->lowered;
            kept->switched = driver->switched;
            kept->woken = driver->woken;
        }
    }
}

static void forget(int descriptor)
{
    for (size_t i = 0; i < SLOTS; i++) {
        if (opened_terminals[i].used && opened_terminals[i].descriptor == descriptor) {
            opened_terminals[i].used = 0;
        }
    }
}

void lw_line_restore_all(void)
{
    for (size_t i = 0; i < SLOTS; i++) {
        if (opened_terminals[i].used) {
            lw_driver_put_back(opened_terminals[i].descriptor, &opened_terminals[i].driver);
            tcsetattr(opened_terminals[i].descriptor, TCSANOW, &opened_terminals[i].before);
        }
    }
}

void lw_terminal_close(int descriptor, const struct termios *before)
{
    tcsetattr(descriptor, TCSANOW, before);
    forget(descriptor);
    close(descriptor);
}

static enum lw_status no_permission(const char *name, const struct stat *facts,
                                    struct lw_error *error)
{
    const struct group *group = getgrgid(facts->st_gid);
    if (!group || facts->st_gid == 0 || !(facts->st_mode & S_IRGRP)) {
        return lw_fail(error, LW_SYSTEM, "no permission to open port '%s'", name);
    }
    return lw_fail(error, LW_SYSTEM,
                   "no permission to open port '%s': group '%s' may: join it and log in again",
                   name, group->gr_name);
}

static enum lw_status busy(const char *path, const char *name, struct lw_error *error)
{
    char holder[64];
    bool known = lw_port_holder(path, holder, sizeof holder);
    return lw_fail(error, LW_SYSTEM, "port '%s' is busy: %s holds it", name,
                   known ? holder : "another program");
}

static enum lw_status cannot_open(const char *path, const char *name, const struct stat *facts,
                                  int code, struct lw_error *error)
{
    switch (code) {
    case EACCES:
    case EPERM:
        return no_permission(name, facts, error);
    case EBUSY:
        return busy(path, name, error);
    case ENXIO:
    case ENODEV:
    case EIO:
        return lw_fail(error, LW_SYSTEM, "port '%s' has no hardware behind it", name);
    default:
        return lw_fail_errno(error, code, "cannot open port '%s'", name);
    }
}

static enum lw_status look_at(const char *path, const char *name, struct stat *facts,
                              struct lw_error *error)
{
    if (stat(path, facts) == 0) {
        return S_ISCHR(facts->st_mode) ? LW_OK
                                       : lw_fail(error, LW_USAGE, "'%s' is no serial port", name);
    }
    if (errno == ENOENT || errno == ENOTDIR) {
        return lw_fail(error, LW_SYSTEM, "no such port: '%s'", name);
    }
    return lw_fail_errno(error, errno, "cannot look at port '%s'", name);
}

static enum lw_status claim(int descriptor, const char *path, bool alone, struct termios *before,
                            struct lw_error *error)
{
    char holder[64], name[160];
    lw_text_clean(name, sizeof name, path, strlen(path));
    if (tcgetattr(descriptor, before) != 0) {
        return errno == ENOTTY
                   ? lw_fail(error, LW_USAGE, "'%s' is no serial port", name)
                   : lw_fail(error, LW_SYSTEM, "port '%s' has no hardware behind it", name);
    }
    bool held = alone && lw_port_holder(path, holder, sizeof holder);
    if (held || flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
        return busy(path, name, error);
    }
    return LW_OK;
}

enum lw_status lw_terminal_open(const char *path, bool alone, int *descriptor,
                                struct termios *before, struct lw_error *error)
{
    char name[160];
    struct stat facts;
    lw_text_clean(name, sizeof name, path, strlen(path));
    enum lw_status status = look_at(path, name, &facts, error);
    if (status != LW_OK) {
        return status;
    }
    int opened = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (opened < 0) {
        return cannot_open(path, name, &facts, errno, error);
    }
    status = claim(opened, path, alone, before, error);
    if (status != LW_OK) {
        close(opened);
        return status;
    }
    remember(opened, before);
    *descriptor = opened;
    return LW_OK;
}

static void set_rate(struct termios *settings, int rate)
{
    static const struct {
        int rate;
        speed_t speed;
    } table[] = {
        {50, B50},           {75, B75},           {110, B110},         {134, B134},
        {150, B150},         {200, B200},         {300, B300},         {600, B600},
        {1200, B1200},       {1800, B1800},       {2400, B2400},       {4800, B4800},
        {9600, B9600},       {19200, B19200},     {38400, B38400},     {57600, B57600},
        {115200, B115200},   {230400, B230400},   {460800, B460800},   {500000, B500000},
        {576000, B576000},   {921600, B921600},   {1000000, B1000000}, {1152000, B1152000},
        {1500000, B1500000}, {2000000, B2000000}, {2500000, B2500000}, {3000000, B3000000},
        {3500000, B3500000}, {4000000, B4000000},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (table[i].rate == rate) {
            cfsetispeed(settings, table[i].speed);
            cfsetospeed(settings, table[i].speed);
        }
    }
}

void lw_terminal_raw(struct termios *settings, const struct lw_framing *framing)
{
    cfmakeraw(settings);
    settings->c_cflag &= ~(tcflag_t)(CSIZE | PARENB | PARODD | CSTOPB | CRTSCTS);
    settings->c_cflag |= CLOCAL | CREAD | (framing->data_bits == 7 ? CS7 : CS8);
    settings->c_iflag &= ~(tcflag_t)(IXANY | IXOFF | IGNPAR | INPCK);
    if (framing->parity != 'N') {
        settings->c_cflag |= PARENB;
    }
    if (framing->parity == 'O') {
        settings->c_cflag |= PARODD;
    }
    if (framing->stop_bits == 2) {
        settings->c_cflag |= CSTOPB;
    }
    settings->c_cc[VMIN] = 1; // a read of 0 bytes then means that the line is gone
    settings->c_cc[VTIME] = 0;
    set_rate(settings, framing->rate);
}

bool lw_terminal_took(int descriptor, const struct termios *asked)
{
    struct termios has;
    const tcflag_t looked_at = CSIZE | PARENB | PARODD | CSTOPB;
    return tcgetattr(descriptor, &has) == 0 &&
           (has.c_cflag & looked_at) == (asked->c_cflag & looked_at);
}
