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
    char group[32];        // the group that may open it
    char holder[64];       // who has it open, "minicom (1234)"; only what this user may see
    bool may_open;         // this user may read and write it
};

// Fills the list (of struct lw_port, sorted: ttyUSB2 before ttyUSB10). None at all is an empty list
// and LW_OK. Free with lw_ports_free().
enum lw_status lw_ports_list(struct lw_list *ports, struct lw_error *error);
void lw_ports_free(struct lw_list *ports);

// Who has the device at `path` open, apart from this process: "minicom (1234)". False, and an empty
// text, when nobody does or this user may not see it.
bool lw_port_holder(const char *path, char *holder, size_t size);

#endif
