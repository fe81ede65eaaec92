// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk-ports: the serial ports of this machine, and what about them costs time on a line. A
// program of its own, the only one that links libusb.
#include "check/ports.h"

#include "base/text.h"
#include "cli/output.h"
#include "cli/session.h"
#include "ports_command.h"

static const char *const fed_says[] = {"not known how fed", "fed by the bus",
                                       "with a supply of its own"};

// The ports named, or all.
static enum lw_status gather(const char *named, struct lw_ports_result *result,
                             struct lw_error *error)
{
    struct lw_list ports = {0};
    struct lw_usb *usb = NULL;
    struct lw_error no_usb = {0};
    enum lw_status status = lw_ports_list(&ports, error);
    (void)lw_usb_open(&usb, &no_usb); // without, the ports are still worth listing
    const struct lw_port *items = ports.items;
    for (size_t i = 0; status == LW_OK && i < ports.count; i++) {
        struct lw_usb_way way;
        struct lw_port_rs485 rs485;
        bool asked = false;
        if (named != NULL && strcmp(named, items[i].name) != 0) {
            continue;
        }
        bool known = usb != NULL && items[i].on_usb &&
                     lw_usb_way(usb, items[i].usb_bus, items[i].usb_number, &way);
        if (named != NULL && items[i].may_open && items[i].holder[0] == '\0') {
            asked = lw_port_rs485(named, &rs485, NULL) == LW_OK;
        }
        status = lw_ports_add(result, &items[i], known ? &way : NULL, asked ? &rs485 : NULL, error);
    }
    lw_usb_close(usb);
    lw_ports_free(&ports);
    if (status == LW_OK && named != NULL && result->ports.count == 0) {
        char shown[120];
        lw_text_clean(shown, sizeof shown, named, strlen(named));
        status = lw_fail(error, LW_USAGE, "no such port: '%s'", shown);
    }
    return status;
}

// A count that is below 0 when it is not known.
static const char *cell_known(int value)
{
    return value >= 0 ? lw_cell_count(value) : "-";
}

static const char *state_of(const struct lw_ports_port *port)
{
    return port->holder != NULL ? _("in use") : port->may_open ? _("free") : _("not yours");
}

static const char *adapter_of(const struct lw_ports_port *port, char *text, size_t size)
{
    const char *chip = port->usb != NULL ? port->usb->chip : NULL;
    lw_print(text, size, "%s%s%s", port->says != NULL ? port->says : "",
             port->says != NULL && chip != NULL ? ", " : "", chip != NULL ? chip : "");
    return lw_cell_text(text);
}

static const char *current_of(const struct lw_ports_port *port, char *text, size_t size)
{
    const struct lw_ports_usb *usb = port->usb;
    if (usb == NULL || usb->asks_ma < 0) {
        return "-";
    }
    lw_print(text, size, usb->gives_ma < 0 ? "%d" : "%d of %d", usb->asks_ma, usb->gives_ma);
    return text;
}

static void print_table(const struct lw_ports_result *result)
{
    static const char *const heads[] = {"port",      "state",   "USB", "mA asked",
                                        "holds ms|", "adapter", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_ports_port *ports = result->ports.items;
    for (size_t i = 0; i < result->ports.count; i++) {
        char adapter[240], current[40];
        const char *const cells[] = {
            ports[i].port,
            state_of(&ports[i]),
            lw_cell_text(ports[i].usb != NULL ? ports[i].usb->place : NULL),
            current_of(&ports[i], current, sizeof current),
            cell_known(ports[i].latency_ms),
            adapter_of(&ports[i], adapter, sizeof adapter)};
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
}

static void print_fact(const char *what, const char *is)
{
    char lead[40];
    int width = 18;
    lw_print(lead, sizeof lead, "%-*s", width, what);
    lw_print_wrapped(lead, width, width, lw_cell_text(is));
}

static void print_way(const struct lw_ports_usb *usb)
{
    const struct lw_ports_device *way = usb->way.items;
    for (size_t i = 0; i < usb->way.count; i++) {
        char text[200], where[40] = "root hub", speed[40] = "speed not known";
        const struct lw_ports_device *at = &way[i];
        int fed = at->is != LW_USB_FED_UNKNOWN ? at->is : at->declares;
        if (at->port > 0) {
            lw_print(where, sizeof where, "port %d", at->port);
        }
        if (isfinite(at->mbit_per_s)) {
            lw_print(speed, sizeof speed, "%g Mbit/s", at->mbit_per_s);
        }
        lw_print(text, sizeof text, "%s: %s, %s, asks %s mA, %s", where, at->id, speed,
                 cell_known(at->asks_ma), fed_says[fed]);
        print_fact(i == 0 ? _("way") : "", text);
    }
}

static void print_usb(const struct lw_ports_usb *usb)
{
    char current[80];
    print_fact(_("ids"), usb->id);
    print_fact(_("chip"), usb->chip);
    print_fact(_("maker"), usb->maker);
    print_fact(_("product"), usb->product);
    print_fact(_("serial"), usb->serial);
    print_fact(_("place on USB"), usb->place);
    if (usb->asks_ma >= 0 && usb->gives_ma >= 0) {
        lw_print(current, sizeof current, "asks %d mA, its place gives %d mA", usb->asks_ma,
                 usb->gives_ma);
        print_fact(_("current"), current);
    }
    print_way(usb);
}

static void print_rs485(const struct lw_ports_rs485 *rs485)
{
    char text[200];
    if (rs485->supported && rs485->on) {
        lw_print(
            text, sizeof text, "by the kernel, RTS %s while sending, %d ms before, %d ms after",
            rs485->rts_while_sending ? "raised" : "lowered", rs485->before_ms, rs485->after_ms);
    } else {
        lw_copy(text, sizeof text,
                rs485->supported ? "the kernel could switch it, and does not"
                                 : "not by the kernel: by the adapter, or by RTS");
    }
    print_fact(_("direction"), text);
}

static void print_port(const struct lw_ports_port *port)
{
    char text[80];
    print_fact(_("port"), port->port);
    print_fact(_("says of itself"), port->says);
    print_fact(_("driver"), port->driver);
    print_fact(_("state"), port->holder != NULL ? port->holder : state_of(port));
    print_fact(_("group that may"), port->group);
    if (port->latency_ms >= 0) {
        lw_print(text, sizeof text, "received bytes for up to %d ms", port->latency_ms);
        print_fact(_("holds back"), text);
    }
    if (port->rs485 != NULL) {
        print_rs485(port->rs485);
    }
    if (port->usb != NULL) {
        print_usb(port->usb);
    }
}

static bool has_hub_unasked(const struct lw_ports_result *result)
{
    const struct lw_ports_port *ports = result->ports.items;
    for (size_t i = 0; i < result->ports.count; i++) {
        const struct lw_ports_usb *usb = ports[i].usb;
        const struct lw_ports_device *way = usb != NULL ? usb->way.items : NULL;
        for (size_t k = 1; usb != NULL && k + 1 < usb->way.count; k++) {
            if (way[k].is == LW_USB_FED_UNKNOWN) {
                return true;
            }
        }
    }
    return false;
}

static void say_what_is_hidden(const struct lw_cli *cli, const struct lw_ports_result *result)
{
    if (!lw_ports_sees_all() && result->ports.count > 0) {
        lw_cli_say(cli,
                   has_hub_unasked(result)
                       ? "as root it would also say which programs of other users hold a port, and "
                         "how each hub is fed now"
                       : "as root it would also say which programs of other users hold a port");
    }
}

static enum lw_status show(const struct lw_cli *cli, const struct lw_ports_result *result,
                           struct lw_error *error)
{
    if (cli->settings.json) {
        struct lw_text text = {0};
        enum lw_status status = lw_json_write(&lw_ports_shape, result, true, &text, error);
        if (status == LW_OK) {
            fwrite(text.bytes, 1, text.length, stdout);
        }
        lw_text_finish(&text);
        return status;
    }
    if (result->ports.count == 0) {
        lw_cli_say(cli, "no serial port is there: is the adapter plugged in?");
    } else if (cli->rest[0] != NULL) {
        print_port(result->ports.items);
    } else {
        print_table(result);
    }
    lw_print_findings(&result->findings);
    return LW_OK;
}

static enum lw_status run(struct lw_session *session, bool feeds_chain, struct lw_error *error)
{
    const struct lw_cli *cli = session->cli;
    struct lw_ports_result result;
    lw_json_init(&lw_ports_shape, &result);
    result.format = lw_duplicate("linewalk/ports/1");
    result.power = (int)lw_machine_power();
    enum lw_status status = gather(cli->rest[0], &result, error);
    if (status == LW_OK) {
        const struct lw_ports_options options = {.feeds_chain = feeds_chain,
                                                 .plan = session->has_plan ? &session->plan : NULL};
        lw_ports_findings(&options, &result);
        status = lw_findings_check(&result.findings, error);
    }
    if (status == LW_OK) {
        status = show(cli, &result, error);
        say_what_is_hidden(cli, &result);
    }
    lw_json_free(&lw_ports_shape, &result);
    return status;
}

int lw_cmd_ports(struct lw_cli *cli)
{
    bool feeds_chain = false;
    struct lw_error error = {0};
    struct lw_session session;
    int exit_status;
    if (!lw_ports_parse(cli, &feeds_chain, &exit_status)) {
        return exit_status;
    }
    if (lw_session_open(&session, cli, LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status =
        run(&session, feeds_chain, &error) == LW_OK ? LW_EXIT_OK : lw_cli_fail(cli, &error);
    lw_session_close(&session);
    return exit_status;
}

int main(int argc, char **argv)
{
    struct lw_cli cli = {.command = &lw_command_ports, .argc = argc, .argv = argv};
    lw_cli_start();
    return lw_cmd_ports(&cli);
}
