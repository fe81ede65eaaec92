// SPDX-License-Identifier: GPL-3.0-or-later
//
// Prints the serial ports, one a line: name, description, group, holder, whether this user may
// open it. For running under a made device tree.
#include "line/ports.h"

int main(void)
{
    struct lw_list ports = {0};
    struct lw_error error = {0};
    if (lw_ports_list(&ports, &error) != LW_OK) {
        fprintf(stderr, "%s\n", error.says);
        return 1;
    }
    for (size_t i = 0; i < ports.count; i++) {
        const struct lw_port *port = (const struct lw_port *)ports.items + i;
        printf("%s|%s|%s|%s|%s\n", port->name, port->description, port->group, port->holder,
               port->may_open ? "may" : "may not");
    }
    lw_ports_free(&ports);
    return 0;
}
