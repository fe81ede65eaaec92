// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk ports: the serial ports of this machine.
#include "line/ports.h"
#include "cli/output.h"
#include "commands.h"

static const char *remark_of(const struct lw_port *port, char *text, size_t size)
{
    if (port->holder[0] != '\0') {
        lw_print(text, size, "in use by %s", port->holder);
    } else if (!port->may_open) {
        lw_print(text, size, "not yours to open: join the group %s", lw_cell_text(port->group));
    } else {
        lw_copy(text, size, "free");
    }
    return text;
}

int lw_cmd_ports(struct lw_cli *cli)
{
    static const char *const heads[] = {"port", "what it says of itself", "state", NULL};
    struct lw_error error = {0};
    struct lw_list ports = {0};
    int exit_status;
    if (!lw_cli_parse(cli, NULL, 0, &exit_status)) {
        return exit_status;
    }
    if (lw_ports_list(&ports, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    if (ports.count == 0) {
        lw_cli_say(cli, "no serial port is there: is the adapter plugged in?");
        return LW_EXIT_OK;
    }
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_port *items = ports.items;
    for (size_t i = 0; i < ports.count; i++) {
        char remark[160];
        const char *const cells[] = {items[i].name, lw_cell_text(items[i].description),
                                     remark_of(&items[i], remark, sizeof remark)};
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
    lw_ports_free(&ports);
    return LW_EXIT_OK;
}

const struct lw_command lw_command_ports = {
    "ports", "the serial ports of this machine", "",
    "Lists the serial ports, what their adapters say of themselves, who holds them and whether you "
    "may open them.",
    lw_cmd_ports};
