// SPDX-License-Identifier: GPL-3.0-or-later
//
// How the pair itself spoils bits. A wave rings between the sending driver and an end without its
// terminator; what is left of it in the middle of a bit eats into the margin above the receiver's
// threshold, and noise does the rest. On a short line the ring is over long before, and nothing
// happens, as in life.
#include "chain/inside.h"

#include <assert.h>

// Twisted pair of 120 ohm; delay and loss (at 1 MHz, growing with the root of the frequency) of
// common data cable with 0.2 mm2 strands (common practice).
static const double wave_ohm = 120, delay_s_per_m = 5e-9, loss_db_per_m = 0.02;
static const double loop_ohm_per_m = 0.168;
static const double driver_v = 2.0, driver_ohm = 30; // a driver in the middle of what is allowed
static const double threshold_v = 0.2;               // TIA/EIA-485
static const double noise_v = 0.05;                  // on a driven pair in a machine hall (assumed)
static const double idle_noise_v = 0.03, hysteresis_v = 0.07; // on the quiet pair (assumed)
static const double unit_load_ohm = 12000;                    // TIA/EIA-485

enum { HEAD, TAIL };

static double parallel(double a, double b)
{
    return isinf(a) ? b : isinf(b) ? a : a * b / (a + b);
}

static double span_length_m(const struct lw_plan *plan, size_t tap)
{
    const struct lw_chain_entry *entry = (const struct lw_chain_entry *)plan->chain.items + tap;
    double length_m = entry->span ? entry->span->length_m : NAN;
    length_m = isnan(length_m) ? plan->span_default.length_m : length_m;
    return isnan(length_m) ? 0 : length_m;
}

static size_t place_of(const struct lw_chain *chain, size_t tap)
{
    bool at_tail = chain->plan->line.tester_at == LW_TAP_TAIL;
    return tap == 0 && at_tail ? chain->tap_count + 1 : tap;
}

static double noisy_spans(const struct lw_chain *chain, size_t from, size_t to, int64_t now_ns)
{
    size_t low = from < to ? from : to, high = from < to ? to : from;
    double right = 1;
    for (size_t i = 0; i < lw_fault_count(chain); i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        bool between = fault->span > (int)low && fault->span <= (int)high;
        if (fault->kind == LW_FAULT_NOISY_SPAN && between && lw_fault_now(fault, now_ns)) {
            right *= 1 - fault->bit_error_rate;
        }
    }
    return 1 - right;
}

// What is left in the middle of a bit of the wave between the driver and that end.
static double ringing(const struct lw_chain *chain, int end, double distance_m, double bit_s)
{
    double ohm = chain->copper.end_ohm[end];
    double mirror = isinf(ohm) ? 1 : (ohm - wave_ohm) / (ohm + wave_ohm);
    double source = (wave_ohm - driver_ohm) / (wave_ohm + driver_ohm);
    double loss_db = 2 * distance_m * loss_db_per_m * sqrt(0.5e-6 / bit_s); // a half wave a bit
    double kept = fabs(mirror) * source * pow(10, -loss_db / 20);
    double trips = bit_s / 2 / (2 * fmax(distance_m, 0.01) * delay_s_per_m);
    return kept > 0 ? pow(kept, trips) : 0;
}

static double ring_errors(const struct lw_chain *chain, size_t from, size_t to, int rate)
{
    const struct lw_copper *copper = &chain->copper;
    double end_m = copper->position_m[chain->tap_count + 1];
    double at_m = copper->position_m[from];
    double left = ringing(chain, HEAD, at_m, 1.0 / rate);
    left = fmax(left, ringing(chain, TAIL, end_m - at_m, 1.0 / rate));
    double load_ohm = parallel(copper->end_ohm[HEAD], copper->end_ohm[TAIL]);
    double way_ohm = loop_ohm_per_m * fabs(copper->position_m[to] - at_m);
    double share = isinf(load_ohm) ? 1 : load_ohm / (load_ohm + way_ohm);
    double margin_v = driver_v * share * (1 - 2 * left) - threshold_v;
    return 0.5 * erfc(margin_v / noise_v / sqrt(2));
}

static const double least_rate = 1e-12; // less is never seen

// Whether waves can hurt anybody at that rate. Asked for every frame, so the answer is kept.
static bool rings_at(struct lw_chain *chain, int rate)
{
    struct lw_copper *copper = &chain->copper;
    if (copper->judged_rate != rate) {
        size_t end = chain->tap_count + 1;
        double worst = 0;
        for (size_t from = 0; from <= end; from++) {
            worst = fmax(worst, ring_errors(chain, from, 0, rate));
            worst = fmax(worst, ring_errors(chain, from, end, rate));
        }
        copper->judged_rate = rate;
        copper->rings = worst >= least_rate;
    }
    return copper->rings;
}

static double bit_error_rate(void *user, size_t from_tap, size_t to_tap, int64_t now_ns,
                             const struct lw_framing *framing)
{
    struct lw_chain *chain = user;
    bool rings = rings_at(chain, framing->rate);
    if (!rings && !chain->copper.noisy) {
        return 0;
    }
    size_t from = place_of(chain, from_tap), to = place_of(chain, to_tap);
    double noisy = noisy_spans(chain, from, to, now_ns);
    double ring = rings ? ring_errors(chain, from, to, framing->rate) : 0;
    double rate = 1 - (1 - noisy) * (1 - ring);
    return rate < least_rate ? 0 : fmin(rate, 0.5);
}

static double start_missed(void *user, size_t to_tap, int64_t now_ns)
{
    (void)now_ns;
    const struct lw_chain *chain = user;
    if (chain->copper.idle_is_sure || to_tap == 0 || to_tap > chain->tap_count) {
        return 0; // the tester's own receiver is a fail-safe one
    }
    const struct lw_node *node = &chain->nodes[to_tap - 1];
    const struct lw_list *window = &node->profile->electrical.receiver_threshold_v;
    if (window->count != 2) {
        return 0;
    }
    const double *ends = window->items;
    struct lw_random key = {chain->seed, node->module_key, LW_FOR_THRESHOLD};
    double own_v = (ends[0] + ends[1]) / 2 + (ends[1] - ends[0]) / 12 * lw_random_normal(key, 0);
    double falls_v = fmin(own_v, ends[1]) - hysteresis_v / 2;
    return 0.5 * erfc((chain->copper.idle_v - falls_v) / idle_noise_v / sqrt(2));
}

static bool echoes(void *user, int64_t now_ns)
{
    (void)now_ns;
    return ((const struct lw_chain *)user)->copper.echoing;
}

static int end_of(const struct lw_chain *chain, int at)
{
    size_t tap = lw_plan_at(chain->plan, at);
    return tap <= 1 ? HEAD : tap == chain->tap_count ? TAIL : -1;
}

// The plan's terminators. A plan that names none makes no claim: both ends are taken as matched.
static void terminate(struct lw_chain *chain)
{
    const struct lw_list *list = &chain->plan->line.terminations;
    for (int end = HEAD; end <= TAIL; end++) {
        chain->copper.end_ohm[end] = list->count == 0 ? wave_ohm : INFINITY;
    }
    for (size_t i = 0; i < list->count; i++) {
        const struct lw_termination *one = (const struct lw_termination *)list->items + i;
        int end = end_of(chain, one->at);
        if (end >= 0) {
            double *ohm = &chain->copper.end_ohm[end];
            *ohm = parallel(*ohm, one->ohm > 0 ? one->ohm : wave_ohm);
        }
    }
}

static double idle_volts(const struct lw_chain *chain)
{
    const struct lw_bias *bias = chain->plan->line.bias;
    double pair_ohm = parallel(chain->copper.end_ohm[HEAD], chain->copper.end_ohm[TAIL]);
    for (size_t i = 0; i < chain->tap_count; i++) {
        const struct lw_profile *profile = chain->nodes[i].profile;
        double loads = profile ? profile->electrical.unit_loads : NAN;
        pair_ohm = loads > 0 ? parallel(pair_ohm, unit_load_ohm / loads) : pair_ohm;
    }
    if (isinf(pair_ohm)) {
        return bias->supply_v;
    }
    return bias->supply_v * pair_ohm / (pair_ohm + bias->pull_up_ohm + bias->pull_down_ohm);
}

void lw_copper_faults(struct lw_chain *chain, int64_t now_ns)
{
    struct lw_copper *copper = &chain->copper;
    bool noisy = false, lost = false;
    terminate(chain);
    copper->echoing = false;
    for (size_t i = 0; i < lw_fault_count(chain); i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        if (!lw_fault_now(fault, now_ns)) {
            continue;
        }
        noisy |= fault->kind == LW_FAULT_NOISY_SPAN;
        lost |= fault->kind == LW_FAULT_LOST_BIAS;
        copper->echoing |= fault->kind == LW_FAULT_ECHOING_ADAPTER;
        int end = fault->kind == LW_FAULT_MISSING_TERMINATOR ? end_of(chain, fault->at) : -1;
        if (end >= 0) {
            copper->end_ohm[end] = INFINITY;
        }
    }
    copper->idle_is_sure = !lost && !chain->plan->line.bias; // no claim: taken as enough
    copper->idle_v = !lost && chain->plan->line.bias ? idle_volts(chain) : 0;
    copper->noisy = noisy;
    copper->judged_rate = 0;
}

enum lw_status lw_copper_init(struct lw_chain *chain, struct lw_error *error)
{
    struct lw_copper *copper = &chain->copper;
    copper->position_m = calloc(chain->tap_count + 2, sizeof(double));
    if (!copper->position_m) {
        return lw_fail(error, LW_MEMORY, "no memory for the copper of a virtual chain");
    }
    for (size_t i = 0; i < chain->tap_count; i++) {
        copper->position_m[i + 1] = copper->position_m[i] + span_length_m(chain->plan, i);
    }
    copper->position_m[chain->tap_count + 1] = copper->position_m[chain->tap_count];
    struct lw_wire_medium medium = {chain, bit_error_rate, start_missed, echoes};
    lw_wire_medium(chain->wire, &medium);
    return LW_OK;
}

void lw_copper_finish(struct lw_chain *chain)
{
    free(chain->copper.position_m);
}
