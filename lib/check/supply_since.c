// SPDX-License-Identifier: GPL-3.0-or-later
//
// The same voltmeters at an earlier visit: what they are off by, they were off by then. Compared is
// what they have changed by, with the chain as planned for the working point.
#include "check/supply_inside.h"

// What a voltmeter may drift between two visits, of what it may be off by; what a chain's draw and
// its copper's temperature may change by. Our choice.
static const double drift_share = 0.2, draw_change_u = 0.1, copper_change_u = 0.04;

static size_t fill_meters(const struct lw_supply_measured *measured,
                          const struct lw_supply_result *result,
                          struct lw_supply_evidence *evidence)
{
    const struct lw_supply_tap *taps = result->taps.items;
    size_t count = 0;
    for (size_t i = 0; i < result->taps.count; i++) {
        struct lw_voltmeter *meter = &evidence->meters[i];
        meter->volts += taps[i].volts - measured->earlier_v[i];
        meter->node_u_v *= drift_share;
        meter->kind_u_v *= drift_share;
        // Two readings in steps and with their scatter.
        meter->step_v *= sqrt(2);
        meter->noise_u_v *= sqrt(2);
        count += isfinite(meter->volts);
    }
    return count;
}

static void keep(const struct lw_weak_span *weak, struct lw_supply_result *result)
{
    result->since_span = weak->found ? (double)weak->span + 1 : 0;
    result->since_low = weak->found ? (double)weak->low + 1 : 0;
    result->since_high = weak->found ? (double)weak->high + 1 : 0;
    result->since_extra_ohm = weak->found ? weak->fits[weak->span].extra_ohm : NAN;
    result->since_proved = weak->proved;
    result->since_visible_ohm = NAN;
    for (size_t k = 0; k < weak->span_count; k++) {
        if (isfinite(weak->fits[k].smallest_visible_ohm)) {
            result->since_visible_ohm =
                fmax(result->since_visible_ohm, weak->fits[k].smallest_visible_ohm);
        }
    }
}

enum lw_status lw_supply_since(const struct lw_plan *plan,
                               const struct lw_supply_measured *measured,
                               struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_supply_evidence evidence;
    struct lw_weak_span weak = {0};
    enum lw_status status =
        lw_supply_evidence_init(plan, measured, false, result, &evidence, error);
    if (status == LW_OK) {
        result->since_opened = lw_duplicate(measured->earlier_opened);
        result->since_nodes = (double)fill_meters(measured, result, &evidence);
        const struct lw_weak_span_options options = {.source_u_v = evidence.source_u_v,
                                                     .source_u_ohm = evidence.source_u_ohm,
                                                     .draw_u = draw_change_u,
                                                     .conductor_u = copper_change_u};
        status = lw_weak_span_find(&evidence.ladder, evidence.states, evidence.meters, &options,
                                   &weak, error);
    }
    if (status == LW_OK) {
        keep(&weak, result);
    }
    lw_weak_span_finish(&weak);
    lw_supply_evidence_finish(&evidence);
    return status == LW_USAGE || status == LW_GARBLED ? LW_OK : status;
}
