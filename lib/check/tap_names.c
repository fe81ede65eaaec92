// SPDX-License-Identifier: GPL-3.0-or-later
//
// Runs of nodes by name.
#include "check/tap_names.h"

#include "base/text.h"

#include <string.h>

static size_t next_node(const struct lw_plan *plan, size_t tap)
{
    while (tap <= lw_plan_taps(plan) && lw_plan_tap(plan, tap)->node == NULL) {
        tap++;
    }
    return tap;
}

static void add(char *text, size_t size, const char *joint, const char *name)
{
    size_t length = strlen(text);
    size_t needs = strlen(joint) + strlen(name);
    if (length + needs + sizeof ", ..." <= size) {
        lw_copy(text + length, size - length, joint);
        lw_copy(text + length + strlen(joint), size - length - strlen(joint), name);
    } else if (length + sizeof ", ..." <= size && strstr(text, "...") == NULL) {
        lw_copy(text + length, size - length, ", ...");
    }
}

static void add_run(const struct lw_plan *plan, size_t first, size_t last, size_t nodes, char *text,
                    size_t size)
{
    add(text, size, text[0] != '\0' ? ", " : "", lw_plan_tap(plan, first)->node);
    if (nodes > 1) {
        add(text, size, nodes > 2 ? "-" : ", ", lw_plan_tap(plan, last)->node);
    }
}

size_t lw_tap_names(const struct lw_plan *plan, const bool *flags, char *text, size_t size)
{
    size_t all = 0;
    text[0] = '\0';
    for (size_t tap = next_node(plan, 1); tap <= lw_plan_taps(plan);) {
        size_t first = tap, last = tap, nodes = 0;
        while (tap <= lw_plan_taps(plan) && flags[tap - 1]) {
            last = tap;
            nodes++;
            tap = next_node(plan, tap + 1);
        }
        if (nodes > 0) {
            add_run(plan, first, last, nodes, text, size);
            all += nodes;
        } else {
            tap = next_node(plan, tap + 1);
        }
    }
    return all;
}
