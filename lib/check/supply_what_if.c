// SPDX-License-Identifier: GPL-3.0-or-later
//
// Changes to a plan in memory, for a question to the supply.
#include "check/supply_what_if.h"

#include "base/number.h"
#include "base/text.h"

enum { MOST_MORE = 200, WORD = 64, ADDRESSES = 248 };

// "HEAD:TAIL" into two words; tail empty without a colon. False: too long to be a name.
static bool split(const char *asked, char head[WORD], char tail[WORD])
{
    const char *colon = strchr(asked, ':');
    size_t length = colon != NULL ? (size_t)(colon - asked) : strlen(asked);
    if (length >= WORD || (colon != NULL && strlen(colon + 1) >= WORD)) {
        return false;
    }
    lw_text_clean(head, WORD, asked, length);
    lw_text_clean(tail, WORD, colon != NULL ? colon + 1 : "",
                  colon != NULL ? strlen(colon + 1) : 0);
    return true;
}

static enum lw_status too_long(const char *option, struct lw_error *error)
{
    return lw_fail(error, LW_USAGE, "%s: a name in it is too long", option);
}

static const struct lw_profile *profile_named(const struct lw_plan *plan, const char *name)
{
    const struct lw_profile *profiles = plan->profiles.items;
    for (size_t i = 0; i < plan->profiles.count; i++) {
        if (strcmp(profiles[i].name, name) == 0) {
            return &profiles[i];
        }
    }
    return NULL;
}

static const struct lw_profile *last_profile(const struct lw_plan *plan)
{
    const struct lw_profile *profile = NULL;
    for (size_t tap = lw_plan_taps(plan); profile == NULL && tap > 0; tap--) {
        profile = lw_plan_tap(plan, tap)->is;
    }
    return profile;
}

static int free_address(const struct lw_plan *plan)
{
    size_t tap;
    int address = 1;
    while (address < ADDRESSES && lw_plan_by_address(plan, address, &tap) != NULL) {
        address++;
    }
    return address;
}

static enum lw_status add_one(struct lw_plan *plan, const struct lw_profile *profile, size_t number,
                              struct lw_error *error)
{
    char name[WORD];
    int address = free_address(plan);
    if (address >= ADDRESSES) {
        return lw_fail(error, LW_USAGE, "--add: no address is left for node %zu more", number);
    }
    struct lw_chain_entry *entry = lw_list_add(&plan->chain, sizeof *entry);
    if (entry == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a node more");
    }
    lw_print(name, sizeof name, "+%zu", number);
    lw_json_init(&lw_chain_entry_shape, entry);
    entry->node = lw_duplicate(name);
    entry->profile = lw_duplicate(profile->name);
    entry->address = address;
    entry->is = profile;
    return LW_OK;
}

enum lw_status lw_what_if_add(struct lw_plan *plan, const char *asked, struct lw_error *error)
{
    char count_text[WORD], name[WORD];
    int64_t count;
    if (!split(asked, count_text, name)) {
        return too_long("--add", error);
    }
    if (lw_number_integer(count_text, 1, MOST_MORE, &count, NULL) != LW_OK) {
        return lw_fail(error, LW_USAGE, "--add takes N or N:PROFILE, N from 1 to %d, not '%s'",
                       MOST_MORE, count_text);
    }
    const struct lw_profile *profile =
        name[0] != '\0' ? profile_named(plan, name) : last_profile(plan);
    if (profile == NULL) {
        return lw_fail(error, LW_USAGE,
                       "--add: no node of the plan is a '%s', so its profile is not at hand", name);
    }
    enum lw_status status = LW_OK;
    for (int64_t i = 1; status == LW_OK && i <= count; i++) {
        status = add_one(plan, profile, (size_t)i, error);
    }
    return status;
}

// A tap by its number or its node's name; 0: there is none.
static size_t tap_of(const struct lw_plan *plan, const char *word)
{
    size_t tap = 0;
    int64_t number;
    if (lw_number_integer(word, 1, (int64_t)lw_plan_taps(plan), &number, NULL) == LW_OK) {
        return (size_t)number;
    }
    return lw_plan_by_name(plan, word, &tap) != NULL ? tap : 0;
}

static const struct lw_supply *supply_named(const struct lw_plan *plan, const char *name)
{
    const struct lw_supply *supplies = plan->supplies.items;
    for (size_t i = 0; i < plan->supplies.count; i++) {
        if (name[0] == '\0' || (supplies[i].name != NULL && strcmp(supplies[i].name, name) == 0)) {
            return &supplies[i];
        }
    }
    return NULL;
}

// Through its JSON, which copies all that it owns.
static enum lw_status copy_supply(const struct lw_supply *from, struct lw_supply *to,
                                  struct lw_error *error)
{
    struct lw_text text = {0};
    enum lw_status status = lw_json_write(lw_plan_supply_shape, from, false, &text, error);
    if (status == LW_OK) {
        status = lw_json_read(lw_plan_supply_shape, text.bytes, text.length, to, error);
    }
    lw_text_finish(&text);
    return status;
}

static enum lw_status feed_tap(struct lw_plan *plan, size_t tap, const struct lw_supply *like,
                               struct lw_error *error)
{
    struct lw_supply copy;
    char name[WORD];
    enum lw_status status = copy_supply(like, &copy, error);
    if (status != LW_OK) {
        return status;
    }
    free(copy.name);
    lw_print(name, sizeof name, "new at tap %zu", tap);
    copy.name = lw_duplicate(name);
    copy.feeds_tap = (int)tap;
    copy.cuts_before = tap > 1 ? 1 : 0;
    copy.measured_v = copy.measured_a = NAN;
    struct lw_supply *room = lw_list_add(&plan->supplies, sizeof *room);
    if (room == NULL) {
        lw_json_free(lw_plan_supply_shape, &copy);
        return lw_fail(error, LW_MEMORY, "no memory for a supply more");
    }
    *room = copy;
    return LW_OK;
}

enum lw_status lw_what_if_feed(struct lw_plan *plan, const char *asked, struct lw_error *error)
{
    char where[WORD], name[WORD];
    if (!split(asked, where, name)) {
        return too_long("--feed", error);
    }
    size_t tap = tap_of(plan, where);
    if (tap == 0) {
        return lw_fail(error, LW_USAGE, "--feed: '%s' is no tap (1 to %zu) and no node of the plan",
                       where, lw_plan_taps(plan));
    }
    const struct lw_supply *like = supply_named(plan, name);
    if (like == NULL) {
        return lw_fail(error, LW_USAGE, "--feed: there is no supply '%s' to take another of", name);
    }
    return feed_tap(plan, tap, like, error);
}

enum lw_status lw_what_if_ambient(struct lw_plan *plan, double ambient_c, struct lw_error *error)
{
    if (!(ambient_c >= -60 && ambient_c <= 100)) {
        return lw_fail(error, LW_USAGE, "--ambient: -60 to 100 degrees Celsius, not %g", ambient_c);
    }
    plan->cabinet_c += ambient_c - plan->ambient_c;
    plan->ambient_c = ambient_c;
    return LW_OK;
}

static void take_off(struct lw_chain_entry *entry)
{
    struct lw_chain_entry joint;
    lw_json_init(&lw_chain_entry_shape, &joint);
    joint.passive = 0;
    joint.span = entry->span;
    entry->span = NULL;
    lw_json_free(&lw_chain_entry_shape, entry);
    *entry = joint;
}

enum lw_status lw_what_if_without(struct lw_plan *plan, const char *nodes, struct lw_error *error)
{
    bool *off = calloc(lw_plan_taps(plan), sizeof *off);
    if (off == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", lw_plan_taps(plan));
    }
    enum lw_status status = lw_plan_select(plan, nodes, NULL, off, error);
    struct lw_chain_entry *entries = plan->chain.items;
    for (size_t i = 0; status == LW_OK && i < lw_plan_taps(plan); i++) {
        if (off[i]) {
            take_off(&entries[i]);
        }
    }
    free(off);
    return status;
}
