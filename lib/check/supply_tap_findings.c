// SPDX-License-Identifier: GPL-3.0-or-later
//
// What to say about the voltages of the taps. Neighbours with the same trouble share one finding
// that names them, so that a starved tail of forty nodes is one sentence and not forty.
#include "base/words.h"
#include "check/supply_inside.h"
#include "stats/decide.h"

enum { NAMES_SPELT_OUT = 8 };

enum tap_trouble {
    FINE,
    STARVED,            // computed: does not run
    RESETS,             // computed: went off and sees its start voltage again
    UNDER_MINIMUM,      // computed
    LITTLE_MARGIN,      // computed
    WORST_CASE,         // only at the tolerances' end
    WORST_OFF,          // the same: goes off there
    OVER_MAXIMUM,       // computed
    HIGH_UNLOADED,      // only with nobody drawing and the supply at its upper end
    TRAPPED,            // stays off after a cold start
    DIP_TRAPPED,        // stays off after a dip alone
    MEASURED_UNDER,     // proved by its voltmeter
    MEASURED_OPEN,      // its voltmeter cannot decide
    SILENT_AND_STARVED, // does not answer, and its neighbour has too little
    SILENT_BEYOND       // does not answer, and no reading beyond it bounds its voltage
};

// As the ladder has it.
static double start_v(const struct lw_supply_judged *judged, size_t index)
{
    const struct lw_electrical *has = &lw_plan_tap(judged->plan, index + 1)->is->electrical;
    return fmax(has->start_v, fmax(isnan(has->start_v) ? has->minimum_v : 0, has->drop_out_v));
}

static enum tap_trouble computed_trouble(const struct lw_supply_judged *judged, size_t index)
{
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, index);
    double margin_v = lw_plan_limits(judged->plan, index + 1).margin_v;
    if (!tap->on) {
        return tap->volts >= start_v(judged, index) ? RESETS : STARVED;
    }
    if (tap->volts < tap->minimum_v) {
        return UNDER_MINIMUM;
    }
    if (tap->volts > tap->maximum_v) {
        return OVER_MAXIMUM;
    }
    if (tap->volts < tap->minimum_v + margin_v) {
        return LITTLE_MARGIN;
    }
    // Where the plan as it is does not stand, its tolerances are no news.
    if (judged->result->operating_point && !tap->worst_on) {
        return WORST_OFF;
    }
    if (judged->result->operating_point && tap->worst_volts < tap->minimum_v) {
        return WORST_CASE;
    }
    return tap->highest_v > tap->maximum_v ? HIGH_UNLOADED : FINE;
}

static enum tap_trouble start_trouble(const struct lw_supply_judged *judged, size_t index)
{
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, index);
    if (tap->on && !tap->cold_on) {
        return TRAPPED;
    }
    return tap->on && !tap->dip_on ? DIP_TRAPPED : FINE;
}

static bool cut_between(const struct lw_supply *supplies, size_t count, int low, int high)
{
    for (size_t i = 0; i < count; i++) {
        if (supplies[i].cuts_before != 0 && supplies[i].feeds_tap > low &&
            supplies[i].feeds_tap <= high) {
            return true;
        }
    }
    return false;
}

static bool same_section(const struct lw_supply_judged *judged, size_t a, size_t b)
{
    size_t low = a < b ? a : b, high = a < b ? b : a;
    return !cut_between(judged->plan->supplies.items, judged->plan->supplies.count, (int)low + 1,
                        (int)high + 1);
}

// The nearest reading in the same section, towards the head if there is one: what a silent node's
// supply is like. The count of taps when there is none.
static size_t reading_near(const struct lw_supply_judged *judged, size_t index)
{
    size_t count = judged->result->taps.count;
    for (size_t i = index; i-- > 0 && same_section(judged, i, index);) {
        if (isfinite(lw_supply_tap_at(judged, i)->measured_v)) {
            return i;
        }
    }
    for (size_t i = index + 1; i < count && same_section(judged, index, i); i++) {
        if (isfinite(lw_supply_tap_at(judged, i)->measured_v)) {
            return i;
        }
    }
    return count;
}

static double volts_near(const struct lw_supply_judged *judged, size_t index)
{
    size_t at = reading_near(judged, index);
    return at < judged->result->taps.count ? lw_supply_tap_at(judged, at)->measured_v : NAN;
}

static bool is_silent(const struct lw_supply_judged *judged, size_t index)
{
    return lw_supply_tap_at(judged, index)->node != NULL && judged->measured->asked[index] &&
           !judged->measured->answered[index];
}

// Where the last reading before a silent node is below what is wanted there, its supply explains
// the silence. Nodes of different kinds start at different voltages; in a row of silent nodes one
// that starves speaks for the row.
static double wanted_v(const struct lw_supply_judged *judged, size_t index)
{
    const struct lw_profile *profile = lw_plan_tap(judged->plan, index + 1)->is;
    double minimum_v = fmax(profile->electrical.start_v, profile->electrical.minimum_v);
    return minimum_v + lw_plan_limits(judged->plan, index + 1).margin_v;
}

static size_t row_first(const struct lw_supply_judged *judged, size_t index)
{
    size_t first = index;
    while (first > 0 && is_silent(judged, first - 1) && same_section(judged, first - 1, index)) {
        first--;
    }
    return first;
}

static bool row_starves(const struct lw_supply_judged *judged, size_t index)
{
    size_t first = row_first(judged, index), count = judged->result->taps.count;
    for (size_t i = first; i < count && is_silent(judged, i) && same_section(judged, index, i);
         i++) {
        if (volts_near(judged, i) < wanted_v(judged, i)) {
            return true;
        }
    }
    return false;
}

static bool is_read(const struct lw_supply_judged *judged, size_t index)
{
    return isfinite(lw_supply_tap_at(judged, index)->measured_v);
}

// Readings on both sides bound the voltage of the silent nodes between them, and one node that is
// dead at the end of a section is not the supply's business. A silent section or tail may be one
// that is not fed.
static bool row_is_unbounded(const struct lw_supply_judged *judged, size_t index)
{
    size_t first = row_first(judged, index), last = index, count = judged->result->taps.count;
    while (last + 1 < count && is_silent(judged, last + 1) &&
           same_section(judged, index, last + 1)) {
        last++;
    }
    bool before = false, after = false;
    for (size_t i = first; i-- > 0 && same_section(judged, i, index);) {
        before = before || is_read(judged, i);
    }
    for (size_t i = last + 1; i < count && same_section(judged, index, i); i++) {
        after = after || is_read(judged, i);
    }
    return before || after ? last > first && !(before && after) : true;
}

static enum tap_trouble silent_trouble(const struct lw_supply_judged *judged, size_t index)
{
    if (row_starves(judged, index)) {
        return SILENT_AND_STARVED;
    }
    return judged->result->measured_nodes >= 1 && row_is_unbounded(judged, index) ? SILENT_BEYOND
                                                                                  : FINE;
}

static enum tap_trouble measured_trouble(const struct lw_supply_judged *judged, size_t index)
{
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, index);
    bool asked = judged->measured != NULL && judged->measured->asked[index];
    if (judged->measured == NULL || (!asked && isnan(tap->hand_v))) {
        return FINE;
    }
    if (asked && !judged->measured->answered[index] && isnan(tap->hand_v)) {
        return silent_trouble(judged, index);
    }
    struct lw_decided decided;
    if (!isfinite(tap->measured_v) || !isfinite(tap->minimum_v) || !(tap->measured_u_v > 0) ||
        lw_decide_value(-tap->measured_v, tap->measured_u_v, INFINITY, -tap->minimum_v,
                        judged->together, &decided, NULL) != LW_OK) {
        return FINE;
    }
    if (decided.decision == LW_LIMIT_BROKEN) {
        return MEASURED_UNDER;
    }
    return decided.decision == LW_LIMIT_OPEN ? MEASURED_OPEN : FINE;
}

// "P19, P20 and P21", or "P03 to P24 (22 nodes)".
static void names_of(const struct lw_supply_judged *judged, size_t first, size_t last,
                     struct lw_text *text)
{
    size_t count = last - first + 1;
    if (count > NAMES_SPELT_OUT) {
        lw_text_add(text, N_("%s to %s (%zu nodes)"), lw_supply_tap_at(judged, first)->node,
                    lw_supply_tap_at(judged, last)->node, count);
        return;
    }
    struct lw_text before = {0};
    for (size_t i = first; i < last; i++) {
        lw_text_add(&before, "%s%s", i == first ? "" : ", ", lw_supply_tap_at(judged, i)->node);
    }
    if (before.length > 0) {
        lw_text_add(text, N_("%s and %s"), before.bytes, lw_supply_tap_at(judged, last)->node);
    } else {
        lw_text_add(text, "%s", lw_supply_tap_at(judged, last)->node);
    }
    text->failed = text->failed || before.failed;
    lw_text_finish(&before);
}

static const struct {
    const char *code;
    enum lw_verdict severity;
    const char *says; // behind the names and a colon
} rows[] = {
    [STARVED] = {"supply_starved", LW_FAIL, N_("too little voltage to run, as planned")},
    [RESETS] =
        {"supply_resets_in_turn", LW_FAIL,
         N_("would start, go off with the others on, see their start voltage and start again, in "
            "turn")},
    [UNDER_MINIMUM] = {"supply_under_minimum", LW_FAIL, N_("below the minimum, as planned")},
    [LITTLE_MARGIN] = {"supply_margin", LW_ATTENTION, N_("little above the minimum, as planned")},
    [WORST_CASE] = {"supply_worst_case", LW_ATTENTION,
                    N_("below the minimum with all tolerances at their bad end")},
    [WORST_OFF] = {"supply_worst_case", LW_ATTENTION,
                   N_("would go off with all tolerances at their bad end")},
    [OVER_MAXIMUM] = {"supply_over_maximum", LW_FAIL, N_("above the maximum, as planned")},
    [HIGH_UNLOADED] =
        {"supply_over_maximum", LW_ATTENTION,
         N_("above the maximum when nobody draws and the supply is at its upper end")},
    [DIP_TRAPPED] = {"supply_dip_trap", LW_ATTENTION,
                     N_("would stay off after a short dip of the supply")},
    [TRAPPED] = {"supply_cold_start_trap", LW_ATTENTION, N_("may stay off after switching on")},
    [MEASURED_UNDER] = {"supply_under_minimum", LW_FAIL, N_("measured below the minimum")},
    [MEASURED_OPEN] = {"supply_margin", LW_UNDECIDED,
                       N_("measured so near the minimum that the voltmeters cannot decide")},
    [SILENT_AND_STARVED] = {"supply_starved", LW_FAIL,
                            N_("no answer, and too little voltage to run")},
    [SILENT_BEYOND] = {"supply_not_measured", LW_NOT_TESTED,
                       N_("no answer: the voltage there is computed, not measured")},
};

static double value_of(const struct lw_supply_judged *judged, enum tap_trouble trouble,
                       size_t index)
{
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, index);
    switch (trouble) {
    case MEASURED_UNDER:
    case MEASURED_OPEN:
        return tap->measured_v;
    case SILENT_AND_STARVED:
        return volts_near(judged, index);
    case SILENT_BEYOND:
        return NAN;
    case WORST_CASE:
    case WORST_OFF:
        return tap->worst_volts;
    case HIGH_UNLOADED:
        return tap->highest_v;
    case TRAPPED:
        return tap->cold_volts;
    case DIP_TRAPPED:
        return tap->dip_volts;
    case FINE:
    case STARVED:
    case RESETS:
    case UNDER_MINIMUM:
    case LITTLE_MARGIN:
    case OVER_MAXIMUM:
        break;
    }
    return tap->volts;
}

static bool is_too_high(enum tap_trouble trouble)
{
    return trouble == OVER_MAXIMUM || trouble == HIGH_UNLOADED;
}

// The tap of the run with the worst value.
static size_t worst_of(const struct lw_supply_judged *judged, enum tap_trouble trouble,
                       size_t first, size_t last)
{
    size_t worst = first;
    double sign = is_too_high(trouble) ? -1 : 1;
    for (size_t i = first + 1; i <= last; i++) {
        if (sign * value_of(judged, trouble, i) < sign * value_of(judged, trouble, worst)) {
            worst = i;
        }
    }
    return worst;
}

static void because_of_neighbour(const struct lw_supply_judged *judged, struct lw_finding *finding,
                                 size_t index)
{
    size_t near = reading_near(judged, index);
    if (near < judged->result->taps.count) {
        lw_finding_because(judged->findings, finding,
                           "%s, the nearest that answers, measures %.2f V; %s needs %.2f V to "
                           "start, and a margin",
                           lw_supply_tap_at(judged, near)->node,
                           lw_supply_tap_at(judged, near)->measured_v,
                           lw_supply_tap_at(judged, index)->node,
                           lw_plan_tap(judged->plan, index + 1)->is->electrical.start_v);
    }
}

static void because_of_worst_case(const struct lw_supply_judged *judged, struct lw_finding *finding,
                                  size_t index)
{
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, index);
    const char *kind = judged->result->worst_kind;
    if (kind != NULL && strcmp(kind, "exact") != 0) {
        lw_finding_because(judged->findings, finding, "%s",
                           strcmp(kind, "bound") == 0
                               ? N_("the worst case is a bound: perhaps nothing comes as low")
                               : N_("the worst case is an estimate: another combination may give a "
                                    "little less"));
    }
    if (isfinite(tap->under_probability)) {
        lw_finding_because(judged->findings, finding,
                           "of %.0f draws of all tolerances %.3g %% have %s below its minimum (95 "
                           "%% interval %.3g to %.3g %%)",
                           judged->result->draws, 100 * tap->under_probability, tap->node,
                           100 * tap->under_low, 100 * tap->under_high);
    }
}

// What a supply does while the nodes of a cold chain wait for their start voltage.
static void because_of_rush(const struct lw_supply_judged *judged, struct lw_finding *finding,
                            const struct lw_supply_supply *supply, int past_limit)
{
    const char *name = supply->name != NULL ? supply->name : "a supply";
    if (supply->cold_mode == NULL) {
        return;
    }
    if (strcmp(supply->cold_mode, "off") == 0) {
        lw_finding_because(judged->findings, finding,
                           "%s shuts itself down at the rush of switching on", name);
    } else if (strcmp(supply->cold_mode, "limited") == 0 && past_limit == LW_FOLD_BACK) {
        lw_finding_because(judged->findings, finding,
                           "%s folds back: it gives %.2f A of its %.2f A, and the nodes that wait "
                           "keep it there",
                           name, supply->cold_amps, supply->limit_a);
    } else if (strcmp(supply->cold_mode, "limited") == 0) {
        lw_finding_because(judged->findings, finding,
                           "%s is held at its %.2f A by the nodes that wait and draw what they "
                           "start with",
                           name, supply->limit_a);
    }
}

static void because_of_start(const struct lw_supply_judged *judged, struct lw_finding *finding,
                             enum tap_trouble trouble, size_t index)
{
    const struct lw_supply_supply *supplies = judged->result->supplies.items;
    const struct lw_supply *planned = judged->plan->supplies.items;
    lw_finding_because(judged->findings, finding, "%s waits at %.2f V and starts at %.2f V",
                       lw_supply_tap_at(judged, index)->node, finding->value, finding->limit);
    for (size_t s = 0; trouble == TRAPPED && s < judged->result->supplies.count; s++) {
        because_of_rush(judged, finding, &supplies[s], planned[s].past_limit);
    }
    if (judged->result->start_unsettled) {
        lw_finding_because(judged->findings, finding,
                           "the search for who hangs at which voltage found no rest: read it as "
                           "likely, not as computed");
    }
    lw_finding_because(judged->findings, finding,
                       "a static bound: only a power cycle proves it (linewalk restart)");
}

static void because_of_volts(const struct lw_supply_judged *judged, struct lw_finding *finding,
                             enum tap_trouble trouble, size_t index)
{
    const char *node = lw_supply_tap_at(judged, index)->node;
    if (trouble == SILENT_AND_STARVED) {
        because_of_neighbour(judged, finding, index);
    } else if (trouble == TRAPPED || trouble == DIP_TRAPPED) {
        because_of_start(judged, finding, trouble, index);
    } else if (trouble == RESETS) {
        lw_finding_because(judged->findings, finding,
                           "once off, %s would see %.2f V, and it starts at %.2f V", node,
                           finding->value, finding->limit);
    } else if (trouble == SILENT_BEYOND) {
        lw_finding_because(judged->findings, finding,
                           "no voltmeter that answers stands beyond %s in its section: it may be "
                           "without supply",
                           node);
    } else if (trouble == LITTLE_MARGIN) {
        lw_finding_because(
            judged->findings, finding, "%s: %.2f V, it needs %.2f V and is to have %.2f V more",
            node, finding->value, finding->limit, lw_plan_limits(judged->plan, index + 1).margin_v);
    } else if (trouble != WORST_OFF) {
        lw_finding_because(judged->findings, finding, "%s: %.2f V, %s %.2f V", node, finding->value,
                           is_too_high(trouble) ? N_("it stands") : N_("it needs"), finding->limit);
    }
    if (trouble == WORST_CASE || trouble == WORST_OFF) {
        because_of_worst_case(judged, finding, index);
    }
}

static double limit_of(const struct lw_supply_judged *judged, enum tap_trouble trouble,
                       size_t index)
{
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, index);
    if (trouble == TRAPPED || trouble == DIP_TRAPPED || trouble == RESETS) {
        return start_v(judged, index);
    }
    return is_too_high(trouble) ? tap->maximum_v : tap->minimum_v;
}

static void say_range(const struct lw_supply_judged *judged, enum tap_trouble trouble, size_t first,
                      size_t last)
{
    struct lw_text names = {0};
    names_of(judged, first, last, &names);
    struct lw_finding *finding =
        lw_findings_add(judged->findings, rows[trouble].code, rows[trouble].severity, "%s: %s",
                        names.bytes != NULL ? names.bytes : "", rows[trouble].says);
    lw_text_finish(&names);
    size_t at = trouble == SILENT_AND_STARVED ? first : worst_of(judged, trouble, first, last);
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, at);
    if (finding != NULL) {
        finding->value = value_of(judged, trouble, at);
        finding->limit = limit_of(judged, trouble, at);
        finding->unit = lw_duplicate("V");
        finding->uncertainty = trouble == MEASURED_UNDER ? tap->measured_u_v : NAN;
        because_of_volts(judged, finding, trouble, at);
    }
    lw_finding_node(judged->findings, finding, lw_supply_tap_at(judged, first)->node, first + 1,
                    lw_plan_tap(judged->plan, first + 1)->address);
}

// Walks the chain and gives each run of neighbours with the same trouble one finding; passive taps
// do not interrupt a run.
static void say_troubles(const struct lw_supply_judged *judged,
                         enum tap_trouble (*trouble_at)(const struct lw_supply_judged *, size_t))
{
    enum tap_trouble running = FINE;
    size_t first = 0, last = 0;
    for (size_t i = 0; i < judged->result->taps.count; i++) {
        if (lw_supply_tap_at(judged, i)->node == NULL) {
            continue;
        }
        enum tap_trouble here = trouble_at(judged, i);
        if (here != running && running != FINE) {
            say_range(judged, running, first, last);
        }
        first = here != running ? i : first;
        last = i;
        running = here;
    }
    if (running != FINE) {
        say_range(judged, running, first, last);
    }
}

void lw_supply_say_taps(const struct lw_supply_judged *judged, enum lw_supply_side side)
{
    static enum tap_trouble (*const troubles[])(const struct lw_supply_judged *, size_t) = {
        [LW_SUPPLY_AS_PLANNED] = computed_trouble,
        [LW_SUPPLY_STARTING] = start_trouble,
        [LW_SUPPLY_AS_MEASURED] = measured_trouble,
    };
    say_troubles(judged, troubles[side]);
}
