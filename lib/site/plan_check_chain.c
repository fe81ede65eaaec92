// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a plan's table cannot say about its chain, entry by entry.
#include "site/plan_inside.h"

#include "site/semantic.h"

#include <assert.h>
#include <string.h>

enum { NAME_MOST = 48 };

static enum lw_status passive_check(const struct lw_chain_entry *entry, size_t i,
                                    struct lw_error *error)
{
    const char *key = entry->node      ? "node"
                      : entry->profile ? "profile"
                      : entry->address ? "address"
                      : entry->limits  ? "limits"
                      : entry->serial  ? "serial"
                                       : NULL;
    return key ? lw_fail(error, LW_BAD_FILE, "/chain/%zu/%s: a passive tap has none", i, key)
               : LW_OK;
}

// A name stands in lists, in tables and in messages.
static bool is_name(const char *text)
{
    char clean[2 * NAME_MOST];
    size_t length = strlen(text);
    if (length < 1 || length > NAME_MOST || strpbrk(text, ", ")) {
        return false;
    }
    lw_text_clean(clean, sizeof clean, text, length);
    return strcmp(clean, text) == 0;
}

static enum lw_status node_check(const struct lw_chain_entry *entry, size_t i,
                                 struct lw_error *error)
{
    const char *key = !entry->node         ? "node"
                      : !entry->profile    ? "profile"
                      : entry->address < 1 ? "address"
                                           : NULL;
    if (key) {
        return lw_fail(error, LW_BAD_FILE, "/chain/%zu/%s: missing", i, key);
    }
    return is_name(entry->node)
               ? LW_OK
               : lw_fail(
                     error, LW_BAD_FILE,
                     "/chain/%zu/node: a name has 1 to %d bytes, no blank, no comma, no control "
                     "character",
                     i, NAME_MOST);
}

// `taps[address]` is the entry that has it, counted from 1.
static enum lw_status address_check(const struct lw_plan *plan, size_t i, size_t taps[248],
                                    struct lw_error *error)
{
    const struct lw_chain_entry *entries = plan->chain.items;
    int address = entries[i].address;
    char word[LW_SITE_WORD];
    if (taps[address] > 0) {
        return lw_fail(error, LW_BAD_FILE, "/chain/%zu/address: %d is already used by '%s'", i,
                       address, lw_site_word(word, entries[taps[address] - 1].node));
    }
    taps[address] = i + 1;
    return LW_OK;
}

static enum lw_status name_check(const struct lw_plan *plan, size_t i, const size_t taps[248],
                                 struct lw_error *error)
{
    const struct lw_chain_entry *entries = plan->chain.items;
    char word[LW_SITE_WORD];
    for (int address = 1; address < 248; address++) {
        size_t other = taps[address];
        if (other > 0 && strcmp(entries[other - 1].node, entries[i].node) == 0) {
            return lw_fail(error, LW_BAD_FILE,
                           "/chain/%zu/node: '%s' is already the name of tap %zu", i,
                           lw_site_word(word, entries[i].node), other);
        }
    }
    return LW_OK;
}

enum lw_status lw_plan_check_chain(const struct lw_plan *plan, struct lw_error *error)
{
    size_t taps[248] = {0};
    const struct lw_chain_entry *entries = plan->chain.items;
    enum lw_status status = LW_OK;
    for (size_t i = 0; status == LW_OK && i < plan->chain.count; i++) {
        if (entries[i].passive >= 0) {
            status = passive_check(&entries[i], i, error);
            continue;
        }
        status = node_check(&entries[i], i, error);
        if (status == LW_OK) {
            status = name_check(plan, i, taps, error);
        }
        if (status == LW_OK) {
            status = address_check(plan, i, taps, error);
        }
    }
    return status;
}
