// SPDX-License-Identifier: GPL-3.0-or-later
//
// What is judged of the ports: what about one of them costs time on a line, before it does.
#include "check/ports.h"

#include "base/text.h"
#include "base/words.h"

// The least and the most that a port of USB gives (USB 2.0, 7.2.2: 4.75 V to 5.25 V at a port that
// gives 500 mA).
static const double least_usb_v = 4.75, most_usb_v = 5.25;

// Bytes that the adapter holds back for longer than that stand in the way of timing (common
// practice; the driver's smallest value).
enum { SHORT_LATENCY_MS = 1 };

// The tables of the Linux kernel, drivers/usb/serial: ftdi_sio_ids.h and the release numbers in
// ftdi_sio.c, cp210x.c ("factory default"), ch341.c, pl2303.h.
static const struct {
    int vendor_id, product_id, release; // release 0: any
    const char *chip;
} chips[] = {
    {0x0403, 0x6001, 0x0400, "FT232BM"},  {0x0403, 0x6001, 0x0600, "FT232R"},
    {0x0403, 0x6001, 0, "FT232 family"},  {0x0403, 0x6010, 0x0500, "FT2232C"},
    {0x0403, 0x6010, 0x0700, "FT2232H"},  {0x0403, 0x6011, 0, "FT4232H"},
    {0x0403, 0x6014, 0, "FT232H"},        {0x0403, 0x6015, 0, "FT-X family"},
    {0x10c4, 0xea60, 0, "CP210x family"}, {0x10c4, 0xea61, 0, "CP210x family"},
    {0x10c4, 0xea70, 0, "CP2105"},        {0x10c4, 0xea71, 0, "CP2108"},
    {0x1a86, 0x5523, 0, "CH341"},         {0x1a86, 0x7523, 0, "CH340"},
    {0x067b, 0x2303, 0, "PL2303"},        {0x067b, 0x23a3, 0, "PL2303GC"},
};

const char *lw_ports_chip(int vendor_id, int product_id, int release)
{
    for (size_t i = 0; i < sizeof chips / sizeof chips[0]; i++) {
        if (chips[i].vendor_id == vendor_id && chips[i].product_id == product_id &&
            (chips[i].release == 0 || chips[i].release == release)) {
            return chips[i].chip;
        }
    }
    return NULL;
}

static double load_w(const struct lw_profile_load *load, double supply_v)
{
    switch (load->type) {
    case 0:
        return load->watts;
    case 1:
        return load->amps * supply_v;
    default:
        return supply_v * supply_v / load->ohm;
    }
}

double lw_ports_chain_w(const struct lw_plan *plan)
{
    const struct lw_supply *supplies = plan->supplies.items;
    double supply_v = plan->supplies.count > 0 ? supplies[0].nominal_v : 5, sum_w = 0;
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (entry->is != NULL) {
            sum_w += load_w(&entry->is->electrical.load, supply_v);
        }
    }
    return sum_w;
}

static void judge_rights(const struct lw_ports_port *port, struct lw_findings *findings)
{
    if (!port->may_open) {
        struct lw_finding *finding = lw_findings_add(
            findings, "ports_forbidden", LW_ATTENTION, "%s is not yours to open: %s%s", port->port,
            port->group != NULL ? N_("members may, of the group ") : N_("only root may"),
            port->group != NULL ? port->group : "");
        lw_finding_about(findings, finding, port->group != NULL ? port->group : "root");
    }
    if (port->holder != NULL) {
        struct lw_finding *finding = lw_findings_add(
            findings, "ports_busy", LW_ATTENTION, "%s is in use by %s", port->port, port->holder);
        lw_finding_about(findings, finding, port->holder);
    }
}

static void judge_latency(const struct lw_ports_port *port, struct lw_findings *findings)
{
    if (port->latency_ms <= SHORT_LATENCY_MS) {
        return;
    }
    const char *slash = strrchr(port->port, '/');
    struct lw_finding *finding = lw_findings_add(findings, "ports_latency", LW_ATTENTION,
                                                 "%s holds received bytes back for up to %d ms",
                                                 port->port, port->latency_ms);
    lw_finding_because(findings, finding,
                       "that much is added to each reply time, and gaps between frames that are "
                       "shorter cannot be seen: t3.5 is 2.0 ms at 19200 bit/s");
    lw_finding_about(findings, finding, slash != NULL ? slash + 1 : port->port);
    if (finding != NULL) {
        finding->value = port->latency_ms;
        finding->limit = SHORT_LATENCY_MS;
    }
}

static void judge_hubs(const struct lw_ports_port *port, struct lw_findings *findings)
{
    const struct lw_ports_device *way = port->usb->way.items;
    if (port->usb->bus_fed_hubs > 1) {
        lw_findings_add(findings, "ports_hub_row", LW_ATTENTION,
                        "%d hubs without a supply of their own stand in a row before %s",
                        port->usb->bus_fed_hubs, port->port);
    }
    for (size_t i = 1; i + 1 < port->usb->way.count; i++) {
        if (way[i].declares == LW_USB_FED_SELF && way[i].is == LW_USB_FED_BUS) {
            lw_findings_add(findings, "ports_hub_unfed", LW_ATTENTION,
                            "the hub %s before %s could have a supply of its own and runs without",
                            way[i].id, port->port);
        }
    }
}

static void judge_power(const struct lw_ports_port *port, struct lw_findings *findings)
{
    const struct lw_ports_usb *usb = port->usb;
    if (usb->gives_ma < 0 || usb->asks_ma <= usb->gives_ma) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(findings, "ports_starved", LW_ATTENTION,
                                                 "%s asks for %d mA where USB gives %d mA",
                                                 port->port, usb->asks_ma, usb->gives_ma);
    if (usb->bus_fed_hubs > 0) {
        lw_finding_because(findings, finding,
                           "it hangs on a hub without a supply of its own, which gives a port one "
                           "unit load");
    }
    if (finding != NULL) {
        finding->value = usb->asks_ma;
        finding->limit = usb->gives_ma;
    }
}

// What comes from USB cannot exceed the place's current at the highest voltage, and is only safe
// within what the adapter asked for at the lowest; a converter takes its part of both.
static void judge_feed(const struct lw_ports_options *options, const struct lw_ports_port *port,
                       struct lw_findings *findings)
{
    const struct lw_ports_usb *usb = port->usb;
    if (usb->asks_ma < 0 || usb->gives_ma < 0) {
        return;
    }
    double chain_w = options->plan != NULL ? lw_ports_chain_w(options->plan) : NAN;
    double safe_w = fmin(usb->asks_ma, usb->gives_ma) * 1e-3 * least_usb_v;
    double most_w = usb->gives_ma * 1e-3 * most_usb_v;
    if (chain_w <= safe_w) {
        return;
    }
    struct lw_finding *finding =
        isfinite(chain_w)
            ? lw_findings_add(findings, "ports_feed", chain_w > most_w ? LW_FAIL : LW_ATTENTION,
                              "the chain draws %.2f W; through %s USB is sure to give %.2f W, and "
                              "gives %.2f W at most",
                              chain_w, port->port, safe_w, most_w)
            : lw_findings_add(findings, "ports_feed", LW_ATTENTION,
                              "the chain is fed through %s, where USB is sure to give %.2f W, and "
                              "gives %.2f W at most: what it draws is not known",
                              port->port, safe_w, most_w);
    lw_finding_because(findings, finding,
                       "the adapter asks for %d mA, its place gives %d mA, at %.2f V to %.2f V; "
                       "what the adapter needs itself, and loses, comes off",
                       usb->asks_ma, usb->gives_ma, least_usb_v, most_usb_v);
    if (finding != NULL) {
        finding->value = chain_w;
        finding->limit = safe_w;
    }
}

static void judge_direction(const struct lw_ports_port *port, struct lw_findings *findings)
{
    if (port->rs485 != NULL && !port->rs485->supported) {
        lw_findings_add(findings, "ports_direction", LW_ATTENTION,
                        "the plan leaves the direction of the line to the kernel, and the driver "
                        "of %s cannot switch it",
                        port->port);
    }
}

void lw_ports_findings(const struct lw_ports_options *options, struct lw_ports_result *result)
{
    struct lw_findings *findings = &result->findings;
    const struct lw_ports_port *ports = result->ports.items;
    for (size_t i = 0; i < result->ports.count; i++) {
        judge_rights(&ports[i], findings);
        judge_latency(&ports[i], findings);
        if (options->plan != NULL && options->plan->line.direction == LW_DIRECTION_KERNEL) {
            judge_direction(&ports[i], findings);
        }
        if (ports[i].usb != NULL) {
            judge_hubs(&ports[i], findings);
            judge_power(&ports[i], findings);
        }
        if (ports[i].usb != NULL && options->feeds_chain) {
            judge_feed(options, &ports[i], findings);
        }
    }
    if (result->power == LW_POWER_CHARGER && result->ports.count > 0) {
        lw_findings_add(findings, "ports_charger", LW_ATTENTION,
                        "this machine runs on its charger, which may tie 0 V to protective earth");
    }
}
