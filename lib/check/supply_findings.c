// SPDX-License-Identifier: GPL-3.0-or-later
//
// What to say about a supply: what gives, what its spans carry, what the readings found.
#include "base/words.h"
#include "check/supply_inside.h"
#include "check/supply_line.h"

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

static void because_of_carry(const struct lw_supply_judged *judged, struct lw_finding *finding)
{
    const struct lw_supply_result *result = judged->result;
    const char *gives = giving_words(result->gives_first);
    if (gives != NULL && result->gives_at != NULL) {
        lw_finding_because(judged->findings, finding,
                           "counted from the head, %.0f nodes are carried; with the next one %s %s",
                           result->carries_nodes, result->gives_at, gives);
    }
}

static void say_no_operating_point(const struct lw_supply_judged *judged)
{
    struct lw_finding *finding = lw_findings_add(
        judged->findings, "supply_no_operating_point", LW_FAIL,
        "with all nodes on there is no operating point: the supply carries %.0f %% of the load",
        100 * judged->result->load_factor);
    if (judged->result->collapses) {
        lw_finding_because(judged->findings, finding,
                           "no supply is at its limit: the way takes so many volts that the nodes' "
                           "growing current brings them less power, not more (a collapse)");
    }
    because_of_carry(judged, finding);
    lw_finding_because(judged->findings, finding, "%.0f nodes keep running when the others go off",
                       judged->result->running_nodes);
}

static void say_supply(const struct lw_supply_judged *judged, const struct lw_supply_supply *supply)
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

static void say_span(const struct lw_supply_judged *judged, const struct lw_supply_span *span)
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

static int reverse_of(const struct lw_supply_judged *judged, const char *name)
{
    const struct lw_supply *supplies = judged->plan->supplies.items;
    for (size_t i = 0; i < judged->plan->supplies.count; i++) {
        if (supplies[i].name != NULL && strcmp(supplies[i].name, name) == 0) {
            return supplies[i].reverse;
        }
    }
    return LW_REVERSE_SINKS;
}

static void say_parallel(const struct lw_supply_judged *judged)
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
                       blocks ? N_("both block current that flows backwards: they share as they "
                                   "like")
                              : N_("not both block current that flows backwards: one feeds into "
                                   "the other when their voltages differ"));
    const struct lw_supply_supply *supplies = judged->result->supplies.items;
    for (size_t i = 0; i < judged->result->supplies.count; i++) {
        if (supplies[i].amps < -0.001) {
            lw_finding_because(judged->findings, finding,
                               "%s takes %.2f A back, as planned: it is fed, it does not feed",
                               supplies[i].name != NULL ? supplies[i].name : "a supply",
                               -supplies[i].amps);
        }
    }
    lw_finding_about(judged->findings, finding, one);
}

static void say_loads_missing(const struct lw_supply_judged *judged)
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
static void place_of_span(const struct lw_supply_judged *judged, int span, char *text, size_t size)
{
    const char *before = lw_supply_tap_at(judged, (size_t)span - 2)->node;
    const char *after = lw_supply_tap_at(judged, (size_t)span - 1)->node;
    lw_print(text, size, "between %s and %s", before != NULL ? before : "a joint",
             after != NULL ? after : "a joint");
}

static void say_weak_span(const struct lw_supply_judged *judged)
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

static void say_measured(const struct lw_supply_judged *judged)
{
    if (judged->measured == NULL) {
        return;
    }
    if (judged->result->measured_nodes < 1) {
        lw_findings_add(judged->findings, "supply_not_measured", LW_NOT_TESTED,
                        "no node told its supply voltage");
    }
    lw_supply_say_taps(judged, LW_SUPPLY_AS_MEASURED);
    say_weak_span(judged);
}

void lw_supply_findings(const struct lw_plan *plan, const struct lw_supply_measured *measured,
                        const struct lw_supply_result *result, struct lw_rule *rule,
                        struct lw_findings *findings)
{
    unsigned together = result->measured_nodes > 1 ? (unsigned)result->measured_nodes : 1;
    const struct lw_supply_judged judged = {.plan = plan,
                                            .measured = measured,
                                            .result = result,
                                            .together = together,
                                            .findings = findings};
    *rule = (struct lw_rule){.confidence = 0.95, .corrected_for = (int)together};
    if (plan->revision != NULL && strncmp(plan->revision, "draft", 5) == 0) {
        lw_findings_add(findings, "supply_not_computed", LW_NOT_TESTED,
                        "the plan is a draft: its supply and its spans are figures to be replaced");
    }
    say_loads_missing(&judged);
    if (!result->operating_point) {
        say_no_operating_point(&judged);
    }
    lw_supply_say_taps(&judged, LW_SUPPLY_AS_PLANNED);
    lw_supply_say_taps(&judged, LW_SUPPLY_STARTING);
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
