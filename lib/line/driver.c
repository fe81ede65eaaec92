// SPDX-License-Identifier: GPL-3.0-or-later
//
// The driver's own calls. What was asked is read back where a driver may take less than that: some
// accept RS-485 settings and leave out what their hardware cannot do.
#include "line/driver.h"

#include <sys/ioctl.h>

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

void lw_driver_put_back(int descriptor, const struct lw_driver *driver)
{
    if (driver->switched) {
        struct serial_rs485 before = driver->rs485;
        ioctl(descriptor, TIOCSRS485, &before);
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
