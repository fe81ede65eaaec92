// SPDX-License-Identifier: GPL-3.0-or-later
//
// The driver's own calls. What was asked is read back where a driver may take less than that: some
// accept RS-485 settings and leave out what their hardware cannot do.
#include "line/driver.h"

#include "base/text.h"

#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

void lw_driver_hurry(int descriptor, struct lw_driver *driver)
{
    struct serial_struct asked;
    if (ioctl(descriptor, TIOCGSERIAL, &driver->serial) != 0 ||
        driver->serial.flags & ASYNC_LOW_LATENCY) {
        return;
    }
    asked = driver->serial;
    asked.flags |= ASYNC_LOW_LATENCY;
    driver->lowered = ioctl(descriptor, TIOCSSERIAL, &asked) == 0;
}

bool lw_driver_switch(int descriptor, const struct lw_line_options *options,
                      struct lw_driver *driver)
{
    struct serial_rs485 has = {0};
    const struct serial_rs485 asked = {
        .flags = SER_RS485_ENABLED | SER_RS485_RTS_ON_SEND,
        .delay_rts_before_send = (__u32)options->before_ms,
        .delay_rts_after_send = (__u32)options->after_ms,
    };
    struct serial_rs485 given = asked;
    if (ioctl(descriptor, TIOCGRS485, &driver->rs485) != 0 ||
        ioctl(descriptor, TIOCSRS485, &given) != 0) {
        return false;
    }
    driver->switched = true;
    return ioctl(descriptor, TIOCGRS485, &has) == 0 && has.flags & SER_RS485_ENABLED &&
           has.delay_rts_before_send == asked.delay_rts_before_send &&
           has.delay_rts_after_send == asked.delay_rts_after_send;
}

static bool write_control(const char *control, const char *word)
{
    int file = open(control, O_WRONLY | O_CLOEXEC);
    size_t count = strlen(word);
    bool written = file >= 0 && write(file, word, count) == (ssize_t)count;
    if (file >= 0) {
        close(file);
    }
    return written;
}

// "auto" or "on"; empty when there is none.
static void read_control(const char *control, char word[8])
{
    int file = open(control, O_RDONLY | O_CLOEXEC);
    ssize_t count = file >= 0 ? read(file, word, 7) : 0;
    word[count > 0 ? count : 0] = '\0';
    if (file >= 0) {
        close(file);
    }
}

// The USB device stands above its interface, and some drivers have a step of their own below that.
// The path is resolved, so that what is put back is this device's though another has its name.
static bool find_control(const char *folder, struct lw_driver *driver)
{
    static const char *const ups[] = {"..", "../.."};
    for (size_t i = 0; i < sizeof ups / sizeof ups[0]; i++) {
        char path[PATH_MAX], *real = NULL;
        lw_print(path, sizeof path, "%s/%s/idVendor", folder, ups[i]);
        if (access(path, F_OK) == 0) {
            lw_print(path, sizeof path, "%s/%s/power/control", folder, ups[i]);
            real = realpath(path, NULL);
        }
        bool found = real && lw_copy(driver->control, sizeof driver->control, real);
        free(real);
        if (found) {
            return true;
        }
    }
    return false;
}

bool lw_driver_keep_awake(const char *folder, struct lw_driver *driver)
{
    char word[8];
    if (!find_control(folder, driver)) {
        return true;
    }
    read_control(driver->control, word);
    bool sleeps = strncmp(word, "auto", 4) == 0;
    driver->woken = sleeps && write_control(driver->control, "on");
    return !sleeps || driver->woken;
}

void lw_driver_put_back(int descriptor, const struct lw_driver *driver)
{
    if (driver->switched) {
        struct serial_rs485 before = driver->rs485;
        ioctl(descriptor, TIOCSRS485, &before);
    }
    if (driver->woken) {
        write_control(driver->control, "auto");
    }
    if (driver->lowered) {
        ioctl(descriptor, TIOCSSERIAL, &driver->serial);
    }
}

bool lw_driver_rts(int descriptor, bool raised)
{
    int rts = TIOCM_RTS;
    return ioctl(descriptor, raised ? TIOCMBIS : TIOCMBIC, &rts) == 0;
}

bool lw_driver_sent(int descriptor, bool *known)
{
    unsigned state = 0;
    *known = ioctl(descriptor, TIOCSERGETLSR, &state) == 0;
    return *known && state & TIOCSER_TEMT;
}
