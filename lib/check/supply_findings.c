// SPDX-License-Identifier: GPL-3.0-or-later
//
// What to say about a supply. Neighbours with the same trouble share one finding that names them,
// so that a starved tail of forty nodes is one sentence and not forty.
#include "base/words.h"
#include "check/supply.h"
#include "check/supply_line.h"
#include "stats/decide.h"

enum { NAMES_SPELT_OUT = 8 };

struct judged {
    const struct lw_plan *plan;
    const struct lw_supply_measured *measured;
    const struct lw_supply_result *result;
    unsigned together; // voltmeters judged at once
    struct lw_findings *findings;
};

enum tap_trouble {
    FINE,
    STARVED,           // computed: does not run
    UNDER_MINIMUM,     // computed
    LITTLE_MARGIN,     // computed
    WORST_CASE,        // only at the tolerances' end
    OVER_MAXIMUM,      // computed
    HIGH_UNLOADED,     // only with nobody drawing and the supply at its upper end
    TRAPPED,           // stays off after a cold start
    DIP_TRAPPED,       // stays off after a dip alone
    MEASURED_UNDER,    // proved by its voltmeter
    MEASURED_OPEN,     // its voltmeter cannot decide
    SILENT_AND_STARVED // does not answer, and its neighbour has too little
};

static const struct lw_supply_tap *tap_at(const struct judged *judged, size_t index)
{
    return (const struct lw_supply_tap *)judged->result->taps.items + index;
}

static enum tap_trouble computed_trouble(const struct judged *judged, size_t index)
{
    const struct lw_supply_tap *tap = tap_at(judged, index);
    double margin_v = lw_plan_limits(judged->plan, index + 1).margin_v;
    if (!tap->on) {
        return STARVED;
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
    if (!tap->worst_on || tap->worst_volts < tap->minimum_v) {
        return WORST_CASE;
    }
    return tap->highest_v > tap->maximum_v ? HIGH_UNLOADED : FINE;
}

static enum tap_trouble start_trouble(const struct judged *judged, size_t index)
{
    const struct lw_supply_tap *tap = tap_at(judged, index);
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

static bool same_section(const struct judged *judged, size_t a, size_t b)
{
    size_t low = a < b ? a : b, high = a < b ? b : a;
    return !cut_between(judged->plan->supplies.items, judged->plan->supplies.count, (int)low + 1,
                        (int)high + 1);
}

// The nearest reading in the same section, towards the head if there is one: what a silent node's
// supply is like. The count of taps when there is none.
static size_t reading_near(const struct judged *judged, size_t index)
{
    size_t count = judged->result->taps.count;
    for (size_t i = index; i-- > 0 && same_section(judged, i, index);) {
        if (isfinite(tap_at(judged, i)->measured_v)) {
            return i;
        }
    }
    for (size_t i = index + 1; i < count && same_section(judged, index, i); i++) {
        if (isfinite(tap_at(judged, i)->measured_v)) {
            return i;
        }
    }
    return count;
}

static double volts_near(const struct judged *judged, size_t index)
{
    size_t at = reading_near(judged, index);
    return at < judged->result->taps.count ? tap_at(judged, at)->measured_v : NAN;
}

static bool is_silent(const struct judged *judged, size_t index)
{
    return tap_at(judged, index)->node != NULL && judged->measured->asked[index] &&
           !judged->measured->answered[index];
}

// Where the last reading before a silent node is below what is wanted there, its supply explains
// the silence. Nodes of different kinds start at different voltages; in a row of silent nodes one
// that starves speaks for the row.
static double wanted_v(const struct judged *judged, size_t index)
{
    const struct lw_profile *profile = lw_plan_tap(judged->plan, index + 1)->is;
    double minimum_v = fmax(profile->electrical.start_v, profile->electrical.minimum_v);
    return minimum_v + lw_plan_limits(judged->plan, index + 1).margin_v;
}

static bool row_starves(const struct judged *judged, size_t index)
{
    size_t first = index, count = judged->result->taps.count;
    while (first > 0 && is_silent(judged, first - 1) && same_section(judged, first - 1, index)) {
        first--;
    }
    for (size_t i = first; i < count && is_silent(judged, i) && same_section(judged, index, i);
         i++) {
        if (volts_near(judged, i) < wanted_v(judged, i)) {
            return true;
        }
    }
    return false;
}

static enum tap_trouble measured_trouble(const struct judged *judged, size_t index)
{
    const struct lw_supply_tap *tap = tap_at(judged, index);
    if (judged->measured == NULL || !judged->measured->asked[index]) {
        return FINE;
    }
    if (!judged->measured->answered[index]) {
        return row_starves(judged, index) ? SILENT_AND_STARVED : FINE;
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
static void names_of(const struct judged *judged, size_t first, size_t last, struct lw_text *text)
{
    size_t count = last - first + 1;
    if (count > NAMES_SPELT_OUT) {
        lw_text_add(text, N_("%s to %s (%zu nodes)"), tap_at(judged, first)->node,
                    tap_at(judged, last)->node, count);
        return;
    }
    struct lw_text before = {0};
    for (size_t i = first; i < last; i++) {
        lw_text_add(&before, "%s%s", i == first ? "" : ", ", tap_at(judged, i)->node);
    }
    if (before.length > 0) {
        lw_text_add(text, N_("%s and %s"), before.bytes, tap_at(judged, last)->node);
    } else {
        lw_text_add(text, "%s", tap_at(judged, last)->node);
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
    [UNDER_MINIMUM] = {"supply_under_minimum", LW_FAIL, N_("below the minimum, as planned")},
    [LITTLE_MARGIN] = {"supply_margin", LW_ATTENTION, N_("little above the minimum, as planned")},
    [WORST_CASE] = {"supply_worst_case", LW_ATTENTION,
                    N_("below the minimum with all tolerances at their bad end")},
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
};

static double value_of(const struct judged *judged, enum tap_trouble trouble, size_t index)
{
    const struct lw_supply_tap *tap = tap_at(judged, index);
    switch (trouble) {
    case MEASURED_UNDER:
    case MEASURED_OPEN:
        return tap->measured_v;
    case SILENT_AND_STARVED:
        return volts_near(judged, index);
    case WORST_CASE:
        return tap->worst_volts;
    case HIGH_UNLOADED:
        return tap->highest_v;
    case TRAPPED:
        return tap->cold_volts;
    case DIP_TRAPPED:
        return tap->dip_volts;
    case FINE:
    case STARVED:
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
static size_t worst_of(const struct judged *judged, enum tap_trouble trouble, size_t first,
                       size_t last)
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

static void because_of_neighbour(const struct judged *judged, struct lw_finding *finding,
                                 size_t index)
{
    size_t near = reading_near(judged, index);
    if (near < judged->result->taps.count) {
        lw_finding_because(judged->findings, finding,
                           "%s, the nearest that answers, measures %.2f V; %s needs %.2f V to "
                           "start, and a margin",
                           tap_at(judged, near)->node, tap_at(judged, near)->measured_v,
                           tap_at(judged, index)->node,
                           lw_plan_tap(judged->plan, index + 1)->is->electrical.start_v);
    }
}

static void because_of_worst_case(const struct judged *judged, struct lw_finding *finding,
                                  size_t index)
{
    const struct lw_supply_tap *tap = tap_at(judged, index);
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
                           "of %.0f draws of all tolerances %.2g %% have %s below its minimum (95 "
                           "%% interval %.2g to %.2g %%)",
                           judged->result->draws, 100 * tap->under_probability, tap->node,
                           100 * tap->under_low, 100 * tap->under_high);
    }
}

static void because_of_volts(const struct judged *judged, struct lw_finding *finding,
                             enum tap_trouble trouble, size_t index)
{
    if (finding == NULL) {
        return;
    }
    if (trouble == SILENT_AND_STARVED) {
        because_of_neighbour(judged, finding, index);
    } else {
        lw_finding_because(judged->findings, finding, "%s: %.2f V, %s %.2f V",
                           tap_at(judged, index)->node, finding->value,
                           is_too_high(trouble) ? N_("it stands") : N_("it needs"), finding->limit);
    }
    if (trouble == WORST_CASE) {
        because_of_worst_case(judged, finding, index);
    }
    if (trouble == TRAPPED || trouble == DIP_TRAPPED) {
        lw_finding_because(judged->findings, finding,
                           "a static bound: only a power cycle proves it (linewalk restart)");
    }
}

static void say_range(const struct judged *judged, enum tap_trouble trouble, size_t first,
                      size_t last)
{
    struct lw_text names = {0};
    names_of(judged, first, last, &names);
    struct lw_finding *finding =
        lw_findings_add(judged->findings, rows[trouble].code, rows[trouble].severity, "%s: %s",
                        names.bytes != NULL ? names.bytes : "", rows[trouble].says);
    lw_text_finish(&names);
    size_t at = trouble == SILENT_AND_STARVED ? first : worst_of(judged, trouble, first, last);
    const struct lw_supply_tap *tap = tap_at(judged, at);
    if (finding != NULL) {
        finding->value = value_of(judged, trouble, at);
        finding->limit = is_too_high(trouble) ? tap->maximum_v : tap->minimum_v;
        finding->unit = lw_duplicate("V");
        finding->uncertainty = trouble == MEASURED_UNDER ? tap->measured_u_v : NAN;
    }
    because_of_volts(judged, finding, trouble, at);
    lw_finding_node(judged->findings, finding, tap_at(judged, first)->node, first + 1,
                    lw_plan_tap(judged->plan, first + 1)->address);
}

// Walks the chain and gives each run of neighbours with the same trouble one finding; passive taps
// do not interrupt a run.
static void say_troubles(const struct judged *judged,
                         enum tap_trouble (*trouble_at)(const struct judged *, size_t))
{
    enum tap_trouble running = FINE;
    size_t first = 0, last = 0;
    for (size_t i = 0; i < judged->result->taps.count; i++) {
        if (tap_at(judged, i)->node == NULL) {
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

// What one more node than are carried would bring down.
static const char *giving_words(const char *gives_first)
{
    static const char *const words[][2] = {
        {"voltage", "would see too little voltage"},
        {"supply_limit", "would pass its limit"},
        {"rating", "would carry more than it is rated for"},
        {"collapse", "would pull the chain down: no operating point, though no supply is at its "
                     "limit"},
    };
    for (size_t i = 0; gives_first != NULL && i < sizeof words / sizeof *words; i++) {
        if (strcmp(words[i][0], gives_first) == 0) {
            return words[i][1];
        }
    }
    return NULL;
}

static void because_of_carry(const struct judged *judged, struct lw_finding *finding)
{
    const struct lw_supply_result *result = judged->result;
    const char *gives = giving_words(result->gives_first);
    if (gives != NULL && result->gives_at != NULL) {
        lw_finding_because(judged->findings, finding,
                           "counted from the head, %.0f nodes are carried; with the next one %s %s",
                           result->carries_nodes, result->gives_at, gives);
    }
}

static void say_no_operating_point(const struct judged *judged)
{
    struct lw_finding *finding = lw_findings_add(
        judged->findings, "supply_no_operating_point", LW_FAIL,
        "with all nodes on there is no operating point: the supply carries %.0f %% of the load",
        100 * judged->result->load_factor);
    because_of_carry(judged, finding);
    lw_finding_because(judged->findings, finding, "%.0f nodes keep running when the others go off",
                       judged->result->running_nodes);
}

static void say_supply(const struct judged *judged, const struct lw_supply_supply *supply)
{
    double limit_pct = judged->plan->limits.supply_load_pct;
    limit_pct = isfinite(limit_pct) ? limit_pct : 80;
    const char *name = supply->name != NULL ? supply->name : "a supply";
    struct lw_finding *finding = NULL;
    if (supply->mode != NULL && strcmp(supply->mode, "limited") == 0) {
        finding = lw_findings_add(judged->findings, "supply_overload", LW_FAIL,
                                  "%s is at its limit of %.2f A", name, supply->limit_a);
    } else if (supply->load_pct > limit_pct) {
        finding = lw_findings_add(judged->findings, "supply_load_high", LW_ATTENTION,
                                  "%s carries %.0f %% of its %.2f A", name, supply->load_pct,
                                  supply->limit_a);
    }
    if (finding != NULL) {
        finding->value = supply->load_pct;
        finding->limit = limit_pct;
        finding->unit = lw_duplicate("%");
    }
    lw_finding_node(judged->findings, finding, name, (size_t)supply->tap, 0);
}

static void say_span(const struct judged *judged, const struct lw_supply_span *span)
{
    if (!(span->amps > span->rated_a)) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        judged->findings, "supply_span_over_rating", LW_FAIL,
        "span %d carries %.2f A, rated are %.2f A", span->span, span->amps, span->rated_a);
    if (finding != NULL) {
        finding->span = span->span;
        finding->value = span->amps;
        finding->limit = span->rated_a;
        finding->unit = lw_duplicate("A");
    }
}

static int reverse_of(const struct judged *judged, const char *name)
{
    const struct lw_supply *supplies = judged->plan->supplies.items;
    for (size_t i = 0; i < judged->plan->supplies.count; i++) {
        if (supplies[i].name != NULL && strcmp(supplies[i].name, name) == 0) {
            return supplies[i].reverse;
        }
    }
    return LW_REVERSE_SINKS;
}

static void say_parallel(const struct judged *judged)
{
    const char *one = judged->result->parallel_one, *other = judged->result->parallel_other;
    if (one == NULL || other == NULL) {
        return;
    }
    bool blocks = reverse_of(judged, one) == LW_REVERSE_BLOCKS &&
                  reverse_of(judged, other) == LW_REVERSE_BLOCKS;
    struct lw_finding *finding = lw_findings_add(
        judged->findings, "supply_sources_in_parallel", blocks ? LW_ATTENTION : LW_FAIL,
        "%s and %s feed one section of both rails", one, other);
    lw_finding_because(judged->findings, finding,
                       blocks ? "both block current that flows backwards: they share as they like"
                              : "not both block current that flows backwards: one feeds into the "
                                "other when their voltages differ");
}

static void say_loads_missing(const struct judged *judged)
{
    const struct lw_profile *profiles = judged->plan->profiles.items;
    for (size_t i = 0; i < judged->plan->profiles.count; i++) {
        const struct lw_profile_load *load = &profiles[i].electrical.load;
        const double value[] = {load->watts, load->amps, load->ohm};
        size_t nodes = 0;
        for (size_t tap = 1; tap <= lw_plan_taps(judged->plan); tap++) {
            nodes += lw_plan_tap(judged->plan, tap)->is == &profiles[i];
        }
        if (nodes > 0 && isnan(value[load->type])) {
            lw_findings_add(
                judged->findings, "supply_not_computed", LW_NOT_TESTED,
                "the profile '%s' names no load: its %zu nodes count as drawing nothing",
                profiles[i].name, nodes);
        }
    }
}

// "between P06 and P07", with the passive taps' numbers where there is no name.
static void place_of_span(const struct judged *judged, int span, char *text, size_t size)
{
    const char *before = tap_at(judged, (size_t)span - 2)->node;
    const char *after = tap_at(judged, (size_t)span - 1)->node;
    lw_print(text, size, "between %s and %s", before != NULL ? before : "a joint",
             after != NULL ? after : "a joint");
}

static void say_weak_span(const struct judged *judged)
{
    const struct lw_supply_result *result = judged->result;
    if (!(result->weak_span >= 2)) {
        return;
    }
    int span = (int)result->weak_span;
    char place[120], subject[32];
    place_of_span(judged, span, place, sizeof place);
    const struct lw_supply_span *spans = result->spans.items;
    const struct lw_supply_span *row = &spans[span - 2];
    struct lw_finding *finding =
        lw_findings_add(judged->findings, "supply_weak_span", LW_FAIL,
                        "span %d, %s, has about %.1f times the planned resistance", span, place,
                        row->ratio_to_plan);
    lw_finding_because(judged->findings, finding,
                       "the voltmeters beyond it read lower than the common draw and their own "
                       "errors explain, as %.2f ohm more in this span would make them at the "
                       "planned currents",
                       result->weak_extra_ohm);
    if (result->weak_span_high > result->weak_span_low) {
        lw_finding_because(judged->findings, finding,
                           "spans %.0f to %.0f cannot be told apart by these readings",
                           result->weak_span_low, result->weak_span_high);
    }
    if (finding != NULL) {
        finding->value = row->ratio_to_plan;
        finding->limit = 1;
        finding->unit = lw_duplicate("1");
    }
    lw_print(subject, sizeof subject, "span %d", span);
    lw_finding_node(judged->findings, finding, subject, (size_t)span, 0);
    if (finding != NULL) {
        finding->span = span;
    }
}

static void say_measured(const struct judged *judged)
{
    if (judged->measured == NULL) {
        return;
    }
    if (judged->result->measured_nodes < 1) {
        lw_findings_add(judged->findings, "supply_not_measured", LW_NOT_TESTED,
                        "no node told its supply voltage");
    }
    say_troubles(judged, measured_trouble);
    say_weak_span(judged);
}

void lw_supply_findings(const struct lw_plan *plan, const struct lw_supply_measured *measured,
                        const struct lw_supply_result *result, struct lw_rule *rule,
                        struct lw_findings *findings)
{
    unsigned together = result->measured_nodes > 1 ? (unsigned)result->measured_nodes : 1;
    const struct judged judged = {.plan = plan,
                                  .measured = measured,
                                  .result = result,
                                  .together = together,
                                  .findings = findings};
    *rule = (struct lw_rule){.confidence = 0.95, .corrected_for = (int)together};
    if (plan->revision != NULL && strcmp(plan->revision, "draft") == 0) {
        lw_findings_add(findings, "supply_not_computed", LW_NOT_TESTED,
                        "the plan is a draft: its supply and its spans are figures to be replaced");
    }
    say_loads_missing(&judged);
    if (!result->operating_point) {
        say_no_operating_point(&judged);
    }
    if (result->resets_in_turn) {
        lw_findings_add(findings, "supply_resets_in_turn", LW_FAIL,
                        "nodes would go off, recover and start again, in turn");
    }
    say_troubles(&judged, computed_trouble);
    say_troubles(&judged, start_trouble);
    const struct lw_supply_supply *supplies = result->supplies.items;
    for (size_t i = 0; i < result->supplies.count; i++) {
        say_supply(&judged, &supplies[i]);
    }
    const struct lw_supply_span *spans = result->spans.items;
    for (size_t i = 0; i < result->spans.count; i++) {
        say_span(&judged, &spans[i]);
    }
    say_parallel(&judged);
    lw_supply_line_findings(plan, result, findings);
    say_measured(&judged);
}
