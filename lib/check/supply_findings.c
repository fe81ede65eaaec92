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

static void because_of_span(const struct lw_supply_judged *judged, struct lw_finding *finding)
{
    const struct lw_supply_result *result = judged->result;
    if (result->step_a > 0) {
        lw_finding_because(
            judged->findings, finding,
            "a known load of %.2f A at the far end lowers the voltmeters beyond it as "
            "%.2f ohm more in this span would; their own errors cancel",
            result->step_a, result->weak_extra_ohm);
    } else if (result->weak_rail != NULL) {
        lw_finding_because(judged->findings, finding,
                           "along that rail the hand meter shows a drop as %.2f ohm more in this "
                           "span would make it at the planned currents",
                           result->weak_extra_ohm);
    } else {
        lw_finding_because(judged->findings, finding,
                           "the voltmeters beyond it read lower than the common draw and their own "
                           "errors explain, as %.2f ohm more in this span would make them at the "
                           "planned currents",
                           result->weak_extra_ohm);
    }
    if (result->weak_span_high > result->weak_span_low) {
        lw_finding_because(judged->findings, finding,
                           "spans %.0f to %.0f cannot be told apart by these readings",
                           result->weak_span_low, result->weak_span_high);
    }
    lw_finding_because(
        judged->findings, finding,
        result->weak_proved
            ? N_("of 1000 healthy chains at most one would look like this")
            : N_("of 20 healthy chains one would look like this: a remark, no proof"));
}

// "P05 and P06"; a passive tap by its number.
static void names_of_two(const struct lw_supply_judged *judged, size_t from, size_t to,
                         char names[2][80])
{
    const size_t taps[] = {from, to};
    for (int i = 0; i < 2; i++) {
        const char *node = lw_supply_tap_at(judged, taps[i])->node;
        if (node != NULL) {
            lw_copy(names[i], sizeof names[i], node);
        } else {
            lw_print(names[i], sizeof names[i], "tap %zu", taps[i] + 1);
        }
    }
}

static void because_of_next(const struct lw_supply_judged *judged, struct lw_finding *finding)
{
    const struct lw_supply_result *result = judged->result;
    char names[2][80];
    if (!(result->next_from > 0) || strcmp(result->next_why, "suspect") != 0) {
        return;
    }
    names_of_two(judged, (size_t)result->next_from - 1, (size_t)result->next_to - 1, names);
    lw_finding_because(
        judged->findings, finding,
        "to decide, measure from %s to %s along V+, then along 0 V, with all running: "
        "%.0f mV each as planned, %.0f mV on the one with the fault",
        names[0], names[1], 1000 * result->next_plan_v, 1000 * result->next_fault_v);
}

static struct lw_finding *add_weak_span(const struct lw_supply_judged *judged, int span,
                                        double ratio)
{
    const struct lw_supply_result *result = judged->result;
    char place[120];
    place_of_span(judged, span, place, sizeof place);
    if (!result->weak_proved) {
        return lw_findings_add(judged->findings, "supply_span_suspect", LW_ATTENTION,
                               "span %d, %s, perhaps has more resistance than planned", span,
                               place);
    }
    if (result->weak_rail == NULL) {
        return lw_findings_add(judged->findings, "supply_weak_span", LW_FAIL,
                               "span %d, %s, has about %.1f times the planned resistance", span,
                               place, ratio);
    }
    return lw_findings_add(judged->findings, "supply_weak_span", LW_FAIL,
                           "span %d, %s, has %.2f ohm too much on %s", span, place,
                           result->weak_extra_ohm,
                           strcmp(result->weak_rail, "zero_v") == 0 ? "0 V" : "V+");
}

static void say_weak_span(const struct lw_supply_judged *judged)
{
    const struct lw_supply_result *result = judged->result;
    if (!(result->weak_span >= 2)) {
        return;
    }
    int span = (int)result->weak_span;
    const struct lw_supply_span *row =
        (const struct lw_supply_span *)result->spans.items + (span - 2);
    struct lw_finding *finding = add_weak_span(judged, span, row->ratio_to_plan);
    because_of_span(judged, finding);
    because_of_next(judged, finding);
    if (finding != NULL) {
        finding->value = row->ratio_to_plan;
        finding->limit = 1;
        finding->unit = lw_duplicate("1");
        finding->tap = span;
    }
    lw_finding_span(judged->findings, finding, (size_t)span);
}

static void say_since(const struct lw_supply_judged *judged)
{
    const struct lw_supply_result *result = judged->result;
    if (!(result->since_span >= 2)) {
        return;
    }
    int span = (int)result->since_span;
    char place[120];
    place_of_span(judged, span, place, sizeof place);
    struct lw_finding *finding =
        result->since_proved
            ? lw_findings_add(judged->findings, "supply_weak_span", LW_FAIL,
                              "span %d, %s, has gained %.2f ohm since the visit opened %s", span,
                              place, result->since_extra_ohm, result->since_opened)
            : lw_findings_add(judged->findings, "supply_span_suspect", LW_ATTENTION,
                              "span %d, %s, has perhaps gained %.2f ohm since the visit opened %s",
                              span, place, result->since_extra_ohm, result->since_opened);
    lw_finding_because(judged->findings, finding,
                       "%.0f voltmeters with the same serials were compared with what they said "
                       "then: what they are off by cancels",
                       result->since_nodes);
    if (result->since_high > result->since_low) {
        lw_finding_because(judged->findings, finding,
                           "spans %.0f to %.0f cannot be told apart by these readings",
                           result->since_low, result->since_high);
    }
    if (finding != NULL) {
        finding->value = result->since_extra_ohm;
        finding->limit = 0;
        finding->unit = lw_duplicate("ohm");
        finding->tap = span;
    }
    lw_finding_span(judged->findings, finding, (size_t)span);
}

static void say_draw(const struct lw_supply_judged *judged)
{
    const struct lw_supply_result *result = judged->result;
    size_t tap = 0;
    const struct lw_chain_entry *entry =
        result->draw_node != NULL ? lw_plan_by_name(judged->plan, result->draw_node, &tap) : NULL;
    if (entry == NULL) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        judged->findings, "supply_draw_differs", LW_ATTENTION,
        "%s draws about %.1f times what is planned", result->draw_node, result->draw_share);
    lw_finding_because(judged->findings, finding,
                       "the voltages bend at its tap as its draw would bend them, better than any "
                       "span would");
    lw_finding_node(judged->findings, finding, result->draw_node, tap, entry->address);
}

// Data sheets give limits: a third more or less than typical is usual.
static void say_currents(const struct lw_supply_judged *judged)
{
    const struct lw_supply_supply *supplies = judged->result->supplies.items;
    for (size_t i = 0; i < judged->result->supplies.count; i++) {
        const struct lw_supply_supply *supply = &supplies[i];
        double off_a = fabs(supply->measured_a - supply->amps) - 0.3 * fabs(supply->amps);
        if (!(off_a > 2 * supply->measured_u_a)) {
            continue;
        }
        struct lw_finding *finding =
            lw_findings_add(judged->findings, "supply_draw_differs", LW_ATTENTION,
                            "%s delivers %.2f A, planned are %.2f A", supply->name,
                            supply->measured_a, supply->amps);
        if (finding != NULL) {
            finding->value = supply->measured_a;
            finding->limit = supply->amps;
            finding->unit = lw_duplicate("A");
            finding->uncertainty = supply->measured_u_a;
        }
        lw_finding_node(judged->findings, finding, supply->name, (size_t)supply->tap, 0);
    }
}

static void add_voltmeter_off(const struct lw_supply_judged *judged, size_t tap, double off_v,
                              const char *because)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judged->plan, tap);
    struct lw_finding *finding =
        lw_findings_add(judged->findings, "supply_voltmeter_off", LW_ATTENTION,
                        "the voltmeter of %s is about %.2f V off", entry->node, off_v);
    lw_finding_because(judged->findings, finding, "%s", because);
    lw_finding_node(judged->findings, finding, entry->node, tap, entry->address);
}

// Its voltmeter against a hand meter at its terminals: 3.29 is two-sided 1 in 1000.
static bool hand_differs(const struct lw_supply_judged *judged, size_t index)
{
    const struct lw_supply_tap *tap = lw_supply_tap_at(judged, index);
    double u_v = hypot(tap->measured_u_v, tap->hand_u_v);
    return isfinite(judged->measured->volts[index]) &&
           fabs(tap->measured_v - tap->hand_v) > 3.29 * u_v;
}

static void say_voltmeters(const struct lw_supply_judged *judged)
{
    const struct lw_supply_result *result = judged->result;
    size_t named = 0;
    if (result->voltmeter_node != NULL &&
        lw_plan_by_name(judged->plan, result->voltmeter_node, &named) != NULL) {
        add_voltmeter_off(
            judged, named, result->voltmeter_off_v,
            N_("it stands alone against all others: no span and no draw explains it"));
    }
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = lw_supply_tap_at(judged, i);
        if (i + 1 != named && hand_differs(judged, i)) {
            add_voltmeter_off(judged, i + 1, tap->measured_v - tap->hand_v,
                              N_("the hand meter at its terminals shows another voltage"));
        }
    }
}

// One-sided 1 in 1000.
static void say_zero_v(const struct lw_supply_judged *judged)
{
    const struct lw_supply_result *result = judged->result;
    // A bad joint on V+ makes V+ drop more; that is no second way for 0 V.
    bool on_plus = result->weak_rail != NULL && strcmp(result->weak_rail, "v_plus") == 0;
    if (on_plus || !(result->zero_v_ratio + 3.09 * result->zero_v_ratio_u < 1)) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        judged->findings, "supply_zero_v_parallel", LW_ATTENTION,
        "0 V carries only about %.0f %% of what V+ carries", 100 * result->zero_v_ratio);
    lw_finding_because(judged->findings, finding,
                       "both drops were measured and held against the plan: the rest comes back "
                       "another way, through the machine's frame, a shield or a charger");
    if (finding != NULL) {
        finding->value = result->zero_v_ratio;
        finding->limit = 1;
        finding->unit = lw_duplicate("1");
        finding->uncertainty = result->zero_v_ratio_u;
    }
}

static void say_measured(const struct lw_supply_judged *judged)
{
    if (judged->measured == NULL) {
        return;
    }
    if (judged->result->measured_nodes < 1 && judged->measured->hand == NULL) {
        lw_findings_add(judged->findings, "supply_not_measured", LW_NOT_TESTED,
                        "no node told its supply voltage");
    }
    lw_supply_say_taps(judged, LW_SUPPLY_AS_MEASURED);
    say_weak_span(judged);
    say_since(judged);
    say_draw(judged);
    say_currents(judged);
    say_voltmeters(judged);
    say_zero_v(judged);
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
