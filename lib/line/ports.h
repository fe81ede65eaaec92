// SPDX-License-Identifier: GPL-3.0-or-later
//
// The serial ports of this machine: what they are, who may open them, who has.
#ifndef LW_LINE_PORTS_H
#define LW_LINE_PORTS_H

#include "base/error.h"
#include "base/json.h"

#include <stdbool.h>
#include <stddef.h>

// All texts are cleaned; what is not known is empty.
struct lw_port {
    char name[128];        // "/dev/ttyUSB0"
    char description[120]; // what the adapter says of itself
    char group[32];        // the group that may open it; empty when no group's membership would do
    char holder[64];       // who has it open, "minicom (1234)"; only what this user may see
    bool may_open;         // this user may read and write it
    char driver[32];       // the kernel's
    int latency_ms;        // how long the adapter gathers received bytes; -1: has no such timer
    bool on_usb;           // the rest is known only then
    int usb_bus, usb_number; // as the system numbers them; 0: not known
    int vendor_id, product_id;
    char maker[80], product[80], serial[80]; // the adapter's own strings
};

// Fills the list (of struct lw_port, sorted: ttyUSB2 before ttyUSB10). None at all is an empty list
// and LW_OK. Free with lw_ports_free().
enum lw_status lw_ports_list(struct lw_list *ports, struct lw_error *error);
void lw_ports_free(struct lw_list *ports);

// How the kernel itself switches a port to sending (Linux, serial-rs485).
struct lw_port_rs485 {
    bool supported; // the driver can; the rest is false and 0 else
    bool on;
    bool rts_while_sending, rts_after_sending;
    bool hears_itself;
    int before_ms, after_ms; // delays around a transmission
};

// Asks the port's driver, and opens the port for it, which raises DTR and RTS for a moment: an
// adapter whose direction hangs on RTS then drives the line. So only for a port that the user
// named, and that nobody holds. LW_USAGE when it is no serial port, LW_SYSTEM when it cannot be
// opened.
enum lw_status lw_port_rs485(const char *path, struct lw_port_rs485 *rs485, struct lw_error *error);

// Whether this user sees what all processes have open.
bool lw_ports_sees_all(void);

// Where this machine gets its power from.
enum lw_machine_power { LW_POWER_UNKNOWN, LW_POWER_BATTERY, LW_POWER_CHARGER };
// Unknown where the machine has no battery, or does not say.
enum lw_machine_power lw_machine_power(void);

// Who has the device at `path` open, apart from this process: "minicom (1234)". False, and an empty
// text, when nobody does or this user may not see it.
bool lw_port_holder(const char *path, char *holder, size_t size);

#endif
