// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a restart test proves. Nodes that did the same are named together: one cause is likely, and
// one finding enough.
#include "base/text.h"
#include "check/restart.h"
#include "check/tap_names.h"

#include <assert.h>
#include <string.h>

// Which nodes share one fate, and who tells it.
struct group {
    const struct lw_plan *plan;
    const struct lw_restart_result *result;
    struct lw_findings *findings;
    bool *taken; // per node of the result: told already
    bool *flags; // per tap: of this group
};

static const struct lw_restart_node *node_at(const struct lw_restart_result *result, size_t i)
{
    return (const struct lw_restart_node *)result->nodes.items + i;
}

static const struct lw_restart_came *came_at(const struct lw_restart_node *node, size_t i)
{
    return (const struct lw_restart_came *)node->cycles.items + i;
}

static const struct lw_restart_cycle *cycle_at(const struct lw_restart_result *result, size_t i)
{
    return (const struct lw_restart_cycle *)result->cycles.items + i;
}

// In which cycles it stayed away, a bit each.
static unsigned away(const struct lw_restart_node *node)
{
    unsigned bits = 0;
    for (size_t i = 0; i < node->cycles.count; i++) {
        bits |= came_at(node, i)->away ? 1u << i : 0;
    }
    return bits;
}

static int again(const struct lw_restart_node *node)
{
    int times = 0;
    for (size_t i = 0; i < node->cycles.count; i++) {
        times += came_at(node, i)->again;
    }
    return times;
}

static bool proved(const struct lw_restart_node *node)
{
    bool any = false;
    for (size_t i = 0; i < node->cycles.count; i++) {
        any = any || came_at(node, i)->proved;
    }
    return any;
}

// In how many cycles it came and was silent in the end.
static int lost(const struct lw_restart_node *node)
{
    int times = 0;
    for (size_t i = 0; i < node->cycles.count; i++) {
        times += came_at(node, i)->lost;
    }
    return times;
}

static int still_on(const struct lw_restart_node *node)
{
    int times = 0;
    for (size_t i = 0; i < node->cycles.count; i++) {
        times += came_at(node, i)->still_on;
    }
    return times;
}

static void clear(struct group *group)
{
    memset(group->flags, 0, lw_plan_taps(group->plan) * sizeof *group->flags);
}

static void join(struct group *group, size_t i)
{
    group->flags[node_at(group->result, i)->tap - 1] = true;
    group->taken[i] = true;
}

// The names of those joined so far. Returns how many.
static size_t names(const struct group *group, char *text, size_t size)
{
    return lw_tap_names(group->plan, group->flags, text, size);
}

static void about(const struct group *group, struct lw_finding *finding, const char *subject)
{
    for (size_t i = 0; i < group->result->nodes.count; i++) {
        const struct lw_restart_node *node = node_at(group->result, i);
        if (group->flags[node->tap - 1]) {
            lw_finding_node(group->findings, finding, node->node, (size_t)node->tap, node->address);
            break;
        }
    }
    lw_finding_about(group->findings, finding, subject);
}

// The orders, a bit each, whose cycles all have the bit in `bits`, or none of whose cycles has.
static bool follows_order(const struct lw_restart_result *result, unsigned bits, unsigned *orders)
{
    unsigned with = 0, without = 0;
    for (size_t i = 0; i < result->cycles.count; i++) {
        unsigned order = 1u << cycle_at(result, i)->order;
        with |= bits & 1u << i ? order : 0;
        without |= bits & 1u << i ? 0 : order;
    }
    *orders = with;
    return (with & without) == 0 && without != 0;
}

// Silent after these orders, there after the others.
static void orders_say(const char *who, unsigned orders, char *says, size_t size)
{
    enum { TOGETHER = 1u << LW_RESTART_TOGETHER, FORWARD = 1u << LW_RESTART_FORWARD };
    enum { BACKWARD = 1u << LW_RESTART_BACKWARD };
    switch (orders) {
    case TOGETHER:
        lw_print(says, size,
                 "%s stay silent when all sections come on at once, and come when they come on one "
                 "after the other",
                 who);
        break;
    case FORWARD:
        lw_print(says, size,
                 "%s stay silent when the sections come on from the head, and come in the other "
                 "orders",
                 who);
        break;
    case BACKWARD:
        lw_print(says, size,
                 "%s stay silent when the sections come on from the tail, and come in the other "
                 "orders",
                 who);
        break;
    case FORWARD | BACKWARD:
        lw_print(says, size,
                 "%s stay silent when the sections come on one after the other, and come when all "
                 "come on at once",
                 who);
        break;
    default:
        lw_print(says, size, "%s come in one order of the sections only", who);
        break;
    }
}

static int count_bits(unsigned bits)
{
    int count = 0;
    for (; bits != 0; bits &= bits - 1) {
        count++;
    }
    return count;
}

static void say_away(struct group *group, unsigned bits, bool before)
{
    char who[120], says[300];
    unsigned orders = 0;
    int cycles = (int)group->result->cycles.count;
    struct lw_finding *finding;
    names(group, who, sizeof who);
    if (count_bits(bits) == cycles) {
        finding = lw_findings_add(group->findings, "restart_stays_away", LW_FAIL,
                                  "%s stay silent after switching on, in %d of %d cycles", who,
                                  cycles, cycles);
    } else if (follows_order(group->result, bits, &orders)) {
        orders_say(who, orders, says, sizeof says);
        finding = lw_findings_add(group->findings, "restart_order", LW_FAIL, "%s", says);
    } else {
        finding = lw_findings_add(group->findings, "restart_sometimes", LW_FAIL,
                                  "%s stay silent after switching on, in %d of %d cycles", who,
                                  count_bits(bits), cycles);
    }
    if (before) {
        lw_finding_because(group->findings, finding,
                           "they answered before the first switching off");
    } else {
        lw_finding_because(group->findings, finding, "they did not answer before either");
    }
    about(group, finding, who);
}

// Nodes that were away in the same cycles and like each other before.
static void find_away(struct group *group)
{
    for (size_t i = 0; i < group->result->nodes.count; i++) {
        const struct lw_restart_node *node = node_at(group->result, i);
        unsigned bits = away(node);
        if (bits == 0 || group->taken[i]) {
            continue;
        }
        clear(group);
        for (size_t k = i; k < group->result->nodes.count; k++) {
            const struct lw_restart_node *other = node_at(group->result, k);
            if (away(other) == bits && other->before == node->before) {
                join(group, k);
            }
        }
        say_away(group, bits, node->before);
    }
}

static void say_hiccup(struct group *group, size_t section, int times)
{
    char who[120], supplies[120];
    size_t count = names(group, who, sizeof who);
    lw_restart_supplies(group->plan, section, supplies, sizeof supplies);
    struct lw_finding *finding =
        lw_findings_add(group->findings, "restart_hiccup", LW_FAIL,
                        "%s drop out and start again together, up to %d times: their supply %s "
                        "tries again and again",
                        who, times, supplies);
    lw_finding_because(group->findings, finding,
                       "%zu nodes of the section share it, so it is no single node's fault", count);
    about(group, finding, supplies);
}

// A section of which most nodes that came at all go down more than once: its supply does it.
static void find_hiccups(struct group *group, const size_t *sections, size_t count)
{
    for (size_t section = 0; section < count; section++) {
        size_t came = 0, often = 0;
        int most = 0;
        for (size_t i = 0; i < group->result->nodes.count; i++) {
            const struct lw_restart_node *node = node_at(group->result, i);
            bool here = sections[node->tap - 1] == section;
            came += here && away(node) != (1u << node->cycles.count) - 1;
            often += here && again(node) >= 2;
        }
        if (often < 2 || 10 * often < 7 * came) {
            continue;
        }
        clear(group);
        for (size_t i = 0; i < group->result->nodes.count; i++) {
            const struct lw_restart_node *node = node_at(group->result, i);
            if (sections[node->tap - 1] == section && again(node) >= 1) {
                join(group, i);
                most = again(node) > most ? again(node) : most;
            }
        }
        say_hiccup(group, section, most);
    }
}

static void node_finding(struct group *group, const char *code, enum lw_verdict severity,
                         const struct lw_restart_node *node, const char *says, const char *because)
{
    struct lw_finding *finding = lw_findings_add(group->findings, code, severity, "%s", says);
    if (because != NULL) {
        lw_finding_because(group->findings, finding, "%s", because);
    }
    if (isfinite(node->lowest_v)) {
        lw_finding_because(group->findings, finding,
                           "its lowest supply since it started is %.2f V by its own voltmeter",
                           node->lowest_v);
    }
    lw_finding_node(group->findings, finding, node->node, (size_t)node->tap, node->address);
}

static void find_again(struct group *group, size_t i)
{
    const struct lw_restart_node *node = node_at(group->result, i);
    char says[300], because[300];
    if (again(node) > 0) {
        lw_print(says, sizeof says, "%s goes down again after it has come up (counted: %d)",
                 node->node, again(node));
        if (proved(node)) {
            lw_print(because, sizeof because, "its own uptime or counters prove a restart");
        } else {
            lw_print(because, sizeof because,
                     "it missed several polls in a row and answered again; whether it restarted it "
                     "does not tell");
        }
        node_finding(group, "restart_again", LW_FAIL, node, says, because);
    }
    if (lost(node) > 0) {
        lw_print(says, sizeof says, "%s comes up and is silent in the end, in %d of %zu cycles",
                 node->node, lost(node), node->cycles.count);
        node_finding(group, "restart_lost", LW_FAIL, node, says, NULL);
    }
}

// The slowest of the cycles, and whether the limit holds whatever the resolution.
static void find_slow(struct group *group, const struct lw_restart_node *node)
{
    double limit_s = lw_plan_limits(group->plan, (size_t)node->tap).first_answer_s;
    double hand_s = group->result->hand_s;
    const struct lw_restart_came *slowest = NULL;
    for (size_t i = 0; i < node->cycles.count; i++) {
        const struct lw_restart_came *came = came_at(node, i);
        if (isfinite(came->first_answer_s) &&
            (slowest == NULL || came->first_answer_s > slowest->first_answer_s)) {
            slowest = came;
        }
    }
    if (slowest == NULL || isnan(limit_s) || slowest->first_answer_s + hand_s <= limit_s) {
        return;
    }
    bool sure = slowest->first_answer_s - slowest->resolution_s - hand_s > limit_s;
    struct lw_finding *finding =
        lw_findings_add(group->findings, "restart_slow", sure ? LW_FAIL : LW_UNDECIDED,
                        "%s gives its first answer %.2f s after switching on, allowed are %.2f s",
                        node->node, slowest->first_answer_s, limit_s);
    if (finding != NULL) {
        finding->value = slowest->first_answer_s;
        finding->limit = limit_s;
        finding->uncertainty = slowest->resolution_s + hand_s;
        finding->unit = lw_duplicate("s");
    }
    lw_finding_because(group->findings, finding,
                       "it came at most %.2f s earlier, when it was asked before; the hand at the "
                       "switch adds %.2f s",
                       slowest->resolution_s, hand_s);
    lw_finding_node(group->findings, finding, node->node, (size_t)node->tap, node->address);
}

static void find_identity(struct group *group, const struct lw_restart_node *node)
{
    char says[400];
    bool changed = node->identity_before != NULL;
    if (node->stale_after) {
        lw_print(says, sizeof says,
                 "%s has to read its sensor's identity again: it says so after the restart",
                 node->node);
        node_finding(group, "restart_identity_stale", LW_FAIL, node, says, NULL);
    } else if (node->stale_before) {
        lw_print(says, sizeof says, "%s has read its sensor's identity anew with the restart",
                 node->node);
        node_finding(group, "restart_identity_anew", LW_ATTENTION, node, says, NULL);
    } else if (changed) {
        lw_print(says, sizeof says,
                 "%s is another after the restart: it was '%.100s', now it is "
                 "'%.100s'",
                 node->node, node->identity_before, node->identity_after);
        node_finding(group, "restart_identity_changed", LW_FAIL, node, says, NULL);
    }
}

// A limit for the spread at rest says how far two means of five may lie apart by chance alone:
// three times that limit is far outside.
static void find_shift(struct group *group, const struct lw_restart_node *node)
{
    const struct lw_profile *profile = lw_plan_tap(group->plan, (size_t)node->tap)->is;
    double noise = lw_plan_limits(group->plan, (size_t)node->tap).noise_limit;
    double shift = node->reading_last - node->reading_before;
    double limit = profile->metrology.noise_is == 0 ? 3 * noise : noise;
    if (node->unit == NULL || profile->metrology.unit == NULL ||
        strcmp(node->unit, profile->metrology.unit) != 0 || !(fabs(shift) > limit)) {
        return;
    }
    struct lw_finding *finding =
        lw_findings_add(group->findings, "restart_reading_shifts", LW_ATTENTION,
                        "the reading of %s is %.4g %s from where it was before the restart",
                        node->node, shift, node->unit);
    if (finding != NULL) {
        finding->value = shift;
        finding->limit = limit;
        finding->unit = lw_duplicate(node->unit);
    }
    if (isfinite(node->drift_per_min)) {
        lw_finding_because(group->findings, finding, "it still moves by %.3g %s a minute",
                           node->drift_per_min, node->unit);
    }
    lw_finding_node(group->findings, finding, node->node, (size_t)node->tap, node->address);
}

// Who went on answering while everything was to be off.
static void find_still_on(struct group *group)
{
    char who[120];
    size_t on = 0;
    clear(group);
    for (size_t i = 0; i < group->result->nodes.count; i++) {
        if (still_on(node_at(group->result, i)) > 0) {
            join(group, i);
            on++;
        }
    }
    if (on == 0) {
        return;
    }
    names(group, who, sizeof who);
    struct lw_finding *finding;
    if (on == group->result->nodes.count) {
        finding = lw_findings_add(group->findings, "restart_not_off", LW_UNDECIDED,
                                  "nobody fell silent: what was switched does not feed the chain");
    } else {
        finding = lw_findings_add(group->findings, "restart_still_on", LW_ATTENTION,
                                  "%s went on answering while everything was switched off", who);
    }
    about(group, finding, who);
}

static void find_nodes(struct group *group)
{
    for (size_t i = 0; i < group->result->nodes.count; i++) {
        const struct lw_restart_node *node = node_at(group->result, i);
        if (!group->taken[i]) {
            find_again(group, i);
        }
        find_slow(group, node);
        find_identity(group, node);
        find_shift(group, node);
    }
}

void lw_restart_findings(const struct lw_plan *plan, const struct lw_restart_result *result,
                         struct lw_findings *findings)
{
    size_t taps = lw_plan_taps(plan);
    struct group group = {.plan = plan,
                          .result = result,
                          .findings = findings,
                          .taken = calloc(result->nodes.count + 1, sizeof(bool)),
                          .flags = calloc(taps + 1, sizeof(bool))};
    size_t *sections = calloc(taps + 1, sizeof *sections);
    assert(result->cycles.count <= LW_RESTART_CYCLES_MAX);
    if (group.taken == NULL || group.flags == NULL || sections == NULL) {
        findings->failed = true;
    } else if (result->cycles.count > 0) {
        size_t count = lw_plan_sections(plan, sections);
        find_still_on(&group);
        memset(group.taken, 0, result->nodes.count);
        find_hiccups(&group, sections, count);
        find_away(&group);
        find_nodes(&group);
    }
    free(group.taken);
    free(group.flags);
    free(sections);
}
