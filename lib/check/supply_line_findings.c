// SPDX-License-Identifier: GPL-3.0-or-later
//
// What to say about the data pair. Rules of thumb are called so: sources differ by a factor of ten,
// and only linewalk link proves a line.
#include "check/supply_line.h"

#include "power/line_budget.h"

struct said {
    const struct lw_supply_line *line;
    struct lw_findings *findings;
};

static void put(struct lw_finding *finding, double value, double limit, const char *unit)
{
    if (finding != NULL) {
        finding->value = value;
        finding->limit = limit;
        finding->unit = lw_duplicate(unit);
    }
}

static void say_unit_loads(const struct said *said)
{
    bool biased = isfinite(said->line->idle_v);
    double room = LW_MOST_UNIT_LOADS - (biased ? LW_BIAS_COSTS_NODES : 0);
    put(lw_findings_add(said->findings, "supply_unit_loads", LW_ATTENTION,
                        "the data pair carries %.1f unit loads, allowed are %.0f%s",
                        said->line->unit_loads, room, biased ? " with a bias on it" : ""),
        said->line->unit_loads, room, "1");
}

static void say_idle(const struct said *said)
{
    put(lw_findings_add(said->findings, "supply_bias_low", LW_ATTENTION,
                        "with nobody sending the pair has %.2f V, some receivers need %.2f V",
                        said->line->idle_v, said->line->threshold_v),
        said->line->idle_v, said->line->threshold_v, "V");
}

static void say_driver(const struct said *said)
{
    put(lw_findings_add(said->findings, "supply_driver_load", LW_ATTENTION,
                        "a driver sees %.0f ohm on the pair, drivers are tested at %.0f ohm",
                        said->line->driver_ohm, LW_TEST_LOAD_OHM),
        said->line->driver_ohm, LW_TEST_LOAD_OHM, "ohm");
}

static void say_terminations(const struct said *said)
{
    put(lw_findings_add(said->findings, "supply_terminations", LW_ATTENTION,
                        "the plan has %zu terminator%s on the pair%s: it wants two, one at each "
                        "end",
                        said->line->terminators, said->line->terminators == 1 ? "" : "s",
                        said->line->terminators == 2 ? ", not at its ends" : ""),
        (double)said->line->terminators, 2, "1");
}

static void say_length(const struct said *said)
{
    struct lw_finding *finding =
        lw_findings_add(said->findings, "supply_line_long", LW_ATTENTION,
                        "the pair is %.0f m long; a rule of thumb allows %.0f m at this rate",
                        said->line->length_m, said->line->usual_m);
    lw_finding_because(said->findings, finding,
                       "length times rate up to 1e8 m bit/s; careful sources take a tenth of it, "
                       "%.0f m",
                       said->line->careful_m);
    put(finding, said->line->length_m, said->line->usual_m, "m");
}

static void say_stub(const struct said *said)
{
    struct lw_finding *finding =
        lw_findings_add(said->findings, "supply_stub_long", LW_ATTENTION,
                        "a stub of %.1f m; a rule of thumb allows %.1f m at this rate",
                        said->line->stub_m, said->line->longest_stub_m);
    lw_finding_because(said->findings, finding,
                       "a tenth of the rise time, with the slowest edges that the rate allows; "
                       "drivers with faster edges allow less");
    put(finding, said->line->stub_m, said->line->longest_stub_m, "m");
}

static void say_cycle(const struct said *said, double wanted_ms)
{
    double wire_ms = said->line->cycle_wire_s * 1e3;
    double slowest_ms = said->line->cycle_slowest_s * 1e3;
    struct lw_finding *finding = NULL;
    if (wire_ms > wanted_ms) {
        finding = lw_findings_add(said->findings, "supply_cycle", LW_FAIL,
                                  "one reading of each node takes at least %.0f ms at this rate, "
                                  "wanted are %.0f ms",
                                  wire_ms, wanted_ms);
        put(finding, wire_ms, wanted_ms, "ms");
    } else if (slowest_ms > wanted_ms) {
        finding = lw_findings_add(said->findings, "supply_cycle", LW_ATTENTION,
                                  "one reading of each node takes up to %.0f ms when the nodes are "
                                  "as slow as they may be, wanted are %.0f ms",
                                  slowest_ms, wanted_ms);
        put(finding, slowest_ms, wanted_ms, "ms");
    }
}

// What is left of the receivers' common mode where 0 V differs most, inside the segment that begins
// at `from` (index); *next is where the next one begins.
static double segment_rise_v(const struct lw_plan *plan, const struct lw_supply_result *result,
                             size_t from, size_t *next)
{
    const struct lw_supply_tap *taps = result->taps.items;
    double low_v = taps[from].zero_rise_v, high_v = low_v;
    size_t i = from + 1;
    for (; i < result->taps.count && lw_plan_tap(plan, i + 1)->passive < 1; i++) {
        low_v = fmin(low_v, taps[i].zero_rise_v);
        high_v = fmax(high_v, taps[i].zero_rise_v);
    }
    *next = i;
    return high_v - low_v;
}

static void say_rise(const struct said *said, const struct lw_plan *plan,
                     const struct lw_supply_result *result)
{
    double most_v = 0;
    for (size_t i = 0; i < result->taps.count;) {
        most_v = fmax(most_v, segment_rise_v(plan, result, i, &i));
    }
    double margin_v = lw_common_mode_margin_v(most_v);
    if (margin_v < 0) {
        struct lw_finding *finding = lw_findings_add(
            said->findings, "supply_zero_v_rise", LW_FAIL,
            "0 V differs by %.1f V along the pair: receivers leave their range of %.0f to %+.0f V",
            most_v, LW_RECEIVER_LOW_V, LW_RECEIVER_HIGH_V);
        put(finding, most_v, most_v + margin_v, "V");
    }
}

void lw_supply_line_findings(const struct lw_plan *plan, const struct lw_supply_result *result,
                             struct lw_findings *findings)
{
    struct lw_supply_line line;
    const struct said said = {.line = &line, .findings = findings};
    lw_supply_line(plan, &line);
    if (line.too_many_loads) {
        say_unit_loads(&said);
    }
    if (line.idle_undefined) {
        say_idle(&said);
    }
    if (line.driver_overloaded) {
        say_driver(&said);
    }
    if (line.terminated_wrong) {
        say_terminations(&said);
    }
    if (line.length_m > line.usual_m) {
        say_length(&said);
    }
    if (line.stub_m > line.longest_stub_m) {
        say_stub(&said);
    }
    say_cycle(&said, plan->line.wanted_cycle_ms);
    say_rise(&said, plan, result);
}
