// SPDX-License-Identifier: GPL-3.0-or-later
//
// From polls and turns of switches to what each node did. A restart is proved from the node's own
// uptime: a poll at t with uptime u says that it started between t - u - 1 s and t - u, since
// uptimes are cut to whole seconds; two polls whose intervals do not meet have a start between
// them.
#include "check/ask.h"
#include "check/restart.h"

#include <string.h>

// A node's clock may be off by so much of the time that passes, and by so much in all (crystals
// hold a thousandth of that, RC oscillators a hundredth; from memory).
static const double clock_share = 0.02, clock_s = 0.1;

// A dropped-out node misses several polls; one lost answer is the link's matter.
enum { DROP_OUT_POLLS = 3 };
static const double drop_out_s = 0.5;

// What charged capacitors may still feed after the switch was turned (common practice).
static const double holds_up_s = 2;

struct window {
    int cycle, order;
    double off_s, on_s, end_s; // on_s: the first of its turns on
};

struct judging {
    const struct lw_plan *plan;
    const struct lw_restart_log *log;
    struct lw_restart_result *result;
};

static const struct lw_restart_turn *turn_at(const struct judging *judging, size_t i)
{
    return (const struct lw_restart_turn *)judging->log->turns.items + i;
}

static double end_of_log(const struct judging *judging)
{
    const struct lw_restart_poll *polls = judging->log->polls.items;
    size_t count = judging->log->polls.count, turns = judging->log->turns.count;
    double end_s = count > 0 ? polls[count - 1].time_s : 0;
    return turns > 0 ? fmax(end_s, turn_at(judging, turns - 1)->time_s) : end_s;
}

// A cycle that was done again takes the place of what it was.
static bool is_done_again(const struct judging *judging, size_t i, int cycle)
{
    for (; i < judging->log->turns.count; i++) {
        if (!turn_at(judging, i)->on && turn_at(judging, i)->cycle <= cycle) {
            return true;
        }
    }
    return false;
}

static void fill_window(const struct judging *judging, size_t off, struct window *window)
{
    const struct lw_restart_turn *turn = turn_at(judging, off);
    *window = (struct window){.cycle = turn->cycle,
                              .order = turn->order,
                              .off_s = turn->time_s,
                              .on_s = turn_at(judging, off + 1)->time_s,
                              .end_s = INFINITY};
    for (size_t k = off + 1; k < judging->log->turns.count; k++) {
        if (!turn_at(judging, k)->on) {
            window->end_s = turn_at(judging, k)->time_s;
            return;
        }
    }
}

// The next cycle from turn *i on; false when there is none that was switched on again.
static bool next_window(const struct judging *judging, size_t *i, struct window *window)
{
    for (size_t off = *i; off + 1 < judging->log->turns.count; off++) {
        bool begins = !turn_at(judging, off)->on && turn_at(judging, off + 1)->on;
        if (begins && !is_done_again(judging, off + 2, turn_at(judging, off)->cycle)) {
            fill_window(judging, off, window);
            *i = off + 1;
            return true;
        }
    }
    return false;
}

static double last_turn_s(const struct judging *judging, double before_s)
{
    double time_s = 0;
    for (size_t i = 0; i < judging->log->turns.count; i++) {
        const struct lw_restart_turn *turn = turn_at(judging, i);
        time_s = turn->on && turn->time_s <= before_s ? turn->time_s : time_s;
    }
    return time_s;
}

// What one node's polls in one window add up to, poll by poll.
struct course {
    const struct lw_restart_poll *last, *first; // the last answered, the first answered
    double messages, restarts;                  // as last told; NAN: not yet
    double previous_s;                          // of the poll before, answered or not
    double started_before_s;                    // it had started by then
    int silent;                                 // polls in a row
    double silent_from_s;
    double off_answer_s; // the last answer between off and on
};

// Whether this poll proves a start since the one before. Counters of messages wrap at 65536.
static bool proves_start(const struct course *course, const struct lw_restart_poll *poll)
{
    double slack_s = clock_s + clock_share * (poll->time_s - course->last->time_s);
    bool by_uptime = poll->time_s - poll->uptime_s - 1 - slack_s > course->started_before_s;
    bool by_count = poll->restarts > course->restarts;
    bool by_messages = poll->messages < course->messages && course->messages < 60000;
    return by_uptime || by_count || by_messages;
}

static void go_on(struct course *course, const struct lw_restart_poll *poll, bool started)
{
    double before_s = poll->time_s - poll->uptime_s;
    bool fresh = started || course->last == NULL || isnan(course->started_before_s);
    course->started_before_s = fresh ? before_s : fmin(course->started_before_s, before_s);
    course->messages = isnan(poll->messages) ? course->messages : poll->messages;
    course->restarts = isnan(poll->restarts) ? course->restarts : poll->restarts;
    course->last = poll;
    course->silent = 0;
}

static void take_first(const struct judging *judging, struct course *course,
                       const struct lw_restart_poll *poll, struct lw_restart_came *came)
{
    double turn_s = last_turn_s(judging, poll->time_s);
    came->away = false;
    came->first_answer_s = poll->time_s - turn_s;
    came->resolution_s = poll->time_s - fmax(course->previous_s, turn_s);
    course->first = poll;
}

static void take_poll(const struct judging *judging, struct course *course,
                      const struct lw_restart_poll *poll, struct lw_restart_came *came)
{
    if (!poll->answered) {
        course->silent_from_s = course->silent == 0 ? poll->time_s : course->silent_from_s;
        course->silent++;
    } else if (course->first == NULL) {
        take_first(judging, course, poll, came);
        go_on(course, poll, true);
    } else {
        bool dropped =
            course->silent >= DROP_OUT_POLLS && poll->time_s - course->silent_from_s >= drop_out_s;
        bool started = proves_start(course, poll);
        came->again += dropped || started;
        came->proved = came->proved || started;
        go_on(course, poll, started);
    }
    course->previous_s = poll->time_s;
}

// A node may start several times before its first answer is heard: its own count tells.
static void count_early_starts(const struct lw_restart_poll *before, const struct course *course,
                               struct lw_restart_came *came)
{
    if (before != NULL && course->first != NULL && course->first->restarts - before->restarts > 1) {
        came->again += (int)(course->first->restarts - before->restarts) - 1;
        came->proved = true;
    }
}

static void judge_window(const struct judging *judging, const struct window *window, int tap,
                         struct lw_restart_came *came)
{
    const struct lw_restart_poll *polls = judging->log->polls.items, *before = NULL;
    struct course course = {
        .messages = NAN, .restarts = NAN, .previous_s = window->off_s, .off_answer_s = -INFINITY};
    *came = (struct lw_restart_came){
        .cycle = window->cycle, .away = true, .first_answer_s = NAN, .resolution_s = NAN};
    for (size_t i = 0; i < judging->log->polls.count && polls[i].time_s <= window->end_s; i++) {
        if (polls[i].tap != tap) {
            continue;
        }
        if (polls[i].time_s <= window->off_s) {
            before = polls[i].answered ? &polls[i] : before;
        } else if (polls[i].time_s <= window->on_s) {
            course.off_answer_s = polls[i].answered ? polls[i].time_s : course.off_answer_s;
            course.previous_s = polls[i].time_s;
        } else {
            take_poll(judging, &course, &polls[i], came);
        }
    }
    came->still_on = course.off_answer_s > window->off_s + holds_up_s;
    came->lost = course.first != NULL && course.silent >= DROP_OUT_POLLS &&
                 course.previous_s - course.silent_from_s >= drop_out_s;
    count_early_starts(before, &course, came);
    if (came->still_on) {
        came->first_answer_s = came->resolution_s = NAN;
    }
}

static double mean(const double *values, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++) {
        sum += values[i];
    }
    return count > 0 ? sum / (double)count : (double)NAN;
}

// Least squares over the readings since the first answer of the last cycle, per minute.
static double slope_per_min(const double *time_s, const double *values, size_t count)
{
    enum { FEW = 10 };
    double mean_s = mean(time_s, count), mean_value = mean(values, count), over = 0, under = 0;
    for (size_t i = 0; i < count; i++) {
        over += (time_s[i] - mean_s) * (values[i] - mean_value);
        under += (time_s[i] - mean_s) * (time_s[i] - mean_s);
    }
    return count >= FEW && under > 0 ? 60 * over / under : (double)NAN;
}

// Readings before the first turn and after the last cycle's first answer.
static enum lw_status judge_readings(const struct judging *judging, const struct window *last,
                                     struct lw_restart_node *node, struct lw_error *error)
{
    enum { FIVE = 5 };
    const struct lw_restart_poll *polls = judging->log->polls.items;
    double *time_s = calloc(2 * judging->log->polls.count + 2, sizeof *time_s);
    double before[FIVE];
    size_t count = 0, count_before = 0;
    if (time_s == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for readings");
    }
    double *values = time_s + judging->log->polls.count + 1;
    double first_off_s = judging->log->turns.count > 0 ? turn_at(judging, 0)->time_s : INFINITY;
    for (size_t i = 0; i < judging->log->polls.count; i++) {
        if (polls[i].tap != node->tap || isnan(polls[i].reading)) {
            continue;
        }
        if (polls[i].time_s <= first_off_s && count_before < FIVE) {
            before[count_before++] = polls[i].reading;
        } else if (polls[i].time_s > last->on_s) {
            time_s[count] = polls[i].time_s;
            values[count++] = polls[i].reading;
        }
    }
    size_t few = count < FIVE ? count : FIVE;
    node->reading_before = mean(before, count_before);
    node->reading_first = count > 0 ? values[0] : (double)NAN;
    node->reading_last = mean(values + count - few, few);
    node->drift_per_min = slope_per_min(time_s, values, count);
    free(time_s);
    return LW_OK;
}

static void judge_status(const struct judging *judging, struct lw_restart_node *node)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, (size_t)node->tap);
    const struct lw_restart_poll *polls = judging->log->polls.items;
    int stale = (int)lw_status_mask(entry->is, LW_BIT_STALE_IDENTITY);
    double first_off_s = judging->log->turns.count > 0 ? turn_at(judging, 0)->time_s : INFINITY;
    for (size_t i = 0; i < judging->log->polls.count; i++) {
        if (polls[i].tap != node->tap || !polls[i].answered) {
            continue;
        }
        bool is_stale = polls[i].status >= 0 && (polls[i].status & stale) != 0;
        bool before = polls[i].time_s <= first_off_s;
        node->before = node->before || before;
        node->stale_before = before ? is_stale : node->stale_before;
        node->stale_after = !before && is_stale;
        node->lowest_v = before ? node->lowest_v : polls[i].lowest_v;
    }
}

static enum lw_status judge_identity(const struct judging *judging, struct lw_restart_node *node,
                                     struct lw_error *error)
{
    const struct lw_restart_identity *items = judging->log->identities.items;
    const char *before = NULL, *after = NULL;
    for (size_t i = 0; i < judging->log->identities.count; i++) {
        if (items[i].tap == node->tap) {
            before = items[i].cycle == 0 ? items[i].text : before;
            after = items[i].cycle > 0 ? items[i].text : after;
        }
    }
    if (before == NULL || after == NULL || strcmp(before, after) == 0) {
        return LW_OK;
    }
    node->identity_before = lw_duplicate(before);
    node->identity_after = lw_duplicate(after);
    return node->identity_before != NULL && node->identity_after != NULL
               ? LW_OK
               : lw_fail(error, LW_MEMORY, "no memory for an identity");
}

static enum lw_status judge_node(const struct judging *judging, int tap, struct lw_error *error)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, (size_t)tap);
    const struct lw_register *reading = lw_profile_register(entry->is, LW_ROLE_READING);
    struct lw_restart_node *node = lw_list_add(&judging->result->nodes, sizeof *node);
    struct window window, last = {.on_s = INFINITY};
    if (node == NULL || (node->node = lw_duplicate(entry->node)) == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a node");
    }
    node->tap = tap;
    node->address = entry->address;
    node->lowest_v = NAN;
    node->unit = reading != NULL ? lw_duplicate(reading->unit) : NULL;
    for (size_t i = 0; next_window(judging, &i, &window);) {
        struct lw_restart_came *came = lw_list_add(&node->cycles, sizeof *came);
        if (came == NULL) {
            return lw_fail(error, LW_MEMORY, "no memory for a cycle");
        }
        judge_window(judging, &window, tap, came);
        last = window;
    }
    judge_status(judging, node);
    enum lw_status status = judge_identity(judging, node, error);
    return status == LW_OK ? judge_readings(judging, &last, node, error) : status;
}

static enum lw_status judge_cycles(const struct judging *judging, struct lw_error *error)
{
    struct window window;
    const struct lw_restart_node *nodes = judging->result->nodes.items;
    size_t index = 0;
    for (size_t i = 0; next_window(judging, &i, &window); index++) {
        struct lw_restart_cycle *cycle = lw_list_add(&judging->result->cycles, sizeof *cycle);
        if (cycle == NULL) {
            return lw_fail(error, LW_MEMORY, "no memory for a cycle");
        }
        *cycle = (struct lw_restart_cycle){.cycle = window.cycle,
                                           .order = window.order,
                                           .off_s = window.on_s - window.off_s,
                                           .watched_s = fmin(window.end_s, end_of_log(judging)) -
                                                        window.on_s};
        for (size_t k = 0; k < judging->result->nodes.count; k++) {
            const struct lw_restart_came *came = nodes[k].cycles.items;
            cycle->came += !came[index].away;
            cycle->away += came[index].away;
            cycle->again += came[index].again > 0;
        }
    }
    return LW_OK;
}

enum lw_status lw_restart_judge(const struct lw_plan *plan,
                                const struct lw_restart_options *options,
                                const struct lw_restart_log *log, struct lw_restart_result *result,
                                struct lw_error *error)
{
    struct judging judging = {plan, log, result};
    enum lw_status status = LW_OK;
    result->hand_s = log->hand_s;
    result->elapsed_s = end_of_log(&judging);
    for (size_t tap = 1; tap <= lw_plan_taps(plan) && status == LW_OK; tap++) {
        bool selected = options->selected == NULL || options->selected[tap - 1];
        if (selected && lw_plan_tap(plan, tap)->node != NULL) {
            status = judge_node(&judging, (int)tap, error);
        }
    }
    return status == LW_OK ? judge_cycles(&judging, error) : status;
}
