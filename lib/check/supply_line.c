// SPDX-License-Identifier: GPL-3.0-or-later
//
// The data pair beside the supply: unit loads, idle voltage, terminators, length, stubs and the
// cycle that the rate allows, from the plan alone. Repeaters and isolators part the pair into
// segments with receivers of their own; the fullest one is reported, and the idle voltage of the
// one that has the bias.
#include "check/supply_line.h"

#include "power/line_budget.h"
#include "site/registers.h"

enum { TERMINATIONS_MAX = 16, REPEATER = 1 };

// The controller and the tester: one unit load each, the most that TIA/EIA-485 grants a receiver.
static const double masters_unit_loads = 2;

// The slowest of the usual data cables, as a share of the speed of light (TI SLLA272: 0.66 to
// 0.78).
static const double slowest_cable = 0.66;

struct counted {
    double unit_loads; // NAN: some profile does not say
    double threshold_v;
    size_t first, last; // taps
};

// From the tap `from` up to the one before the next repeater or isolator.
static struct counted count_segment(const struct lw_plan *plan, size_t from)
{
    struct counted counted = {
        .unit_loads = masters_unit_loads, .threshold_v = -INFINITY, .first = from, .last = from};
    for (size_t tap = from; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (tap > from && entry->passive >= REPEATER) {
            break;
        }
        counted.last = tap;
        if (entry->is == NULL) {
            continue;
        }
        const struct lw_list *window = &entry->is->electrical.receiver_threshold_v;
        bool says = window->count == 2;
        counted.unit_loads += entry->is->electrical.unit_loads;
        counted.threshold_v =
            fmax(counted.threshold_v, says ? ((const double *)window->items)[1] : LW_THRESHOLD_V);
    }
    return counted;
}

static size_t terminators_in(const struct lw_plan *plan, const struct counted *counted,
                             double ohm[TERMINATIONS_MAX])
{
    const struct lw_termination *all = plan->line.terminations.items;
    size_t count = 0;
    for (size_t i = 0; i < plan->line.terminations.count && count < TERMINATIONS_MAX; i++) {
        size_t tap = lw_plan_at(plan, all[i].at);
        if (tap >= counted->first && tap <= counted->last) {
            ohm[count++] = all[i].ohm;
        }
    }
    return count;
}

static struct lw_line_load load_of(const struct lw_plan *plan, const struct counted *counted)
{
    double ohm[TERMINATIONS_MAX];
    struct lw_segment segment = {.unit_loads = counted->unit_loads, .terminator_ohm = ohm};
    struct lw_line_load load;
    segment.terminator_count = terminators_in(plan, counted, ohm);
    const struct lw_bias *bias = plan->line.bias;
    size_t at = bias != NULL ? lw_plan_at(plan, bias->at) : 0;
    if (at >= counted->first && at <= counted->last) {
        segment.bias_supply_v = bias->supply_v;
        segment.pull_up_ohm = bias->pull_up_ohm;
        segment.pull_down_ohm = bias->pull_down_ohm;
    }
    lw_line_load(&segment, counted->threshold_v, &load);
    return load;
}

static void add_segment(const struct lw_plan *plan, const struct counted *counted,
                        struct lw_supply_line *line)
{
    if (isnan(counted->unit_loads)) {
        return;
    }
    struct lw_line_load load = load_of(plan, counted);
    line->too_many_loads = line->too_many_loads || load.too_many_loads;
    line->driver_overloaded = line->driver_overloaded || load.driver_overloaded;
    line->unit_loads = fmax(line->unit_loads, counted->unit_loads);
    line->driver_ohm = fmin(line->driver_ohm, load.driver_ohm);
    if (load.idle_v != 0) {
        line->idle_v = load.idle_v;
        line->threshold_v = counted->threshold_v;
        line->idle_undefined = load.idle_undefined;
    }
}

static bool terminated_at(const struct lw_plan *plan, size_t tap)
{
    const struct lw_termination *all = plan->line.terminations.items;
    for (size_t i = 0; i < plan->line.terminations.count; i++) {
        if (lw_plan_at(plan, all[i].at) == tap) {
            return true;
        }
    }
    return false;
}

static void look_at_ends(const struct lw_plan *plan, struct lw_supply_line *line)
{
    line->terminators = plan->line.terminations.count;
    bool known = line->terminators > 0 && line->segments == 1 && lw_plan_taps(plan) > 1;
    line->terminated_wrong = known && (line->terminators != 2 || !terminated_at(plan, 1) ||
                                       !terminated_at(plan, lw_plan_taps(plan)));
}

static double length_of(const struct lw_plan *plan)
{
    double length_m = 0;
    if (isfinite(plan->line.length_m)) {
        return plan->line.length_m;
    }
    for (size_t tap = 2; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_span_spec *own = lw_plan_tap(plan, tap)->span;
        bool has_own = own != NULL && isfinite(own->length_m);
        length_m += has_own ? own->length_m : plan->span_default.length_m;
    }
    return length_m;
}

// One read of a node's own reading: address, function, register, count, check sum out; address,
// function, count of bytes, the registers, check sum back.
static struct lw_poll poll_of(const struct lw_profile *profile, double latency_ms)
{
    const struct lw_register *reading = lw_profile_register(profile, LW_ROLE_READING);
    size_t words = reading != NULL ? lw_register_words(reading) : 1;
    return (struct lw_poll){
        .request_bytes = 8, .reply_bytes = 5 + 2 * words, .latency_s = latency_ms / 1e3};
}

static void add_cycle(const struct lw_plan *plan, struct lw_supply_line *line)
{
    double rate = plan->framing.rate, bits = lw_framing_bits(&plan->framing);
    line->cycle_wire_s = line->cycle_slowest_s = 0;
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_profile *profile = lw_plan_tap(plan, tap)->is;
        if (profile == NULL) {
            continue;
        }
        struct lw_poll poll = poll_of(profile, 0);
        line->cycle_wire_s += lw_cycle_s(&poll, 1, rate, bits);
        poll = poll_of(profile, profile->timing.slowest_reply_ms);
        line->cycle_slowest_s += lw_cycle_s(&poll, 1, rate, bits);
    }
}

void lw_supply_line(const struct lw_plan *plan, struct lw_supply_line *line)
{
    double rate = plan->framing.rate;
    *line = (struct lw_supply_line){
        .unit_loads = NAN,
        .idle_v = NAN,
        .driver_ohm = NAN,
        .length_m = length_of(plan),
        .usual_m = lw_longest_line_m(rate, LW_LENGTH_RATE_USUAL),
        .careful_m = lw_longest_line_m(rate, LW_LENGTH_RATE_CAREFUL),
        .stub_m = plan->line.longest_stub_m,
        .longest_stub_m = lw_longest_stub_m(lw_slowest_rise_s(rate), slowest_cable),
    };
    for (size_t tap = 1; tap <= lw_plan_taps(plan);) {
        struct counted counted = count_segment(plan, tap);
        tap = counted.last + 1;
        line->segments++;
        add_segment(plan, &counted, line);
    }
    look_at_ends(plan, line);
    add_cycle(plan, line);
}

void lw_supply_line_result(const struct lw_plan *plan, struct lw_supply_result *result)
{
    struct lw_supply_line line;
    lw_supply_line(plan, &line);
    result->unit_loads = line.unit_loads;
    result->idle_v = line.idle_v;
    result->driver_ohm = line.driver_ohm;
    result->cycle_wire_ms = line.cycle_wire_s * 1e3;
    result->cycle_slowest_ms = line.cycle_slowest_s * 1e3;
}
