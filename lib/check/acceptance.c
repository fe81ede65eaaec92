// SPDX-License-Identifier: GPL-3.0-or-later
//
// From records to one word. For each check the last complete record counts, an interrupted one only
// where there is no complete one, and then as not done. The order of the words is fixed: a required
// check that was not done makes a visit incomplete, unless something has already failed.
#include "check/acceptance.h"

#include "base/text.h"
#include "base/words.h"
#include "check/assign.h"
#include "site/visit.h"

#include <string.h>

static const char *const default_required[] = {"scan", "roster", "link", "supply", "noise"};

const char *lw_acceptance_word(enum lw_acceptance_verdict verdict)
{
    static const char *const words[] = {N_("accepted"), N_("accepted with remarks"),
                                        N_("not accepted"), N_("incomplete")};
    return words[verdict];
}

static struct lw_acceptance_check *check_named(struct lw_acceptance *acceptance, const char *name)
{
    for (size_t i = 0; i < acceptance->check_count; i++) {
        if (strcmp(acceptance->checks[i].check, name) == 0) {
            return &acceptance->checks[i];
        }
    }
    if (acceptance->check_count == LW_ACCEPTANCE_CHECKS) {
        return NULL;
    }
    struct lw_acceptance_check *check = &acceptance->checks[acceptance->check_count++];
    *check = (struct lw_acceptance_check){.check = name, .verdict = LW_NOT_TESTED};
    return check;
}

static void list_required(const struct lw_plan *plan, struct lw_acceptance *acceptance)
{
    size_t count = plan != NULL ? plan->required_checks.count : 0;
    for (size_t i = 0; i < count; i++) {
        char *const *names = plan->required_checks.items;
        struct lw_acceptance_check *check = check_named(acceptance, names[i]);
        if (check != NULL) {
            check->required = true;
        }
    }
    for (size_t i = 0; plan == NULL && i < sizeof default_required / sizeof *default_required;
         i++) {
        check_named(acceptance, default_required[i])->required = true;
    }
}

// Records about the visit itself judge nothing of the machine, and listening only does against a
// plan.
static bool is_check(const struct lw_record *record)
{
    if (strcmp(record->check, "listen") == 0 && record->verdict == LW_NOT_TESTED) {
        return false;
    }
    static const char *const others[] = {"visit",  "note",      "commission",
                                         "report", "signature", "paper"};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        if (strcmp(record->check, others[i]) == 0) {
            return false;
        }
    }
    return true;
}

// What was asked of a part of the chain proves nothing of the rest, but what it disproves is
// disproved: it can only make worse what is known.
static void take_part(const struct lw_record *record, struct lw_acceptance_check *check)
{
    bool known = check->done || check->partial;
    if (!record->complete || (known && record->verdict <= (int)check->verdict)) {
        return;
    }
    check->number = record->number;
    check->verdict = (enum lw_verdict)record->verdict;
    check->partial = !check->done;
    check->skipped = NULL;
}

static void take_record(const struct lw_record *record, struct lw_acceptance *acceptance)
{
    struct lw_acceptance_check *check = check_named(acceptance, record->check);
    bool writes = strcmp(record->check, "assign") == 0; // what was written, was, finished or not
    if (check == NULL || (check->done && !record->complete && !writes)) {
        return;
    }
    if (record->part != NULL) {
        take_part(record, check);
        return;
    }
    check->partial = false;
    check->number = record->number;
    check->skipped = record->skipped;
    check->done = record->complete && record->skipped == NULL;
    check->verdict = check->done ? (enum lw_verdict)record->verdict : LW_NOT_TESTED;
}

static void outdate(struct lw_acceptance_check *check, enum lw_outdated why)
{
    check->outdated = why;
    check->done = check->partial = false;
    check->verdict = LW_NOT_TESTED;
}

static bool has_input(const struct lw_record *record, const char *digest)
{
    const struct lw_record_file *inputs = record->inputs.items;
    for (size_t i = 0; i < record->inputs.count; i++) {
        if (strcmp(inputs[i].sha256, digest) == 0) {
            return true;
        }
    }
    return false;
}

// A record that used less, without a plan or without one's further files, used no other plan.
static bool all_within(const struct lw_record *record, const struct lw_record *other)
{
    const struct lw_record_file *inputs = record->inputs.items;
    for (size_t i = 0; i < record->inputs.count; i++) {
        if (!has_input(other, inputs[i].sha256)) {
            return false;
        }
    }
    return true;
}

// What was judged by a plan that has changed since proves nothing of the plan that holds: that of
// the newest check with one.
static void take_other_plans(const struct lw_record *records, size_t count,
                             struct lw_acceptance *acceptance)
{
    const struct lw_record *newest = NULL;
    for (size_t i = 0; i < count; i++) {
        newest = is_check(&records[i]) && records[i].inputs.count > 0 ? &records[i] : newest;
    }
    for (size_t i = 0; newest != NULL && i < count; i++) {
        struct lw_acceptance_check *check =
            is_check(&records[i]) ? check_named(acceptance, records[i].check) : NULL;
        if (check != NULL && check->number == records[i].number && check->skipped == NULL &&
            !all_within(&records[i], newest) && !all_within(newest, &records[i])) {
            outdate(check, LW_OTHER_PLAN);
        }
    }
}

// Who answers where is not proved any more once an address was written.
static void take_outdated(const struct lw_record *records, size_t count,
                          struct lw_acceptance *acceptance)
{
    static const char *const of_addresses[] = {"scan", "roster", "touch"};
    int written = 0;
    for (size_t i = 0; i < count; i++) {
        written = lw_assign_wrote(&records[i]) ? records[i].number : written;
    }
    for (size_t i = 0; i < acceptance->check_count; i++) {
        struct lw_acceptance_check *check = &acceptance->checks[i];
        for (size_t k = 0; k < sizeof of_addresses / sizeof *of_addresses; k++) {
            if (strcmp(check->check, of_addresses[k]) == 0 && check->done &&
                check->number < written) {
                outdate(check, LW_BEFORE_WRITING);
            }
        }
    }
}

static void because(struct lw_acceptance *acceptance, const char *check, const char *reason)
{
    size_t most = sizeof acceptance->because / sizeof acceptance->because[0];
    if (acceptance->because_count < most) {
        lw_print(acceptance->because[acceptance->because_count++], sizeof acceptance->because[0],
                 "%s: %s", check, reason);
    }
}

static bool depends_on_state(const struct lw_record *record)
{
    return strcmp(record->check, "noise") == 0 || strcmp(record->check, "link") == 0;
}

// `states` is a list with "; " between.
static bool lists_state(const char *states, const char *state)
{
    size_t length = strlen(state);
    for (const char *at = states; at != NULL && *at != '\0';) {
        const char *end = strstr(at, "; ");
        size_t here = end != NULL ? (size_t)(end - at) : strlen(at);
        if (here == length && strncmp(at, state, length) == 0) {
            return true;
        }
        at = end != NULL ? end + 2 : NULL;
    }
    return false;
}

static void add_state(struct lw_acceptance *acceptance, const struct lw_record *record)
{
    if (!depends_on_state(record) || record->state == NULL || record->state[0] == '\0' ||
        lists_state(acceptance->states, record->state)) {
        return;
    }
    char longer[sizeof acceptance->states];
    lw_print(longer, sizeof longer, "%s%s%s", acceptance->states,
             acceptance->states[0] != '\0' ? "; " : "", record->state);
    lw_copy(acceptance->states, sizeof acceptance->states, longer);
}

static bool same_state(const struct lw_record *a, const struct lw_record *b)
{
    return strcmp(a->state == NULL ? "" : a->state, b->state == NULL ? "" : b->state) == 0;
}

// A link or noise that failed in one state of the machine is not made good by a pass in another:
// of the last record of each state the worst counts.
static void take_states(const struct lw_record *records, size_t count,
                        struct lw_acceptance *acceptance)
{
    for (size_t i = 0; i < count; i++) {
        const struct lw_record *record = &records[i];
        bool last = depends_on_state(record) && record->complete && record->skipped == NULL;
        for (size_t k = i + 1; k < count && last; k++) {
            last = strcmp(records[k].check, record->check) != 0 || !records[k].complete ||
                   records[k].part != NULL || records[k].skipped != NULL ||
                   !same_state(&records[k], record);
        }
        struct lw_acceptance_check *check = last ? check_named(acceptance, record->check) : NULL;
        if (check != NULL && check->done && record->verdict > (int)check->verdict) {
            check->verdict = (enum lw_verdict)record->verdict;
            check->number = record->number;
        }
    }
}

// Open points are remarks: a report is signed on them.
static size_t count_open_points(const struct lw_record *records, size_t count)
{
    size_t open = 0;
    for (size_t i = 0; i < count; i++) {
        open += strcmp(records[i].check, "note") == 0 ? records[i].findings.list.count : 0;
    }
    return open;
}

static enum lw_acceptance_verdict worse(enum lw_acceptance_verdict a, enum lw_acceptance_verdict b)
{
    static const int rank[] = {
        [LW_ACCEPTED] = 0,
        [LW_ACCEPTED_WITH_REMARKS] = 1,
        [LW_INCOMPLETE] = 2,
        [LW_NOT_ACCEPTED] = 3,
    };
    return rank[a] >= rank[b] ? a : b;
}

// What one check makes of the whole. An undecided or not tested check is not done where it is
// required, and a remark where it is not.
static enum lw_acceptance_verdict weigh(const struct lw_acceptance_check *check)
{
    if ((check->done || check->partial) && check->verdict == LW_FAIL) {
        return LW_NOT_ACCEPTED;
    }
    bool open = !check->done || check->verdict == LW_UNDECIDED || check->verdict == LW_NOT_TESTED;
    if (open) {
        return check->required ? LW_INCOMPLETE : LW_ACCEPTED_WITH_REMARKS;
    }
    return check->verdict == LW_ATTENTION ? LW_ACCEPTED_WITH_REMARKS : LW_ACCEPTED;
}

static const char *reason_of(const struct lw_acceptance_check *check)
{
    if (check->skipped != NULL) {
        return N_("left out on purpose");
    }
    if (check->number == 0) {
        return N_("not done");
    }
    if (check->outdated != LW_UP_TO_DATE) {
        return check->outdated == LW_OTHER_PLAN ? N_("done with another plan")
                                                : N_("done before addresses were written");
    }
    if (check->partial && check->verdict != LW_FAIL) {
        return N_("only a part of the chain was asked");
    }
    if (!check->done && !check->partial) {
        return N_("interrupted before its end");
    }
    return lw_verdict_shown(check->verdict);
}

void lw_acceptance_judge(const struct lw_plan *plan, const struct lw_list *records, int broken,
                         struct lw_acceptance *acceptance)
{
    *acceptance = (struct lw_acceptance){.verdict = LW_ACCEPTED};
    if (broken > 0) {
        char reason[120];
        lw_print(reason, sizeof reason,
                 N_("they do not fit together from record %d on: nothing is proved until that is "
                    "cleared up"),
                 broken);
        because(acceptance, "records", reason);
        acceptance->verdict = LW_INCOMPLETE;
    }
    list_required(plan, acceptance);
    const struct lw_record *items = records->items;
    for (size_t i = 0; i < records->count; i++) {
        acceptance->simulated =
            acceptance->simulated || (items[i].line != NULL && items[i].line->simulated);
        if (is_check(&items[i])) {
            take_record(&items[i], acceptance);
            add_state(acceptance, &items[i]);
        }
    }
    take_states(items, records->count, acceptance);
    take_outdated(items, records->count, acceptance);
    take_other_plans(items, records->count, acceptance);
    size_t open_points = count_open_points(items, records->count);
    if (open_points > 0) {
        acceptance->verdict = worse(acceptance->verdict, LW_ACCEPTED_WITH_REMARKS);
    }
    for (size_t i = 0; i < acceptance->check_count; i++) {
        acceptance->verdict = worse(acceptance->verdict, weigh(&acceptance->checks[i]));
    }
    static const enum lw_acceptance_verdict worst_first[] = {LW_NOT_ACCEPTED, LW_INCOMPLETE,
                                                             LW_ACCEPTED_WITH_REMARKS};
    for (size_t k = 0; k < sizeof worst_first / sizeof *worst_first; k++) {
        for (size_t i = 0; i < acceptance->check_count; i++) {
            const struct lw_acceptance_check *check = &acceptance->checks[i];
            if (weigh(check) == worst_first[k]) {
                because(acceptance, check->check, reason_of(check));
            }
        }
    }
    if (open_points > 0) {
        char reason[40];
        lw_print(reason, sizeof reason, N_("%zu open"), open_points);
        because(acceptance, "notes", reason);
    }
}
