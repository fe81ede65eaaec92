// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the nodes' voltmeters say, beside what was computed, and whether one span has more
// resistance than planned. Without a measured current the result is a ratio to the plan: voltages
// alone only give the product of resistance and current.
#include "check/supply_inside.h"

// The common draw is believed to 30 % where no current was measured: data sheets give limits, not
// means (common practice).
static const double unmeasured_draw_u = 0.30;

// A source's output, fuse and lead terminals beyond what the plan counts (common practice).
static const double source_u_ohm = 0.05;

static double meter_u(const struct lw_profile *profile)
{
    const struct lw_supply_reading *reading = profile->electrical.supply_reading;
    if (reading == NULL) {
        return NAN;
    }
    double k = reading->error_k > 0 ? reading->error_k : 2;
    double node = isfinite(reading->node_error_v) ? reading->node_error_v / k : 0;
    double kind = isfinite(reading->kind_error_v) ? reading->kind_error_v / k : 0;
    double step = isfinite(reading->step_v) ? reading->step_v / sqrt(12) : 0;
    return sqrt(node * node + kind * kind + step * step);
}

static int kind_index(const struct lw_plan *plan, const struct lw_profile *profile)
{
    const struct lw_profile *profiles = plan->profiles.items;
    return (int)(profile - profiles);
}

static struct lw_voltmeter meter_at(const struct lw_plan *plan, size_t tap, double volts)
{
    const struct lw_profile *profile = lw_plan_tap(plan, tap)->is;
    struct lw_voltmeter meter = {.volts = NAN, .kind = -1 - (int)tap};
    const struct lw_supply_reading *reading =
        profile != NULL ? profile->electrical.supply_reading : NULL;
    if (reading == NULL || !isfinite(volts)) {
        return meter;
    }
    double k = reading->error_k > 0 ? reading->error_k : 2;
    meter.volts = volts;
    meter.node_u_v = isfinite(reading->node_error_v) ? reading->node_error_v / k : 0;
    meter.kind_u_v = isfinite(reading->kind_error_v) ? reading->kind_error_v / k : 0;
    meter.step_v = isfinite(reading->step_v) ? reading->step_v : 0;
    meter.kind = kind_index(plan, profile);
    return meter;
}

static void put_beside(const struct lw_plan *plan, const struct lw_supply_measured *measured,
                       struct lw_supply_result *result)
{
    struct lw_supply_tap *taps = result->taps.items;
    result->measured_nodes = 0;
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_profile *profile = lw_plan_tap(plan, i + 1)->is;
        taps[i].measured_v = measured->volts[i];
        taps[i].measured_u_v =
            isfinite(measured->volts[i]) && profile != NULL ? meter_u(profile) : NAN;
        result->measured_nodes += isfinite(measured->volts[i]);
        if (isnan(taps[i].measured_v)) {
            taps[i].measured_v = taps[i].hand_v;
            taps[i].measured_u_v = taps[i].hand_u_v;
        }
    }
}

static bool all_currents_measured(const struct lw_supply_result *result)
{
    const struct lw_supply_supply *supplies = result->supplies.items;
    for (size_t i = 0; i < result->supplies.count; i++) {
        if (!(supplies[i].measured_a > 0)) {
            return false;
        }
    }
    return result->supplies.count > 0;
}

// Each fit takes one span alone as bad. Once a weak span is proved, the others' fits only mirror
// it; before, a fit says something where it is known better than to the planned resistance itself.
static bool fit_says_something(const struct lw_weak_span *weak, size_t index, double ohm_plan)
{
    if (weak->found) {
        return index >= weak->low && index <= weak->high;
    }
    return 1.6449 * weak->fits[index].u_ohm < ohm_plan;
}

static void keep_span(const struct lw_weak_span *weak, bool ohms, struct lw_supply_span *span)
{
    size_t index = (size_t)span->span - 1;
    const struct lw_span_fit *fit = &weak->fits[index];
    if (isnan(fit->u_ohm)) {
        return; // not seen; what was known before stays
    }
    span->ratio_to_plan = span->ohm_measured = span->ohm_u95 = NAN;
    span->smallest_visible_ohm = fit->smallest_visible_ohm;
    if (!isfinite(fit->extra_ohm) || !fit_says_something(weak, index, span->ohm_plan)) {
        return;
    }
    span->ratio_to_plan = fmax(span->ohm_plan + fit->extra_ohm, 0) / span->ohm_plan;
    if (ohms) {
        span->ohm_measured = span->ratio_to_plan * span->ohm_plan;
        span->ohm_u95 = 1.6449 * fit->u_ohm;
    }
}

static const char *rail_word(const struct lw_weak_span *weak, bool rails_apart)
{
    return !rails_apart ? NULL : weak->fits[weak->span].on_zero_v ? "zero_v" : "v_plus";
}

// A span that the load step does not see, beyond a cut, stays accused by what accused it.
static void keep_weak(const struct lw_weak_span *weak, bool rails_apart,
                      struct lw_supply_result *result)
{
    if (!weak->found && result->weak_span >= 2 &&
        isnan(weak->fits[(size_t)result->weak_span - 1].u_ohm)) {
        return;
    }
    free(result->weak_rail);
    result->weak_span = weak->found ? (double)weak->span + 1 : 0;
    result->weak_span_low = weak->found ? (double)weak->low + 1 : 0;
    result->weak_span_high = weak->found ? (double)weak->high + 1 : 0;
    result->weak_extra_ohm = weak->found ? weak->fits[weak->span].extra_ohm : NAN;
    result->weak_proved = weak->proved;
    result->weak_rail = weak->found ? lw_duplicate(rail_word(weak, rails_apart)) : NULL;
}

static void keep_others(const struct lw_weak_span *weak, struct lw_supply_result *result)
{
    const struct lw_supply_tap *taps = result->taps.items;
    if (weak->draw_found) {
        result->draw_node = lw_duplicate(taps[weak->draw_tap].node);
        result->draw_share = 1 + weak->draws[weak->draw_tap].extra_share;
    }
    if (weak->meter_found) {
        result->voltmeter_node = lw_duplicate(taps[weak->meter_tap].node);
        result->voltmeter_off_v = weak->meters[weak->meter_tap].offset_v;
    }
}

static void keep(const struct lw_weak_span *weak, const struct lw_supply_evidence *evidence,
                 struct lw_supply_result *result)
{
    struct lw_supply_span *spans = result->spans.items;
    bool ohms = all_currents_measured(result) || result->step_a > 0;
    for (size_t i = 0; i < result->spans.count; i++) {
        keep_span(weak, ohms, &spans[i]);
    }
    keep_weak(weak, evidence->rails_apart, result);
    keep_others(weak, result);
}

// A node that was asked and stayed silent is off, to begin with; one that was not asked is taken to
// run as computed.
static void fill_meters(const struct lw_plan *plan, const struct lw_supply_measured *measured,
                        bool stepped, const struct lw_supply_result *result,
                        struct lw_supply_evidence *evidence)
{
    const struct lw_supply_tap *taps = result->taps.items;
    // Each of the step's two pairs is the mean of as many readings again.
    double reads = LW_SUPPLY_READS * (stepped ? 2 : 1);
    for (size_t i = 0; i < result->taps.count; i++) {
        bool runs = measured->asked[i] ? measured->answered[i] : taps[i].on;
        evidence->states[i] = runs ? LW_LOAD_RUNNING : LW_LOAD_OFF;
        evidence->meters[i] =
            meter_at(plan, i + 1, stepped ? measured->step_v[i] : measured->volts[i]);
        evidence->meters[i].noise_u_v = measured->scatter_v / sqrt(reads);
    }
}

static void fill_sources(const struct lw_plan *plan, const struct lw_supply_result *result,
                         struct lw_supply_evidence *evidence)
{
    const struct lw_supply *planned = plan->supplies.items;
    const struct lw_supply_supply *supplies = result->supplies.items;
    for (size_t i = 0; i < plan->supplies.count; i++) {
        bool known = isfinite(supplies[i].measured_v);
        double half_width = planned[i].nominal_v * planned[i].tolerance_pct / 100;
        evidence->source_u_v[i] = known ? supplies[i].measured_u_v : half_width / sqrt(3);
        evidence->source_u_ohm[i] = source_u_ohm;
        if (known) {
            evidence->ladder.sources[i].volts = supplies[i].measured_v;
        }
    }
}

// Where the current of every supply was measured, all loads are what makes it; else as planned.
static void fill_draw(const struct lw_supply_result *result, struct lw_supply_evidence *evidence)
{
    const struct lw_supply_supply *supplies = result->supplies.items;
    double measured_a = 0, planned_a = 0, square = 0;
    evidence->draw_u = unmeasured_draw_u;
    for (size_t i = 0; i < result->supplies.count; i++) {
        measured_a += supplies[i].measured_a;
        planned_a += supplies[i].amps;
        square += supplies[i].measured_u_a * supplies[i].measured_u_a;
    }
    if (!all_currents_measured(result) || !(planned_a > 0)) {
        return;
    }
    double scale = measured_a / planned_a;
    for (size_t i = 0; i < evidence->ladder.tap_count; i++) {
        struct lw_load *load = &evidence->ladder.taps[i].load;
        load->value = load->kind == LW_LOAD_RESISTOR ? load->value / scale : load->value * scale;
    }
    evidence->draw_u = fmax(sqrt(square) / measured_a, 0.01);
}

static enum lw_status fill_probes(const struct lw_meter_file *hand,
                                  struct lw_supply_evidence *evidence, struct lw_error *error)
{
    enum lw_status status = lw_supply_probes(hand, &evidence->probes, error);
    const struct lw_probe *probes = evidence->probes.items;
    for (size_t i = 0; i < evidence->probes.count; i++) {
        evidence->rails_apart = evidence->rails_apart || probes[i].rail[0] == probes[i].rail[1];
    }
    return status;
}

void lw_supply_evidence_finish(struct lw_supply_evidence *evidence)
{
    lw_ladder_free(&evidence->ladder);
    free(evidence->states);
    free(evidence->meters);
    free(evidence->source_u_v);
    free(evidence->source_u_ohm);
    free(evidence->probes.items);
}

enum lw_status lw_supply_evidence_init(const struct lw_plan *plan,
                                       const struct lw_supply_measured *measured, bool stepped,
                                       const struct lw_supply_result *result,
                                       struct lw_supply_evidence *evidence, struct lw_error *error)
{
    size_t taps = result->taps.count;
    *evidence = (struct lw_supply_evidence){
        .step_a = stepped ? measured->step_a : 0,
        .states = calloc(taps + 1, sizeof *evidence->states),
        .meters = calloc(taps + 1, sizeof *evidence->meters),
        .source_u_v = calloc(plan->supplies.count + 1, sizeof *evidence->source_u_v),
        .source_u_ohm = calloc(plan->supplies.count + 1, sizeof *evidence->source_u_ohm),
    };
    if (evidence->states == NULL || evidence->meters == NULL || evidence->source_u_v == NULL ||
        evidence->source_u_ohm == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", taps);
    }
    enum lw_status status = lw_plan_ladder(plan, LW_LADDER_VERDICT, &evidence->ladder, error);
    if (status == LW_OK) {
        fill_meters(plan, measured, stepped, result, evidence);
        fill_sources(plan, result, evidence);
        fill_draw(result, evidence);
        // A load step is read by the nodes alone.
        status = fill_probes(stepped ? NULL : measured->hand, evidence, error);
    }
    return status;
}

static bool let_silent_wait(const struct lw_supply_measured *measured,
                            struct lw_supply_evidence *evidence)
{
    bool any = false;
    for (size_t i = 0; i < measured->tap_count; i++) {
        if (measured->asked[i] && !measured->answered[i]) {
            evidence->states[i] = LW_LOAD_WAITING;
            any = true;
        }
    }
    return any;
}

static enum lw_status find_span(const struct lw_supply_evidence *evidence,
                                struct lw_weak_span *weak, struct lw_error *error)
{
    const struct lw_weak_span_options options = {.source_u_v = evidence->source_u_v,
                                                 .source_u_ohm = evidence->source_u_ohm,
                                                 .draw_u = evidence->draw_u,
                                                 .conductor_u = LW_SUPPLY_CONDUCTOR_U,
                                                 .step_a = evidence->step_a,
                                                 .probes = evidence->probes.items,
                                                 .probe_count = evidence->probes.count};
    return lw_weak_span_find(&evidence->ladder, evidence->states, evidence->meters, &options, weak,
                             error);
}

static double left_over(const struct lw_weak_span *weak)
{
    return weak->chi2 - fmax(weak->fits[weak->span].chi2_gain, 0);
}

// A silent node is dead and draws nothing, or it waits for more volts and draws its start-up
// current: what explains the readings better is taken.
static enum lw_status find_better(const struct lw_supply_measured *measured,
                                  struct lw_supply_evidence *evidence, struct lw_weak_span *weak,
                                  struct lw_error *error)
{
    enum lw_status status = find_span(evidence, weak, error);
    struct lw_weak_span waiting = {0};
    if (status == LW_MEMORY || !let_silent_wait(measured, evidence) ||
        find_span(evidence, &waiting, NULL) != LW_OK) {
        return status;
    }
    if (status != LW_OK || left_over(&waiting) < left_over(weak)) {
        lw_weak_span_finish(weak);
        *weak = waiting;
        return LW_OK;
    }
    lw_weak_span_finish(&waiting);
    return status;
}

// What is there by one state, then by the load step, which decides wherever it sees.
static enum lw_status look_for_weak_span(const struct lw_plan *plan,
                                         const struct lw_supply_measured *measured, bool stepped,
                                         struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_supply_evidence evidence;
    struct lw_weak_span weak = {0};
    enum lw_status status =
        lw_supply_evidence_init(plan, measured, stepped, result, &evidence, error);
    if (status == LW_OK) {
        status = find_better(measured, &evidence, &weak, error);
    }
    if (status == LW_OK) {
        result->step_a = evidence.step_a;
        keep(&weak, &evidence, result);
    }
    if (status != LW_MEMORY && !stepped) {
        lw_supply_zero_v_ratio(plan, measured->hand, evidence.draw_u, result);
    }
    lw_weak_span_finish(&weak);
    lw_supply_evidence_finish(&evidence);
    return status;
}

enum lw_status lw_supply_judge(const struct lw_plan *plan,
                               const struct lw_supply_measured *measured,
                               struct lw_supply_result *result, struct lw_error *error)
{
    lw_supply_take_hand(plan, measured->hand, result);
    put_beside(plan, measured, result);
    enum lw_status status = look_for_weak_span(plan, measured, false, result, error);
    if (status != LW_MEMORY && measured->step_a > 0) {
        status = look_for_weak_span(plan, measured, true, result, error);
    }
    if (status != LW_MEMORY && measured->earlier_v != NULL) {
        status = lw_supply_since(plan, measured, result, error);
    }
    lw_supply_next(result);
    // Too few meters, or nothing to compare with: there is no answer about spans, which is no
    // error.
    return status == LW_USAGE || status == LW_GARBLED ? LW_OK : status;
}
