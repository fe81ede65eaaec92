// SPDX-License-Identifier: GPL-3.0-or-later
//
// Choosing nodes: "P03,P07-P12" runs along the chain, "3,7-12" along the addresses. A name may hold
// a hyphen itself, so a whole name is looked for before a range.
#include "site/plan.h"

#include "base/number.h"
#include "base/text.h"
#include "site/semantic.h"

#include <assert.h>
#include <string.h>

enum { LONGEST = 120 };

typedef enum lw_status take_one(const struct lw_plan *plan, const char *word, bool *selected,
                                struct lw_error *error);

static enum lw_status no_node(const struct lw_plan *plan, const char *word, struct lw_error *error)
{
    const struct lw_chain_entry *entries = plan->chain.items;
    char shown[LW_SITE_WORD], names[160] = "";
    size_t at = 0;
    for (size_t i = 0; i < plan->chain.count && at + 24 < sizeof names; i++) {
        char name[LW_SITE_WORD];
        if (entries[i].node) {
            lw_print(names + at, sizeof names - at, "%s%s", at > 0 ? ", " : "",
                     lw_site_word(name, entries[i].node));
            at = strlen(names);
        }
    }
    bool more = at + 24 >= sizeof names;
    return lw_fail(error, LW_USAGE, "there is no node '%s' in the plan: it has %s%s",
                   lw_site_word(shown, word), names, more ? ", ..." : "");
}

static void take_taps(const struct lw_plan *plan, size_t from, size_t to, bool *selected)
{
    for (size_t tap = from; tap <= to; tap++) {
        selected[tap - 1] = selected[tap - 1] || lw_plan_tap(plan, tap)->node;
    }
}

static enum lw_status take_name(const struct lw_plan *plan, const char *word, bool *selected,
                                struct lw_error *error)
{
    size_t from, to;
    char first[LONGEST];
    const char *unknown = word;
    if (lw_plan_by_name(plan, word, &from)) {
        take_taps(plan, from, from, selected);
        return LW_OK;
    }
    for (const char *hyphen = strchr(word, '-'); hyphen; hyphen = strchr(hyphen + 1, '-')) {
        lw_print(first, sizeof first, "%.*s", (int)(hyphen - word), word);
        if (!lw_plan_by_name(plan, first, &from)) {
            continue;
        }
        if (!lw_plan_by_name(plan, hyphen + 1, &to)) {
            unknown = hyphen + 1;
            continue;
        }
        if (from > to) {
            return lw_fail(error, LW_USAGE, "'%s' runs backwards along the chain", word);
        }
        take_taps(plan, from, to, selected);
        return LW_OK;
    }
    return no_node(plan, unknown, error);
}

static enum lw_status range_parse(const char *word, int64_t *from, int64_t *to,
                                  struct lw_error *error)
{
    char first[LONGEST];
    const char *hyphen = strchr(word, '-');
    lw_print(first, sizeof first, "%.*s", hyphen ? (int)(hyphen - word) : (int)strlen(word), word);
    enum lw_status status = lw_number_integer(first, 1, 247, from, error);
    *to = *from;
    if (status == LW_OK && hyphen) {
        status = lw_number_integer(hyphen + 1, 1, 247, to, error);
    }
    if (status == LW_OK && *from > *to) {
        return lw_fail(error, LW_USAGE, "'%s' runs backwards", word);
    }
    return status;
}

static enum lw_status take_address(const struct lw_plan *plan, const char *word, bool *selected,
                                   struct lw_error *error)
{
    int64_t from = 0, to = 0;
    bool any = false;
    enum lw_status status = range_parse(word, &from, &to, error);
    for (int64_t address = from; status == LW_OK && address <= to; address++) {
        size_t tap;
        if (lw_plan_by_address(plan, (int)address, &tap)) {
            selected[tap - 1] = true;
            any = true;
        }
    }
    if (status == LW_OK && !any) {
        return lw_fail(error, LW_USAGE, "no node of the plan has address %s", word);
    }
    return status;
}

static enum lw_status take_list(const struct lw_plan *plan, const char *list, take_one *take,
                                bool *selected, struct lw_error *error)
{
    for (const char *at = list;; at++) {
        char word[LONGEST];
        size_t length = strcspn(at, ",");
        if (length == 0 || length >= sizeof word) {
            char shown[LW_SITE_WORD];
            return lw_fail(error, LW_USAGE, "'%s' is no list: give words with commas between them",
                           lw_site_word(shown, list));
        }
        lw_print(word, sizeof word, "%.*s", (int)length, at);
        enum lw_status status = take(plan, word, selected, error);
        if (status != LW_OK || at[length] == '\0') {
            return status;
        }
        at += length;
    }
}

static enum lw_status mark_addresses(const struct lw_plan *plan, const char *word, bool *selected,
                                     struct lw_error *error)
{
    (void)plan;
    int64_t from = 0, to = 0;
    enum lw_status status = range_parse(word, &from, &to, error);
    for (int64_t address = from; status == LW_OK && address <= to; address++) {
        selected[address] = true;
    }
    return status;
}

enum lw_status lw_addresses_parse(const char *list, bool addresses[256], struct lw_error *error)
{
    memset(addresses, 0, 256 * sizeof *addresses);
    return take_list(NULL, list, mark_addresses, addresses, error);
}

enum lw_status lw_plan_select(const struct lw_plan *plan, const char *nodes, const char *addresses,
                              bool *selected, struct lw_error *error)
{
    assert(plan && selected);
    memset(selected, 0, plan->chain.count * sizeof *selected);
    enum lw_status status = LW_OK;
    if (!nodes && !addresses) {
        take_taps(plan, 1, plan->chain.count, selected);
    }
    if (nodes) {
        status = take_list(plan, nodes, take_name, selected, error);
    }
    if (status == LW_OK && addresses) {
        status = take_list(plan, addresses, take_address, selected, error);
    }
    return status;
}
