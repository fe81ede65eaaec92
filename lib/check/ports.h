// SPDX-License-Identifier: GPL-3.0-or-later
//
// What this machine's serial ports are, and what about them spoils a day on a line: an adapter that
// sits on its bytes, a hub that starves it, a port that is somebody else's. It asks no node; it has
// no verdict.
#ifndef LW_CHECK_PORTS_H
#define LW_CHECK_PORTS_H

#include "line/ports.h"
#include "line/usb.h"
#include "site/plan.h"
#include "site/record.h"

// All texts are owned here; NULL is not known.
struct lw_ports_device {
    int port;          // of the hub above
    char *id;          // "0403:6001", hexadecimal
    double mbit_per_s; // NAN: not known
    int asks_ma;       // -1: not known
    int declares, is;  // enum lw_usb_fed
};
struct lw_ports_usb {
    char *id, *chip, *maker, *product, *serial;
    char *place; // "1-2.3"; NULL: the way to it is not known
    double mbit_per_s;
    int asks_ma, gives_ma; // -1: not known
    int bus_fed_hubs;
    struct lw_list way; // of struct lw_ports_device, the root hub first
};
struct lw_ports_rs485 {
    bool supported, on, rts_while_sending, rts_after_sending, hears_itself;
    int before_ms, after_ms;
};
struct lw_ports_port {
    char *port, *says, *driver, *group, *holder;
    bool may_open;
    int latency_ms;               // -1: no such timer
    struct lw_ports_rs485 *rs485; // NULL: not asked
    struct lw_ports_usb *usb;     // NULL: not on USB
};
struct lw_ports_result {
    char *format;         // "linewalk/ports/1"
    int power;            // enum lw_machine_power
    struct lw_list ports; // of struct lw_ports_port
    struct lw_findings findings;
};
extern const struct lw_shape lw_ports_shape; // with the findings

// Adds a port; `way` and `rs485` may be NULL. LW_MEMORY.
enum lw_status lw_ports_add(struct lw_ports_result *result, const struct lw_port *port,
                            const struct lw_usb_way *way, const struct lw_port_rs485 *rs485,
                            struct lw_error *error);

// The chip family that these ids were given to, as the tables of the Linux kernel's drivers
// (drivers/usb/serial) and of its makers have it: "FT232R or alike". NULL for all others, since a
// family is no guess. Copies carry the same ids.
const char *lw_ports_chip(int vendor_id, int product_id, int release);

// What the plan's nodes draw together, in W at the first supply's voltage (5 V without a supply).
// NAN when a profile does not say.
double lw_ports_chain_w(const struct lw_plan *plan);

struct lw_ports_options {
    bool feeds_chain;           // the chain is fed through the adapter, from USB
    const struct lw_plan *plan; // may be NULL
};
// Pure. A finding is attention, but for a chain that USB can't feed.
void lw_ports_findings(const struct lw_ports_options *options, struct lw_ports_result *result);

#endif
