// SPDX-License-Identifier: GPL-3.0-or-later
//
// Plans that a roster makes: drafted where there is none, revised where the machine was built
// otherwise. Only what was read takes a plan's place; what looks like a mistake at the machine (a
// swap, a doubled address) is named and left, since a plan that agrees with it would hide it.
#include "check/roster.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

const struct lw_profile *lw_roster_kind(const struct lw_list *profiles,
                                        const struct lw_roster_node *node)
{
    const struct lw_profile *items = profiles->items;
    for (size_t i = 0; i < profiles->count; i++) {
        const struct lw_profile_identity *identity = &items[i].identity;
        if (node->vendor != NULL && identity->vendor != NULL && node->product_code != NULL &&
            identity->product_code != NULL && strcmp(identity->vendor, node->vendor) == 0 &&
            strcmp(identity->product_code, node->product_code) == 0) {
            return &items[i];
        }
    }
    return NULL;
}

// A node at the end of the chain. LW_MEMORY.
static struct lw_chain_entry *add_entry(struct lw_plan *plan, const char *name,
                                        const struct lw_roster_node *node,
                                        const struct lw_list *profiles)
{
    struct lw_chain_entry *entry = lw_list_add(&plan->chain, sizeof *entry);
    if (entry == NULL) {
        return NULL;
    }
    lw_json_init(&lw_chain_entry_shape, entry);
    const struct lw_profile *profile = lw_roster_kind(profiles, node);
    entry->node = lw_duplicate(name);
    entry->profile = lw_duplicate(profile != NULL ? profile->name : "unknown");
    entry->address = node->address;
    entry->serial = lw_duplicate(node->serial);
    return entry->node != NULL && entry->profile != NULL ? entry : NULL;
}

static bool draft_entry(struct lw_plan *plan, const struct lw_roster_node *node,
                        const struct lw_list *profiles)
{
    char name[16];
    lw_print(name, sizeof name, "P%02zu", plan->chain.count + 1);
    return add_entry(plan, name, node, profiles) != NULL;
}

// What cannot be read off the line and a plan must have: figures to be replaced, under a name that
// says so wherever it is shown.
static bool draft_supply(struct lw_plan *plan)
{
    struct lw_supply *supply = lw_list_add(&plan->supplies, sizeof *supply);
    if (supply == NULL) {
        return false;
    }
    lw_json_init(lw_plan_supply_shape, supply);
    supply->name = lw_duplicate("PS1, to be filled in");
    supply->nominal_v = 24;
    supply->limit_a = 1;
    supply->feeds_tap = 1;
    plan->span_default.length_m = 1;
    plan->span_default.conductor = calloc(1, sizeof *plan->span_default.conductor);
    if (plan->span_default.conductor == NULL) {
        return false;
    }
    lw_json_init(lw_plan_conductor_shape, plan->span_default.conductor);
    plan->span_default.conductor->area_mm2 = 0.5;
    return supply->name != NULL;
}

static bool draft_checks(struct lw_plan *plan)
{
    static const char *const names[] = {"scan", "roster", "link", "supply", "noise"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char **name = lw_list_add(&plan->required_checks, sizeof *name);
        if (name == NULL || (*name = lw_duplicate(names[i])) == NULL) {
            return false;
        }
    }
    return true;
}

enum lw_status lw_roster_draft(const struct lw_roster_result *result,
                               const struct lw_list *profiles, const char *framing,
                               struct lw_text *plan_json, struct lw_error *error)
{
    struct lw_plan plan;
    lw_json_init(&lw_plan_shape, &plan);
    plan.format = lw_duplicate("linewalk/plan/1");
    plan.revision = lw_duplicate("draft");
    plan.line.framing = lw_duplicate(framing);
    const struct lw_roster_node *nodes = result->nodes.items;
    enum lw_status status = draft_supply(&plan) && draft_checks(&plan)
                                ? LW_OK
                                : lw_fail(error, LW_MEMORY, "no memory for a plan");
    for (size_t i = 0; i < result->nodes.count && status == LW_OK; i++) {
        if (nodes[i].state != LW_ROSTER_MISSING && !draft_entry(&plan, &nodes[i], profiles)) {
            status = lw_fail(error, LW_MEMORY, "no memory for a plan");
        }
    }
    if (status == LW_OK) {
        status = lw_json_write(&lw_plan_shape, &plan, true, plan_json, error);
    }
    lw_json_free(&lw_plan_shape, &plan);
    return status;
}

struct revision {
    struct lw_plan plan;
    const struct lw_list *profiles;
    struct lw_list *changes;
    bool differs; // something was taken
    bool failed;  // memory ran out
};

static void say(struct revision *revision, bool taken, const char *sentence)
{
    revision->differs = revision->differs || taken;
    char **place = lw_list_add(revision->changes, sizeof *place);
    if (place == NULL || (*place = lw_duplicate(sentence)) == NULL) {
        revision->failed = true;
    }
}

static void put(struct revision *revision, char **to, const char *text)
{
    free(*to);
    *to = lw_duplicate(text);
    revision->failed = revision->failed || (text != NULL && *to == NULL);
}

// Takes what was read, and says one of two sentences: by what it was, or that there was nothing.
static void take(struct revision *revision, char **planned, const char *read, const char *was,
                 const char *was_not)
{
    if (read != NULL && (*planned == NULL || strcmp(*planned, read) != 0)) {
        say(revision, true, *planned != NULL ? was : was_not);
        put(revision, planned, read);
    }
}

static const char *text_or_none(const char *text)
{
    return text != NULL ? text : "-";
}

static void take_read(struct revision *revision, struct lw_chain_entry *entry,
                      const struct lw_roster_node *node)
{
    char was[300], was_not[300];
    const char *read = text_or_none(node->serial);
    lw_print(was, sizeof was, "%s: serial %s, was %s", entry->node, read,
             text_or_none(entry->serial));
    lw_print(was_not, sizeof was_not, "%s: serial %s, the plan had none", entry->node, read);
    take(revision, &entry->serial, node->serial, was, was_not);
    read = text_or_none(node->sensor_serial);
    lw_print(was, sizeof was, "%s: sensor %s, was %s", entry->node, read,
             text_or_none(entry->sensor_serial));
    lw_print(was_not, sizeof was_not, "%s: sensor %s, the plan had none", entry->node, read);
    take(revision, &entry->sensor_serial, node->sensor_serial, was, was_not);
    read = text_or_none(node->revision);
    lw_print(was, sizeof was, "%s: firmware %s, was %s", entry->node, read,
             text_or_none(entry->firmware));
    lw_print(was_not, sizeof was_not, "%s: firmware %s, the plan had none", entry->node, read);
    take(revision, &entry->firmware, node->revision, was, was_not);
}

// What was read with another kind's registers says nothing: serials wait for the next roster.
static void take_kind(struct revision *revision, struct lw_chain_entry *entry,
                      const struct lw_roster_node *node)
{
    char sentence[300];
    const struct lw_profile *kind = lw_roster_kind(revision->profiles, node);
    if (kind == NULL) {
        lw_print(sentence, sizeof sentence,
                 "%s: left as planned, there is no profile for what was found (%s %s)", entry->node,
                 text_or_none(node->vendor), text_or_none(node->product_code));
        say(revision, false, sentence);
        return;
    }
    lw_print(sentence, sizeof sentence,
             "%s: profile %s, was %s; the next roster reads its serial for the plan", entry->node,
             kind->name, entry->profile);
    say(revision, true, sentence);
    put(revision, &entry->profile, kind->name);
    put(revision, &entry->serial, NULL);
    put(revision, &entry->sensor_serial, NULL);
    put(revision, &entry->firmware, node->revision);
}

static bool has_name(const struct lw_plan *plan, const char *name)
{
    const struct lw_chain_entry *entries = plan->chain.items;
    for (size_t i = 0; i < plan->chain.count; i++) {
        if (entries[i].node != NULL && strcmp(entries[i].node, name) == 0) {
            return true;
        }
    }
    return false;
}

static void take_unplanned(struct revision *revision, const struct lw_roster_node *node)
{
    char name[16], sentence[300];
    if (lw_roster_kind(revision->profiles, node) == NULL) {
        lw_print(sentence, sizeof sentence,
                 "address %d: not taken into the plan, there is no profile for what was found "
                 "(%s %s)",
                 node->address, text_or_none(node->vendor), text_or_none(node->product_code));
        say(revision, false, sentence);
        return;
    }
    for (size_t number = revision->plan.chain.count + 1;; number++) {
        lw_print(name, sizeof name, "P%02zu", number);
        if (!has_name(&revision->plan, name)) {
            break;
        }
    }
    const struct lw_chain_entry *entry = add_entry(&revision->plan, name, node, revision->profiles);
    revision->failed = revision->failed || entry == NULL;
    lw_print(sentence, sizeof sentence,
             "%s: new, at address %d, behind the last tap; move it in the plan to where it hangs, "
             "and give it its place",
             name, node->address);
    say(revision, true, sentence);
}

// What is no matter for a plan.
static void leave(struct revision *revision, const char *node, int state)
{
    char sentence[300] = "";
    switch ((enum lw_roster_state)state) {
    case LW_ROSTER_MISSING:
        lw_print(sentence, sizeof sentence, "%s: left as planned, it does not answer", node);
        break;
    case LW_ROSTER_SWAPPED:
        lw_print(sentence, sizeof sentence,
                 "%s: left as planned, it carries the serial of another planned node", node);
        break;
    case LW_ROSTER_DOUBLED:
        lw_print(sentence, sizeof sentence,
                 "%s: left as planned, more than one node answers at its address", node);
        break;
    case LW_ROSTER_UNREADABLE:
        lw_print(sentence, sizeof sentence, "%s: left as planned, its registers cannot be read",
                 node);
        break;
    case LW_ROSTER_WRONG_FRAMING:
        lw_print(sentence, sizeof sentence, "%s: left as planned, it answers at another framing",
                 node);
        break;
    case LW_ROSTER_PRESENT:
    case LW_ROSTER_UNPLANNED:
    case LW_ROSTER_WRONG_KIND:
        return;
    }
    say(revision, false, sentence);
}

static void revise_node(struct revision *revision, const struct lw_roster_node *node)
{
    if (node->state == LW_ROSTER_UNPLANNED) {
        take_unplanned(revision, node);
        return;
    }
    struct lw_chain_entry *entry =
        (struct lw_chain_entry *)revision->plan.chain.items + (node->tap - 1);
    if (node->state == LW_ROSTER_PRESENT) {
        take_read(revision, entry, node);
    } else if (node->state == LW_ROSTER_WRONG_KIND) {
        take_kind(revision, entry, node);
    } else {
        leave(revision, entry->node, node->state);
    }
}

enum lw_status lw_roster_as_built(const struct lw_roster_result *result, const char *plan_json,
                                  size_t length, const struct lw_list *profiles,
                                  const struct lw_roster_reviser *by, struct lw_list *changes,
                                  bool *differs, struct lw_text *revised_json,
                                  struct lw_error *error)
{
    char next[80];
    struct revision revision = {.profiles = profiles, .changes = changes};
    enum lw_status status = lw_json_read(&lw_plan_shape, plan_json, length, &revision.plan, error);
    if (status != LW_OK) {
        return status;
    }
    const struct lw_roster_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        revise_node(&revision, &nodes[i]);
    }
    lw_plan_next_revision(revision.plan.revision, next, sizeof next);
    put(&revision, &revision.plan.revision, next);
    put(&revision, &revision.plan.made_on, by->made_on);
    if (by->made_by != NULL) {
        put(&revision, &revision.plan.made_by, by->made_by);
    }
    status = revision.failed
                 ? lw_fail(error, LW_MEMORY, "no memory for a plan")
                 : lw_json_write(&lw_plan_shape, &revision.plan, true, revised_json, error);
    lw_json_free(&lw_plan_shape, &revision.plan);
    *differs = revision.differs;
    return status;
}
