// SPDX-License-Identifier: GPL-3.0-or-later
//
// A controller's polling held against the plan: whom it asks, for what, with how much patience, and
// what the answers look like. What it makes of the answers stays in the controller; the plan says
// what it is set to, and the answers say whether that can be right.
#include "base/words.h"
#include "check/listen.h"

#include "site/registers.h"

enum {
    ENOUGH_ROUNDS = 3,    // of the slowest repeated question, before a missing one counts
    ENOUGH_READINGS = 10, // before they speak about the order of words
    SAME_IN_A_ROW = 20,   // answers
};
static const double same_for_s = 5; // and so long: a sensor may be asked faster than it measures

struct judging {
    const struct lw_plan *plan;
    const struct lw_listen_result *result;
    struct lw_findings *findings;
    bool long_enough;
};

// What the controller should ask a node for.
struct wanted {
    int function, at, count;
};

static const char *order_word(int order)
{
    return order == LW_HIGH_FIRST ? N_("high word first") : N_("low word first");
}

static const struct lw_listen_node *node_at(const struct lw_listen_result *result, int address)
{
    const struct lw_listen_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].address == address) {
            return &nodes[i];
        }
    }
    return NULL;
}

static struct lw_finding *about(const struct judging *judging, struct lw_finding *finding,
                                size_t tap)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, tap);
    lw_finding_node(judging->findings, finding, entry->node, tap, entry->address);
    return finding;
}

static void set_value(struct lw_finding *finding, double value, double limit, const char *unit)
{
    if (finding != NULL) {
        finding->value = value;
        finding->limit = limit;
        finding->unit = lw_duplicate(unit);
    }
}

// Questions that come in the slowest rhythm have been heard a few times.
static bool heard_long_enough(const struct lw_plan *plan, const struct lw_listen_result *result)
{
    const struct lw_listen_read *reads = result->reads.items;
    double slowest_ms = NAN;
    for (size_t i = 0; i < result->reads.count; i++) {
        slowest_ms = fmax(slowest_ms, reads[i].period_ms.p50);
    }
    if (plan->controller != NULL) {
        slowest_ms = fmax(slowest_ms, plan->controller->cycle_ms);
    }
    return result->elapsed_s * 1e3 >= ENOUGH_ROUNDS * slowest_ms;
}

static void judge_polled(const struct judging *judging, size_t tap)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, tap);
    struct lw_finding *finding = lw_findings_add(
        judging->findings, "listen_not_polled", judging->long_enough ? LW_FAIL : LW_UNDECIDED,
        "the controller never asks %s at address %d", entry->node, entry->address);
    about(judging, finding, tap);
    lw_finding_because(judging->findings, finding, "heard for %.1f s, %.0f questions",
                       judging->result->elapsed_s, judging->result->exchanges);
}

static void judge_answers(const struct judging *judging, size_t tap,
                          const struct lw_listen_node *node)
{
    double bad = node->requests - node->replies;
    if (bad > 0) {
        struct lw_finding *finding = lw_findings_add(
            judging->findings, "listen_unanswered", node->replies == 0 ? LW_FAIL : LW_ATTENTION,
            "%s gives no good answer to %.0f of %.0f questions", node->node, bad, node->requests);
        about(judging, finding, tap);
        lw_finding_because(judging->findings, finding, "%.0f silent, %.0f damaged",
                           node->unanswered, node->crc_errors);
        set_value(finding, bad / node->requests, NAN, "1");
    }
    if (node->exceptions > 0) {
        about(judging,
              lw_findings_add(judging->findings, "listen_exceptions",
                              node->exceptions == node->replies ? LW_FAIL : LW_ATTENTION,
                              "%s refuses %.0f of %.0f questions", node->node, node->exceptions,
                              node->requests),
              tap);
    }
}

static bool covers(const struct lw_listen_read *read, const struct wanted *wanted)
{
    return read->function == wanted->function && read->start >= 0 && read->start <= wanted->at &&
           read->start + read->count >= wanted->at + wanted->count;
}

static bool touches(const struct lw_listen_read *read, const struct wanted *wanted)
{
    return read->function == wanted->function && read->start >= 0 &&
           read->start < wanted->at + wanted->count && wanted->at < read->start + read->count;
}

// The read of this address that comes closest to what is wanted: exact, around it, a part of it, of
// something else. NULL: none at all.
static const struct lw_listen_read *closest(const struct lw_listen_result *result, int address,
                                            const struct wanted *wanted)
{
    const struct lw_listen_read *reads = result->reads.items, *best = NULL;
    int best_rank = -1;
    for (size_t i = 0; i < result->reads.count; i++) {
        bool exact = covers(&reads[i], wanted) && reads[i].count == wanted->count;
        int rank = exact ? 3 : covers(&reads[i], wanted) ? 2 : touches(&reads[i], wanted) ? 1 : 0;
        if (reads[i].address == address && rank > best_rank) {
            best = &reads[i];
            best_rank = rank;
        }
    }
    return best;
}

static void judge_registers(const struct judging *judging, size_t tap, const struct wanted *wanted,
                            bool planned)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, tap);
    const struct lw_listen_read *read = closest(judging->result, entry->address, wanted);
    struct lw_finding *finding = NULL;
    if (read == NULL || (covers(read, wanted) && (read->count == wanted->count || !planned))) {
        return;
    }
    if (!touches(read, wanted)) {
        finding = lw_findings_add(
            judging->findings, "listen_register", judging->long_enough ? LW_FAIL : LW_UNDECIDED,
            "the controller never asks %s for function %d, register %d, %d of them", entry->node,
            wanted->function, wanted->at, wanted->count);
    } else if (covers(read, wanted)) {
        finding = lw_findings_add(judging->findings, "listen_length", LW_ATTENTION,
                                  "the controller asks %s for more than is planned", entry->node);
    } else {
        finding =
            lw_findings_add(judging->findings, "listen_length", LW_FAIL,
                            "the controller asks %s for a part of what it needs only", entry->node);
    }
    about(judging, finding, tap);
    lw_finding_because(judging->findings, finding,
                       "it asks for function %d, register %d, %d of them; %s are function %d, "
                       "register %d, %d",
                       read->function, read->start, read->count,
                       planned ? "planned" : "its profile's reading", wanted->function, wanted->at,
                       wanted->count);
}

static const struct lw_register *two_words_in(const struct lw_profile *profile,
                                              const struct wanted *wanted)
{
    const struct lw_register *registers = profile->registers.items;
    for (size_t i = 0; i < profile->registers.count; i++) {
        const struct lw_register *reg = &registers[i];
        if (reg->function == wanted->function && reg->at >= wanted->at &&
            reg->at + 2 <= wanted->at + wanted->count && reg->type != LW_REGISTER_TEXT &&
            lw_register_words(reg) == 2) {
            return reg;
        }
    }
    return NULL;
}

static void judge_planned_order(const struct judging *judging, size_t tap,
                                const struct lw_controller_read *planned)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, tap);
    const struct wanted wanted = {planned->function, planned->at, planned->count};
    const struct lw_register *reg = two_words_in(entry->is, &wanted);
    if (reg == NULL || reg->word_order == planned->word_order) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        judging->findings, "listen_word_order", LW_FAIL,
        "the controller takes the two words of %s the wrong way round", entry->node);
    about(judging, finding, tap);
    lw_finding_because(judging->findings, finding, "the plan has it set to %s, the profile says %s",
                       order_word(planned->word_order), order_word(reg->word_order));
}

// The values themselves: in range only with their words swapped.
static void judge_seen_order(const struct judging *judging, size_t tap,
                             const struct lw_listen_read *read)
{
    if (read->decoded < ENOUGH_READINGS || read->in_range > read->decoded / 2 ||
        read->in_range_swapped < 0.95 * read->decoded) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        judging->findings, "listen_word_order", LW_FAIL,
        "%s sends its two words the other way round than its profile says", read->node);
    about(judging, finding, tap);
    lw_finding_because(judging->findings, finding,
                       "of %.0f readings %.0f are in the range as the profile has them, %.0f with "
                       "the words swapped",
                       read->decoded, read->in_range, read->in_range_swapped);
}

static bool holds_reading(const struct lw_profile *profile, const struct lw_listen_read *read)
{
    const struct lw_register *reg = lw_profile_register(profile, LW_ROLE_READING);
    if (reg == NULL) {
        return false;
    }
    const struct wanted wanted = {reg->function, reg->at, (int)lw_register_words(reg)};
    return covers(read, &wanted);
}

static void judge_repeats(const struct judging *judging, size_t tap,
                          const struct lw_listen_read *read)
{
    double row_s = read->longest_repeat * read->period_ms.p50 / 1e3;
    if (!holds_reading(lw_plan_tap(judging->plan, tap)->is, read) ||
        read->longest_repeat < SAME_IN_A_ROW || !(row_s >= same_for_s)) {
        return;
    }
    struct lw_finding *finding =
        lw_findings_add(judging->findings, "listen_unchanged", LW_ATTENTION,
                        "%s gives the same reading bit for bit for %.0f answers in a row",
                        read->node, read->longest_repeat);
    about(judging, finding, tap);
    lw_finding_because(judging->findings, finding, "that is %.0f s; %.0f answers in all", row_s,
                       read->replies);
}

static void judge_reads_of(const struct judging *judging, size_t tap)
{
    const struct lw_listen_read *reads = judging->result->reads.items;
    for (size_t i = 0; i < judging->result->reads.count; i++) {
        if (reads[i].tap == (int)tap) {
            judge_seen_order(judging, tap, &reads[i]);
            judge_repeats(judging, tap, &reads[i]);
        }
    }
}

// Without planned reads a controller has to ask for the reading at the least.
static void judge_profile_reading(const struct judging *judging, size_t tap)
{
    const struct lw_profile *profile = lw_plan_tap(judging->plan, tap)->is;
    const struct lw_register *reg = lw_profile_register(profile, LW_ROLE_READING);
    if (reg != NULL) {
        const struct wanted wanted = {reg->function, reg->at, (int)lw_register_words(reg)};
        judge_registers(judging, tap, &wanted, false);
    }
}

static enum lw_status judge_planned_read(const struct judging *judging,
                                         const struct lw_controller_read *read, bool *selected)
{
    enum lw_status status = lw_plan_select(judging->plan, read->nodes, NULL, selected, NULL);
    for (size_t tap = 1; status == LW_OK && tap <= lw_plan_taps(judging->plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, tap);
        if (selected[tap - 1] && node_at(judging->result, entry->address) != NULL) {
            const struct wanted wanted = {read->function, read->at, read->count};
            judge_registers(judging, tap, &wanted, true);
            judge_planned_order(judging, tap, read);
        }
    }
    return status;
}

static void judge_planned_reads(const struct judging *judging)
{
    const struct lw_controller *controller = judging->plan->controller;
    const struct lw_controller_read *reads = controller->reads.items;
    bool *selected = calloc(lw_plan_taps(judging->plan) + 1, sizeof *selected);
    judging->findings->failed |= selected == NULL;
    for (size_t i = 0; selected != NULL && i < controller->reads.count; i++) {
        (void)judge_planned_read(judging, &reads[i], selected);
    }
    free(selected);
}

static void judge_nodes(const struct judging *judging)
{
    const struct lw_controller *controller = judging->plan->controller;
    bool planned = controller != NULL && controller->reads.count > 0;
    for (size_t tap = 1; tap <= lw_plan_taps(judging->plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, tap);
        if (entry->node == NULL) {
            continue;
        }
        const struct lw_listen_node *node = node_at(judging->result, entry->address);
        if (node == NULL) {
            judge_polled(judging, tap);
            continue;
        }
        judge_answers(judging, tap, node);
        judge_reads_of(judging, tap);
        if (!planned) {
            judge_profile_reading(judging, tap);
        }
    }
    if (planned) {
        judge_planned_reads(judging);
    }
}

static void judge_unplanned(const struct judging *judging)
{
    const struct lw_listen_node *nodes = judging->result->nodes.items;
    for (size_t i = 0; i < judging->result->nodes.count; i++) {
        if (nodes[i].tap == 0 && nodes[i].address != 0) {
            struct lw_finding *finding = lw_findings_add(
                judging->findings, "listen_unplanned", LW_ATTENTION,
                "the controller asks address %d, which the plan does not have", nodes[i].address);
            lw_finding_because(judging->findings, finding, "%.0f of %.0f questions are answered",
                               nodes[i].replies, nodes[i].requests);
            lw_finding_node(judging->findings, finding, NULL, 0, nodes[i].address);
        }
    }
}

// The tap whose answers came latest, and how late; 0 when none was timed.
static size_t slowest_answer(const struct lw_listen_result *result, double *ms)
{
    const struct lw_listen_node *nodes = result->nodes.items;
    size_t tap = 0;
    *ms = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].tap > 0 && nodes[i].reply_ms.max > *ms) {
            *ms = nodes[i].reply_ms.max;
            tap = (size_t)nodes[i].tap;
        }
    }
    return tap;
}

static size_t slowest_profile(const struct lw_plan *plan, double *ms)
{
    size_t slowest = 0;
    *ms = 0;
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (entry->node != NULL && entry->is->timing.slowest_reply_ms > *ms) {
            *ms = entry->is->timing.slowest_reply_ms;
            slowest = tap;
        }
    }
    return slowest;
}

static void find_impatient(const struct judging *judging, enum lw_verdict severity,
                           double timeout_ms, double reply_ms, size_t tap, const char *how)
{
    struct lw_finding *finding =
        lw_findings_add(judging->findings, "listen_timeout", severity,
                        "the controller waits %.0f ms for an answer, %s %s takes %.1f ms",
                        timeout_ms, lw_plan_tap(judging->plan, tap)->node, how, reply_ms);
    about(judging, finding, tap);
    set_value(finding, timeout_ms, reply_ms, "ms");
}

// The shortest wait after a question that nobody answered is the time-out, or a little more.
static void judge_timeout(const struct judging *judging)
{
    const struct lw_controller *controller = judging->plan->controller;
    double planned_ms = controller != NULL ? controller->timeout_ms : NAN;
    double timeout_ms = fmin(judging->result->timeout_ms, planned_ms);
    double answer_ms, profile_ms;
    size_t answers = slowest_answer(judging->result, &answer_ms);
    size_t profiles = slowest_profile(judging->plan, &profile_ms);
    if (!isfinite(timeout_ms)) {
        struct lw_finding *finding =
            lw_findings_add(judging->findings, "listen_timeout", LW_NOT_TESTED,
                            "how long the controller waits for an answer is not known");
        lw_finding_because(judging->findings, finding,
                           "every question was answered, and the plan does not say "
                           "controller.timeout_ms");
        return;
    }
    if (answers > 0 && answer_ms >= timeout_ms) {
        find_impatient(judging, LW_FAIL, timeout_ms, answer_ms, answers, "at its slowest");
    } else if (profiles > 0 && profile_ms >= timeout_ms) {
        find_impatient(judging, LW_ATTENTION, timeout_ms, profile_ms, profiles, "by its profile");
    } else if (judging->result->timeout_ms < planned_ms) {
        struct lw_finding *finding =
            lw_findings_add(judging->findings, "listen_timeout", LW_ATTENTION,
                            "the controller waits %.0f ms for an answer, planned are %.0f ms",
                            timeout_ms, planned_ms);
        set_value(finding, timeout_ms, planned_ms, "ms");
    }
}

static void judge_cycle(const struct judging *judging)
{
    const double slack = 1.05; // of a cycle that is kept by a program
    const struct lw_controller *controller = judging->plan->controller;
    double planned_ms = controller != NULL ? controller->cycle_ms : NAN;
    double seen_ms = judging->result->cycle_ms.p50;
    if (seen_ms > slack * planned_ms) {
        struct lw_finding *finding = lw_findings_add(
            judging->findings, "listen_cycle", LW_ATTENTION,
            "the controller's cycle takes %.0f ms, planned are %.0f ms", seen_ms, planned_ms);
        set_value(finding, seen_ms, planned_ms, "ms");
        lw_finding_because(judging->findings, finding, "%.0f questions without a good answer",
                           judging->result->unanswered);
    }
}

static void judge_line(const struct judging *judging)
{
    char planned[LW_FRAMING_TEXT];
    const struct lw_listen_framing *framing = &judging->result->framing;
    lw_framing_text(&judging->plan->framing, planned);
    if (framing->found && strcmp(framing->framing, planned) != 0) {
        struct lw_finding *finding =
            lw_findings_add(judging->findings, "listen_framing", LW_FAIL,
                            "the line runs at %s, planned is %s", framing->framing, planned);
        lw_finding_because(judging->findings, finding, "%.0f whole frames were heard at it",
                           judging->result->frames);
    }
    if (judging->result->crossed > 0) {
        struct lw_finding *finding = lw_findings_add(
            judging->findings, "listen_crossed", LW_ATTENTION,
            "%.0f questions came while another was still to be answered", judging->result->crossed);
        lw_finding_because(judging->findings, finding, "one master asks one thing at a time");
    }
}

void lw_listen_findings(const struct lw_plan *plan, const struct lw_listen_result *result,
                        struct lw_findings *findings)
{
    if (result->exchanges == 0) {
        struct lw_finding *finding =
            lw_findings_add(findings, "listen_nothing", LW_NOT_TESTED,
                            "no question was heard in %.1f s", result->elapsed_s);
        lw_finding_because(findings, finding, "%.0f bytes were heard", result->bytes);
        return;
    }
    const struct judging judging = {plan, result, findings, heard_long_enough(plan, result)};
    judge_line(&judging);
    judge_nodes(&judging);
    judge_unplanned(&judging);
    judge_timeout(&judging);
    judge_cycle(&judging);
}
