// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the watch says: an event in a sentence, the record's result, the findings. That a node lets
// go while somebody wiggles is what was looked for, and a plug may have been pulled on purpose; so
// it asks for attention and fails nothing but a node that never answered.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "base/words.h"
#include "check/watch_inside.h"
#include "stats/decide.h"

#include <math.h>
#include <string.h>

// How long before a drop-out a person's mark counts as its occasion.
static const double mark_before_s = 5;

static const char *name_of(const struct lw_live *live, size_t index)
{
    return index < live->count ? live->nodes[index].shown.entry->node : "";
}

// As many digits as the node resolves.
static const char *number(double value, const struct lw_live_node *node, char text[LW_NUMBER_TEXT])
{
    lw_number_for_people(value, 10 * node->resolution, text);
    return text;
}

static const char *flag_words(const struct lw_live_node *node, unsigned status)
{
    static const char *const words[] = {[LW_BIT_UNDER_VOLTAGE] = N_("under voltage"),
                                        [LW_BIT_SENSOR_OPEN] = N_("sensor open"),
                                        [LW_BIT_OVER_RANGE] = N_("over range"),
                                        [LW_BIT_STALE_IDENTITY] = N_("stale identity"),
                                        [LW_BIT_FAULT] = N_("fault"),
                                        [LW_BIT_OTHER] = N_("a status bit")};
    const struct lw_status_bit *bits = node->entry->is->status_bits.items;
    for (size_t i = 0; i < node->entry->is->status_bits.count; i++) {
        if ((status >> bits[i].bit & 1) != 0) {
            return words[bits[i].meaning];
        }
    }
    return "";
}

static void say_of_value(const struct lw_live *live, const struct lw_live_event *event, char *text,
                         size_t size)
{
    char value[LW_NUMBER_TEXT], before[LW_NUMBER_TEXT];
    const struct lw_live_node *node = lw_live_node(live, event->index);
    const char *unit = node->unit != NULL ? lw_unit_shown(node->unit, true) : "";
    if (event->what == LW_LIVE_JUMP) {
        lw_print(text, size, "%s jumped from %s to %s %s", name_of(live, event->index),
                 number(event->before, node, before), number(event->value, node, value), unit);
    } else {
        lw_print(text, size, "%s reads %s %s, outside its range", name_of(live, event->index),
                 number(event->value, node, value), unit);
    }
}

static void say_silent(const struct lw_live *live, const struct lw_live_event *event, char *text,
                       size_t size)
{
    const char *name = name_of(live, event->index);
    double took_s = event->to_s - event->from_s;
    if (!isfinite(took_s)) {
        lw_print(text, size, "%s silent, %.0f polls", name, event->count);
    } else if (event->count > 1) {
        lw_print(text, size, "%s silent for %.2f s, %.0f polls", name, took_s, event->count);
    } else {
        lw_print(text, size, "%s missed one poll", name);
    }
}

const char *lw_live_says(const struct lw_live *live, const struct lw_live_event *event, char *text,
                         size_t size)
{
    const char *name = name_of(live, event->index);
    switch (event->what) {
    case LW_LIVE_SILENT:
        say_silent(live, event, text, size);
        break;
    case LW_LIVE_DAMAGED:
        lw_print(text, size, "%s garbled, %.0f polls", name, event->count);
        break;
    case LW_LIVE_REFUSAL:
        lw_print(text, size, "%s refuses, %.0f polls", name, event->count);
        break;
    case LW_LIVE_FLAG:
        lw_print(text, size, "%s reports in its status: %s", name,
                 flag_words(lw_live_node(live, event->index), (unsigned)event->value));
        break;
    case LW_LIVE_VOLTS:
        lw_print(text, size, "%s has %.2f V, needs %.2f V", name, event->value,
                 live->nodes[event->index].shown.needs_v);
        break;
    case LW_LIVE_RESTART:
        lw_print(text, size, "%s has started anew", name);
        break;
    case LW_LIVE_BREAK:
        lw_print(text, size, "all silent from %s to the end: look at span %zu", name,
                 live->nodes[event->index].shown.tap);
        break;
    case LW_LIVE_UNPLUGGED:
        lw_print(text, size, "the tester's line is gone");
        break;
    case LW_LIVE_MARK:
        lw_print(text, size, "%s", event->text);
        break;
    case LW_LIVE_JUMP:
    case LW_LIVE_OUTSIDE:
        say_of_value(live, event, text, size);
        break;
    }
    return text;
}

#define COUNT(type, member) LW_AT(type, member), .kind = LW_NUMBER, .has_default = true
#define MAYBE(type, member) LW_AT(type, member), .kind = LW_NUMBER, .nullable = true

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_live_result_node, node), .kind = LW_TEXT, .required = true,
     .says = "name in the plan"},
    {LW_AT(struct lw_live_result_node, place), .kind = LW_TEXT, .says = "where it sits"},
    {LW_AT(struct lw_live_result_node, tap), .kind = LW_INTEGER, .required = true,
     .says = "place on the chain"},
    {LW_AT(struct lw_live_result_node, address), .kind = LW_INTEGER, .required = true,
     .says = "address of the node"},
    {LW_AT(struct lw_live_result_node, state), .kind = LW_TEXT, .says = "how it was at the end"},
    {COUNT(struct lw_live_result_node, polls), .says = "how often it was asked"},
    {COUNT(struct lw_live_result_node, answers), .says = "of these, answered"},
    {COUNT(struct lw_live_result_node, silences), .says = "not answered"},
    {COUNT(struct lw_live_result_node, damaged), .says = "answered damaged or wrong"},
    {COUNT(struct lw_live_result_node, refusals), .says = "refused with an exception"},
    {COUNT(struct lw_live_result_node, drop_outs),
     .says = "silences of two polls and more in a row, each counted once"},
    {COUNT(struct lw_live_result_node, longest_out_s), .says = "the longest of them that ended"},
    {COUNT(struct lw_live_result_node, longest_unasked_s),
     .says =
         "longest time between two polls while it was well: what it did in between is not known"},
    {COUNT(struct lw_live_result_node, jumps), .says = "how often the reading jumped"},
    {COUNT(struct lw_live_result_node, restarts), .says = "how often it started anew"},
    {COUNT(struct lw_live_result_node, flags), .says = "how often a status bit came up"},
    {COUNT(struct lw_live_result_node, low_polls), .says = "answers with too few volts"},
    {COUNT(struct lw_live_result_node, outside_polls), .says = "answers outside the range"},
    {LW_AT(struct lw_live_result_node, unit), .kind = LW_TEXT, .says = "of the readings"},
    {MAYBE(struct lw_live_result_node, smallest), .says = "lowest reading"},
    {MAYBE(struct lw_live_result_node, largest), .says = "highest reading"},
    {MAYBE(struct lw_live_result_node, lowest_v), .says = "fewest volts that it reported"},
    {MAYBE(struct lw_live_result_node, needs_v), .says = "fewest that its kind needs"},
    {MAYBE(struct lw_live_result_node, error_rate_low95),
     .says =
         "the share of silences and damage is above this (Clopper-Pearson, one-sided, corrected "
         "for the number of nodes)"},
    {MAYBE(struct lw_live_result_node, error_limit), .says = "what it is held against"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "watch_node", .size = sizeof(struct lw_live_result_node), .fields = node_fields};

static const struct lw_field event_fields[] = {
    {LW_AT(struct lw_live_result_event, what), .kind = LW_TEXT, .required = true,
     .says =
         "silent, damaged, refusal, jump, flag, volts, restart, outside, break, unplugged, mark"},
    {LW_AT(struct lw_live_result_event, node), .kind = LW_TEXT, .says = "whom it is about"},
    {COUNT(struct lw_live_result_event, from_s), .says = "s since the watch began"},
    {MAYBE(struct lw_live_result_event, to_s), .says = "null: it went on at the end"},
    {COUNT(struct lw_live_result_event, count), .says = "polls that saw it"},
    {MAYBE(struct lw_live_result_event, value), .says = "the reading or voltage it is about"},
    {LW_AT(struct lw_live_result_event, says), .kind = LW_TEXT, .required = true,
     .says = "in words; of a mark, what the person wrote"},
    {0},
};
static const struct lw_shape event_shape = {
    .name = "watch_event", .size = sizeof(struct lw_live_result_event), .fields = event_fields};

static const struct lw_field live_fields[] = {
    {LW_AT(struct lw_live_result, made_sure_by), .kind = LW_TEXT,
     .says = "who made sure that the drives are locked out; absent: nobody was asked"},
    {COUNT(struct lw_live_result, seconds), .says = "how long was watched"},
    {COUNT(struct lw_live_result, polls), .says = "requests in all"},
    {COUNT(struct lw_live_result, polls_per_s), .says = "requests a second"},
    {COUNT(struct lw_live_result, unplugged), .says = "how often the tester's line was gone"},
    {COUNT(struct lw_live_result, unplugged_s), .says = "for how long in all"},
    {COUNT(struct lw_live_result, marks), .says = "a person's marks"},
    {COUNT(struct lw_live_result, events_in_all), .says = "events, with those that found no room"},
    {LW_AT(struct lw_live_result, nodes), .kind = LW_LIST, .sub = &node_shape,
     .says = "in tap order"},
    {LW_AT(struct lw_live_result, events), .kind = LW_LIST, .sub = &event_shape,
     .says = "in the order of their beginning; at most 2000"},
    {0},
};
const struct lw_shape lw_live_shape = {
    .name = "watch", .size = sizeof(struct lw_live_result), .fields = live_fields};

// A silence under way is as long as it is now.
static double longest_out_s(const struct live_node *node, int64_t now_ns)
{
    double under_way_s = node->misses > 1 ? (double)(now_ns - node->silent_ns) / 1e9 : 0;
    return fmax(node->shown.longest_out_s, under_way_s);
}

static bool fill_node(const struct lw_live *live, size_t index, int64_t now_ns,
                      struct lw_live_result *result)
{
    struct lw_live_result_node *row = lw_list_add(&result->nodes, sizeof *row);
    const struct live_node *node = &live->nodes[index];
    const struct lw_live_node *shown = &node->shown;
    struct lw_decided decided;
    if (row == NULL) {
        return false;
    }
    *row = (struct lw_live_result_node){
        .node = lw_duplicate(shown->entry->node),
        .place = lw_duplicate(shown->entry->place),
        .unit = lw_duplicate(shown->unit),
        .state = lw_duplicate(lw_live_word(lw_live_state(live, index, now_ns))),
        .tap = (int)shown->tap,
        .address = shown->entry->address,
        .polls = shown->polls,
        .answers = shown->answers,
        .silences = shown->silences,
        .damaged = shown->damaged,
        .refusals = shown->refusals,
        .drop_outs = shown->drop_outs,
        .longest_out_s = longest_out_s(node, now_ns),
        .longest_unasked_s = shown->longest_unasked_s,
        .jumps = shown->jumps,
        .restarts = shown->restarts,
        .flags = shown->flags,
        .low_polls = shown->low_polls,
        .outside_polls = shown->outside_polls,
        .smallest = shown->smallest,
        .largest = shown->largest,
        .lowest_v = shown->lowest_v,
        .needs_v = shown->needs_v,
        .error_rate_low95 = NAN,
        .error_limit = lw_plan_limits(live->plan, shown->tap).error_rate};
    uint64_t errors = (uint64_t)(shown->silences + shown->damaged);
    if (lw_decide_rate(errors, (uint64_t)shown->polls, row->error_limit, (unsigned)live->count,
                       &decided, NULL) == LW_OK) {
        row->error_rate_low95 = decided.bounds.low;
    }
    return row->node != NULL && row->state != NULL;
}

static bool fill_event(const struct lw_live *live, const struct lw_live_event *event,
                       struct lw_live_result *result)
{
    char says[400];
    struct lw_live_result_event *row = lw_list_add(&result->events, sizeof *row);
    if (row == NULL) {
        return false;
    }
    *row = (struct lw_live_result_event){
        .what = lw_duplicate(lw_live_what_word(event->what)),
        .node = event->index < live->count ? lw_duplicate(name_of(live, event->index)) : NULL,
        .says = lw_duplicate(lw_live_says(live, event, says, sizeof says)),
        .from_s = event->from_s,
        .to_s = event->to_s,
        .count = event->count,
        .value = event->value};
    result->marks += event->what == LW_LIVE_MARK;
    if (event->what == LW_LIVE_UNPLUGGED) {
        result->unplugged++;
        result->unplugged_s +=
            (isfinite(event->to_s) ? event->to_s : result->seconds) - event->from_s;
    }
    return row->what != NULL && row->says != NULL;
}

enum lw_status lw_live_result(const struct lw_live *live, int64_t now_ns,
                              struct lw_live_result *result, struct lw_error *error)
{
    bool good = true;
    lw_json_init(&lw_live_shape, result);
    result->seconds = live_seconds(live, now_ns);
    result->polls = live->polls;
    result->polls_per_s = result->seconds > 0 ? live->polls / result->seconds : 0;
    result->events_in_all = live->events_in_all;
    for (size_t i = 0; i < live->count && good; i++) {
        good = fill_node(live, i, now_ns, result);
    }
    for (size_t i = 0; i < live->event_count && good; i++) {
        good = fill_event(live, &live->events[i], result);
    }
    return good ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for what was watched");
}

static const struct lw_live_result_event *event_at(const struct lw_live_result *result, size_t i)
{
    return &((const struct lw_live_result_event *)result->events.items)[i];
}

// How many of the node's silences of two polls and more came soon after a mark, and the last such
// mark.
static size_t after_marks(const struct lw_live_result *result, const char *node, const char **mark)
{
    size_t count = 0;
    double mark_s = -INFINITY;
    const char *says = NULL;
    for (size_t i = 0; i < result->events.count; i++) {
        const struct lw_live_result_event *event = event_at(result, i);
        bool its = event->node != NULL && strcmp(event->node, node) == 0;
        if (strcmp(event->what, "mark") == 0) {
            mark_s = event->from_s;
            says = event->says;
        } else if (its && strcmp(event->what, "silent") == 0 && event->count > 1 &&
                   event->from_s - mark_s <= mark_before_s) {
            *mark = says;
            count++;
        }
    }
    return count;
}

static struct lw_finding *about(struct lw_findings *findings, struct lw_finding *finding,
                                const struct lw_live_result_node *node)
{
    lw_finding_node(findings, finding, node->node, (size_t)node->tap, node->address);
    return finding;
}

// Breaks of the chain, by tap and time: what they did to the nodes behind them is said once, of the
// break.
enum { BREAKS_MOST = 64 };
struct breaks {
    size_t count;
    struct {
        int tap;
        double from_s, to_s;
    } at[BREAKS_MOST];
};

static int tap_of(const struct lw_live_result *result, const char *node)
{
    const struct lw_live_result_node *nodes = result->nodes.items;
    size_t i = 0;
    while (i + 1 < result->nodes.count && strcmp(nodes[i].node, node) != 0) {
        i++;
    }
    return nodes[i].tap;
}

static void list_breaks(const struct lw_live_result *result, struct breaks *breaks)
{
    const double settling_s = 2; // the nodes behind it start one by one
    breaks->count = 0;
    for (size_t i = 0; i < result->events.count && breaks->count < BREAKS_MOST; i++) {
        const struct lw_live_result_event *event = event_at(result, i);
        if (strcmp(event->what, "break") == 0) {
            breaks->at[breaks->count].tap = tap_of(result, event->node);
            breaks->at[breaks->count].from_s = event->from_s;
            breaks->at[breaks->count++].to_s =
                (isfinite(event->to_s) ? event->to_s : result->seconds) + settling_s;
        }
    }
}

static bool is_of_break(const struct breaks *breaks, int tap,
                        const struct lw_live_result_event *event)
{
    for (size_t i = 0; i < breaks->count; i++) {
        bool before = isfinite(event->to_s) && event->to_s < breaks->at[i].from_s;
        if (tap >= breaks->at[i].tap && !before && event->from_s <= breaks->at[i].to_s) {
            return true;
        }
    }
    return false;
}

// How many of the node's drop-outs ("silent") or restarts came with a break.
static double with_breaks(const struct lw_live_result *result, const struct breaks *breaks,
                          const struct lw_live_result_node *node, const char *what)
{
    double count = 0;
    bool drop_outs = strcmp(what, "silent") == 0;
    for (size_t i = 0; i < result->events.count; i++) {
        const struct lw_live_result_event *event = event_at(result, i);
        bool its = event->node != NULL && strcmp(event->node, node->node) == 0 &&
                   strcmp(event->what, what) == 0 && (!drop_outs || event->count > 1);
        count += its && is_of_break(breaks, node->tap, event);
    }
    return count;
}

static void find_drop_outs(const struct lw_live_result *result, const struct breaks *breaks,
                           const struct lw_live_result_node *node, struct lw_findings *findings)
{
    const char *mark = NULL;
    if (node->answers + node->damaged + node->refusals == 0) {
        about(findings,
              lw_findings_add(findings, "watch_never", LW_FAIL,
                              "%s did not answer while it was watched, %.0f polls", node->node,
                              node->polls),
              node);
        return;
    }
    double drop_outs = node->drop_outs - with_breaks(result, breaks, node, "silent");
    if (drop_outs <= 0) {
        return;
    }
    struct lw_finding *finding =
        about(findings,
              lw_findings_add(findings, "watch_dropped", LW_ATTENTION,
                              "%s dropped out %.0f x while it was watched, for at most %.2f s",
                              node->node, drop_outs, node->longest_out_s),
              node);
    size_t marked = after_marks(result, node->node, &mark);
    if (marked > 0) {
        lw_finding_because(findings, finding, "%zu of them within %.0f s after a mark, last '%s'",
                           marked, mark_before_s, mark);
    }
    if (node->restarts > 0) {
        lw_finding_because(findings, finding, "it started anew: the supply let go, not the data");
    }
}

static void find_errors(const struct lw_live_result_node *node, struct lw_findings *findings)
{
    if (node->drop_outs > 0 || !(node->error_rate_low95 > node->error_limit)) {
        return;
    }
    struct lw_finding *finding =
        about(findings,
              lw_findings_add(findings, "watch_errors", LW_ATTENTION,
                              "%s: %.0f of %.0f polls silent or damaged", node->node,
                              node->silences + node->damaged, node->polls),
              node);
    lw_finding_because(findings, finding, "more than %.3g of its polls go wrong, limit %.3g",
                       node->error_rate_low95, node->error_limit);
}

static void find_answers(const struct lw_live_result *result, const struct breaks *breaks,
                         const struct lw_live_result_node *node, struct lw_findings *findings)
{
    double restarts = node->restarts - with_breaks(result, breaks, node, "restart");
    if (node->jumps > 0) {
        about(findings,
              lw_findings_add(findings, "watch_jumped", LW_ATTENTION,
                              "the reading of %s jumped %.0f x while it was watched", node->node,
                              node->jumps),
              node);
    }
    if (restarts > 0) {
        about(findings,
              lw_findings_add(findings, "watch_restarted", LW_ATTENTION,
                              "%s started anew %.0f x while it was watched", node->node, restarts),
              node);
    }
    if (node->flags > 0) {
        about(findings,
              lw_findings_add(findings, "watch_flagged", LW_ATTENTION,
                              "a status bit of %s came up %.0f x while it was watched", node->node,
                              node->flags),
              node);
    }
}

static void find_volts(const struct lw_live_result_node *node, struct lw_findings *findings)
{
    if (node->low_polls == 0) {
        return;
    }
    struct lw_finding *finding =
        about(findings,
              lw_findings_add(findings, "watch_volts", LW_ATTENTION,
                              "%s had %.2f V while it was watched, and needs %.2f V", node->node,
                              node->lowest_v, node->needs_v),
              node);
    if (finding != NULL) {
        finding->value = node->lowest_v;
        finding->limit = node->needs_v;
        finding->unit = lw_duplicate("V");
    }
}

// A break is said once for each node that it began at.
static void find_breaks(const struct lw_live_result *result, struct lw_findings *findings)
{
    const struct lw_live_result_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        double count = 0;
        for (size_t k = 0; k < result->events.count; k++) {
            const struct lw_live_result_event *event = event_at(result, k);
            count += strcmp(event->what, "break") == 0 && strcmp(event->node, nodes[i].node) == 0;
        }
        if (count > 0) {
            struct lw_finding *finding =
                lw_findings_add(findings, "watch_break", LW_ATTENTION,
                                "from %s to the end of the chain all fell silent together, %.0f x",
                                nodes[i].node, count);
            lw_finding_span(findings, finding, (size_t)nodes[i].tap);
        }
    }
}

void lw_live_findings(const struct lw_live_result *result, struct lw_rule *rule,
                      struct lw_findings *findings)
{
    const struct lw_live_result_node *nodes = result->nodes.items;
    *rule = (struct lw_rule){
        .confidence = 0.95, .sided = 0, .corrected_for = (int)result->nodes.count, .proves = 1};
    struct breaks breaks;
    list_breaks(result, &breaks);
    find_breaks(result, findings);
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].polls == 0) {
            continue;
        }
        find_drop_outs(result, &breaks, &nodes[i], findings);
        find_errors(&nodes[i], findings);
        find_answers(result, &breaks, &nodes[i], findings);
        find_volts(&nodes[i], findings);
    }
    if (result->unplugged > 0) {
        lw_findings_add(findings, "watch_unplugged", LW_ATTENTION,
                        "the tester's own line was gone for %.1f s while the chain was watched",
                        result->unplugged_s);
    }
    if (result->polls == 0) {
        lw_findings_add(findings, "watch_nothing", LW_NOT_TESTED, "nothing was watched");
    }
}
