// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a serial port's driver is asked beside the framing, and put back at the end: no gathering of
// received bytes, and who switches an RS-485 transceiver to sending. Only lib/line includes this.
#ifndef LW_LINE_DRIVER_H
#define LW_LINE_DRIVER_H

#include "line/line.h"

#include <linux/serial.h>

// As it was found.
struct lw_driver {
    bool lowered; // the latency flag was set by us
    struct serial_struct serial;
    bool switched; // the RS-485 settings were set by us
    struct serial_rs485 rs485;
    bool woken;        // USB autosuspend was switched off by us
    char control[256]; // the file that says so
};

// Asks the driver to hand received bytes over at once (ASYNC_LOW_LATENCY, which needs no rights);
// not every driver can. `driver` is zeroed by the caller.
void lw_driver_hurry(int descriptor, struct lw_driver *driver);

// Leaves the direction to the kernel, with delays around a transmission: TIOCSRS485 (Linux,
// Documentation/driver-api/serial/serial-rs485). False when the driver cannot, or not with these
// delays.
bool lw_driver_switch(int descriptor, const struct lw_line_options *options,
                      struct lw_driver *driver);

// Keeps USB from putting an adapter to sleep while it is open: "on" instead of "auto" in its power/
// control (Linux, Documentation/ABI/testing/sysfs-devices-power). `folder` is the port's device in
// /sys. False when the adapter may sleep and this user may not change that; true for what is not
// on USB.
bool lw_driver_keep_awake(const char *folder, struct lw_driver *driver);

// Puts all of it back. Async-signal-safe.
void lw_driver_put_back(int descriptor, const struct lw_driver *driver);

// Raises or lowers RTS. False when the port has none.
bool lw_driver_rts(int descriptor, bool raised);

// Whether the transmitter is empty, to the last bit; *known is false where the driver does not say.
bool lw_driver_sent(int descriptor, bool *known);

#endif
