// SPDX-License-Identifier: GPL-3.0-or-later
//
// The judge of a line, exchange by exchange, in constant memory: counters and a histogram of reply
// times per address. Errors that follow each other within a second are one event: a contactor that
// drops out spoils several answers at once, and to count each as an independent witness would make
// the bound far too narrow. The bound is therefore taken on events, with the number of polls
// divided by the errors per event (the design effect of cluster sampling, Kish 1965).
#include "check/link_judge.h"
#include "check/ask.h"
#include "check/delays.h"
#include "check/link.h"
#include "stats/decide.h"
#include "stats/interval.h"

enum { NODES = 256 };

struct polled {
    struct lw_link_node node; // counters; name and bounds are filled at the end
    struct lw_delays *reply;
    int64_t last_sent_ns;
};

struct lw_link_judge {
    const struct lw_plan *plan;
    struct polled by_address[NODES];
    struct lw_delays cycle;
    int first_address; // whose polls mark the cycles; -1 before the first
    double wire_s;     // what the wire took for all exchanges
    double cycles;
    int64_t first_ns, last_ns;
    int64_t error_ns; // of the last error; INT64_MIN before the first
    double event_errors, events, bursts;
    int64_t second;
    double second_errors, worst_second;
    int64_t timing_u_ns; // the largest
    double decided_at;   // polls at the last look
    bool decided;
};

enum lw_status lw_link_judge_new(const struct lw_plan *plan, struct lw_link_judge **judge,
                                 struct lw_error *error)
{
    *judge = calloc(1, sizeof **judge);
    if (*judge == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for the judge of a line");
    }
    (*judge)->plan = plan;
    (*judge)->first_address = -1;
    (*judge)->error_ns = (*judge)->second = INT64_MIN;
    return LW_OK;
}

void lw_link_judge_free(struct lw_link_judge *judge)
{
    for (int i = 0; judge != NULL && i < NODES; i++) {
        free(judge->by_address[i].reply);
    }
    free(judge);
}

static void count_error(struct lw_link_judge *judge, int64_t at_ns)
{
    const int64_t second_ns = 1000000000;
    if (judge->error_ns == INT64_MIN || at_ns - judge->error_ns > second_ns) {
        judge->events++;
        judge->event_errors = 0;
    }
    judge->event_errors++;
    judge->bursts += judge->event_errors == 2;
    judge->error_ns = at_ns;
    if (judge->second == INT64_MIN || at_ns / second_ns != judge->second) {
        judge->second = at_ns / second_ns;
        judge->second_errors = 0;
    }
    judge->second_errors++;
    judge->worst_second = fmax(judge->worst_second, judge->second_errors);
}

static void count_cycle(struct lw_link_judge *judge, const struct lw_exchange *exchange,
                        struct polled *polled)
{
    if (judge->first_address < 0) {
        judge->first_address = exchange->address;
    }
    if (exchange->address == judge->first_address && polled->node.polls > 0) {
        lw_delays_add(&judge->cycle,
                      (double)(exchange->sent_first_ns - polled->last_sent_ns) / 1e6);
        judge->cycles++;
    }
    polled->last_sent_ns = exchange->sent_first_ns;
}

// Characters, t3.5 behind the answer, and the node's own latency, of which the t3.5 behind the
// request is a part.
static double wire_s(const struct lw_plan *plan, const struct lw_exchange *exchange)
{
    if (plan == NULL || exchange->reply_first_ns < 0) {
        return 0;
    }
    size_t chars = exchange->request.count + exchange->reply.count + 6;
    int64_t ns = lw_framing_chars_ns(&plan->framing, chars) + lw_framing_t35_ns(&plan->framing) +
                 exchange->reply_first_ns - exchange->sent_last_ns;
    return (double)ns / 1e9;
}

static double errors_of(const struct lw_link_node *node)
{
    return node->no_answer + node->crc_error + node->wrong_answer;
}

// A node that never answered says nothing about the line: it is found on its own, and its silences
// are no bursts.
static bool is_silent(const struct lw_link_node *node)
{
    return node->polls > 0 && node->no_answer == node->polls;
}

void lw_link_judge_take(struct lw_link_judge *judge, const struct lw_exchange *exchange)
{
    struct polled *polled = &judge->by_address[exchange->address];
    if (exchange->outcome == LW_NOT_SENT) {
        return;
    }
    if (judge->first_address < 0) {
        judge->first_ns = exchange->sent_first_ns;
    }
    judge->last_ns = exchange->sent_last_ns;
    count_cycle(judge, exchange, polled);
    struct lw_link_node *node = &polled->node;
    node->polls++;
    node->no_answer += exchange->outcome == LW_NO_ANSWER;
    node->crc_error += exchange->outcome == LW_CRC_ERROR;
    node->wrong_answer += exchange->outcome == LW_WRONG_ANSWER;
    node->exception += exchange->outcome == LW_EXCEPTION;
    judge->wire_s += wire_s(judge->plan, exchange);
    bool good = exchange->outcome == LW_ANSWERED || exchange->outcome == LW_EXCEPTION;
    if (!good) {
        if (!is_silent(node)) {
            count_error(judge, exchange->sent_last_ns);
        }
        return;
    }
    judge->timing_u_ns =
        exchange->timing_u_ns > judge->timing_u_ns ? exchange->timing_u_ns : judge->timing_u_ns;
    if (polled->reply == NULL) {
        polled->reply = calloc(1, sizeof *polled->reply);
    }
    if (polled->reply != NULL) {
        lw_delays_add(polled->reply,
                      (double)(exchange->reply_first_ns - exchange->sent_last_ns) / 1e6);
    }
}

static void pool(const struct lw_link_judge *judge, struct lw_link_line *line)
{
    *line = (struct lw_link_line){.bursts = judge->bursts, .worst_second = judge->worst_second};
    for (int i = 0; i < NODES; i++) {
        const struct lw_link_node *node = &judge->by_address[i].node;
        if (!is_silent(node)) {
            line->polls += node->polls;
            line->errors += errors_of(node);
        }
    }
    line->error_rate = line->polls > 0 ? line->errors / line->polls : NAN;
    double hours = (double)(judge->last_ns - judge->first_ns) / 3600e9;
    line->bursts_per_h = hours > 0 ? judge->bursts / hours : 0;
}

// Errors and polls, both divided by the errors per event.
void lw_link_independent(double errors, double polls, double bursts, double events,
                         uint64_t *independent_errors, uint64_t *independent_polls)
{
    double per_event = bursts > 0 && events > 0 ? fmax(errors / events, 1) : 1;
    *independent_errors = (uint64_t)ceil(errors / per_event);
    *independent_polls = (uint64_t)fmax(floor(polls / per_event), 0);
    if (*independent_errors > *independent_polls) {
        *independent_errors = *independent_polls;
    }
}

static void decide_pooled(const struct lw_link_judge *judge, const struct lw_link_line *line,
                          double limit, struct lw_decided *decided)
{
    uint64_t errors, polls;
    lw_link_independent(line->errors, line->polls, line->bursts, judge->events, &errors, &polls);
    *decided = (struct lw_decided){.bounds = {NAN, NAN}};
    (void)lw_decide_rate(errors, polls, limit, 1, decided, NULL);
}

double lw_link_limit(const struct lw_plan *plan)
{
    double limit = plan != NULL ? plan->limits.error_rate : NAN;
    return isfinite(limit) ? limit : 1e-3;
}

// The bound is looked at at a few sizes only, each a quarter more than the last, so that looking
// again and again does not wear the 95 % away.
bool lw_link_judge_decided(struct lw_link_judge *judge)
{
    struct lw_link_line line;
    struct lw_decided decided;
    pool(judge, &line);
    double limit = lw_link_limit(judge->plan);
    double next_look = judge->decided_at > 0 ? judge->decided_at * 1.25 : ceil(2.9957 / limit);
    if (judge->decided || line.polls < next_look) {
        return judge->decided;
    }
    judge->decided_at = line.polls;
    decide_pooled(judge, &line, limit, &decided);
    judge->decided = decided.decision != LW_LIMIT_OPEN;
    return judge->decided;
}

static double upper95(double errors, double polls)
{
    struct lw_interval interval = {NAN, NAN};
    (void)lw_interval_clopper_pearson(LW_ONE_SIDED, 0.95, (uint64_t)errors, (uint64_t)polls,
                                      &interval, NULL);
    return interval.high;
}

static void fill_node(const struct lw_plan *plan, int address, const struct polled *polled,
                      struct lw_link_node *node)
{
    *node = polled->node;
    node->address = address;
    size_t tap = 0;
    const struct lw_chain_entry *entry =
        plan != NULL ? lw_plan_by_address(plan, address, &tap) : NULL;
    node->node = entry != NULL ? lw_duplicate(entry->node) : NULL;
    node->tap = (int)tap;
    node->error_rate = errors_of(node) / node->polls;
    node->upper95 = upper95(errors_of(node), node->polls);
    node->reply_ms.p50 = lw_delays_quantile(polled->reply, 0.50);
    node->reply_ms.p95 = lw_delays_quantile(polled->reply, 0.95);
    node->reply_ms.max = polled->reply != NULL ? polled->reply->largest_ms : NAN;
}

// Adapter and system keep everybody's answers alike, so they spread them no more than those of the
// node that is spread least; its own unsteadiness is in it, and what they keep always is not seen.
static double spread_ms(const struct lw_link_judge *judge)
{
    enum { ENOUGH = 20 };
    double least_ms = NAN;
    for (int i = 0; i < NODES; i++) {
        const struct lw_delays *reply = judge->by_address[i].reply;
        if (reply != NULL && reply->total >= ENOUGH) {
            double fastest_ms = lw_delays_quantile(reply, 0.5 / reply->total);
            least_ms = fmin(least_ms, lw_delays_quantile(reply, 0.95) - fastest_ms);
        }
    }
    return least_ms;
}

enum lw_status lw_link_judge_result(const struct lw_link_judge *judge,
                                    struct lw_link_result *result, struct lw_error *error)
{
    lw_json_init(&lw_link_shape, result);
    for (int address = 0; address < NODES; address++) {
        if (judge->by_address[address].node.polls == 0) {
            continue;
        }
        struct lw_link_node *node = lw_list_add(&result->nodes, sizeof *node);
        if (node == NULL) {
            lw_json_free(&lw_link_shape, result);
            return lw_fail(error, LW_MEMORY, "no memory for a node");
        }
        fill_node(judge->plan, address, &judge->by_address[address], node);
    }
    struct lw_decided decided;
    result->late_ms = sqrt(3) * (double)judge->timing_u_ns / 1e6;
    result->spread_ms = spread_ms(judge);
    pool(judge, &result->line);
    decide_pooled(judge, &result->line, lw_link_limit(judge->plan), &decided);
    result->line.upper95 = decided.bounds.high;
    result->line.lower95 = decided.bounds.low;
    result->line.events = judge->events;
    result->line.n_to_decide = decided.n_to_decide;
    result->line.verdict = decided.decision == LW_LIMIT_KEPT     ? LW_PASS
                           : decided.decision == LW_LIMIT_BROKEN ? LW_FAIL
                                                                 : LW_UNDECIDED;
    result->cycle_ms = lw_delays_quantile(&judge->cycle, 0.5);
    result->longest_cycle_ms = judge->cycle.total > 0 ? judge->cycle.largest_ms : NAN;
    result->wire_cycle_ms = judge->cycles > 0 ? judge->wire_s * 1e3 / (judge->cycles + 1) : NAN;
    result->elapsed_s = (double)(judge->last_ns - judge->first_ns) / 1e9;
    return LW_OK;
}
