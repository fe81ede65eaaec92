// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a profile says about giving an address, as writes or as switches. Pure.
#include "check/assign.h"

#include "base/text.h"
#include "base/words.h"
#include "modbus/pdu.h"

#include <stdio.h>
#include <string.h>

enum { SWITCHES_BY_DEFAULT = 8 };

enum lw_assign_way lw_assign_way(const struct lw_profile *profile)
{
    if (profile == NULL || profile->setup == NULL) {
        return LW_ASSIGN_NO_WAY;
    }
    return profile->setup->address.at >= 0 ? LW_ASSIGN_WRITTEN : LW_ASSIGN_SWITCHES;
}

bool lw_assign_switches(const struct lw_profile *profile, int address, char *text, size_t size)
{
    const struct lw_switches by_default = {.count = SWITCHES_BY_DEFAULT};
    const struct lw_switches *switches = profile->setup != NULL && profile->setup->switches != NULL
                                             ? profile->setup->switches
                                             : &by_default;
    int value = address - switches->offset;
    size_t length = 0;
    text[0] = '\0';
    if (value < 0 || value >= 1 << switches->count) {
        return false;
    }
    for (int i = 0; i < switches->count; i++) {
        int bit = switches->first == 0 ? i : switches->count - 1 - i;
        snprintf(text + length, size - length, "%s%s", i > 0 ? " " : "",
                 value >> bit & 1 ? "on" : "off");
        length += strlen(text + length);
    }
    return true;
}

static enum lw_status add(struct lw_list *writes, const char *what, int function, int at, int value,
                          struct lw_error *error)
{
    struct lw_assign_write *write = lw_list_add(writes, sizeof *write);
    if (write == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for what is to be written");
    }
    *write = (struct lw_assign_write){
        .what = lw_duplicate(what), .function = function, .at = at, .value = value, .before = NAN};
    return write->what != NULL ? LW_OK
                               : lw_fail(error, LW_MEMORY, "no memory for what is to be written");
}

static enum lw_status add_all(struct lw_list *writes, const char *what, int function,
                              const struct lw_list *from, struct lw_error *error)
{
    const struct lw_write *items = from->items;
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < from->count && status == LW_OK; i++) {
        status = add(writes, what, function, items[i].at, items[i].value, error);
    }
    return status;
}

static enum lw_status add_address(const struct lw_setup *setup, const struct lw_assign_place *to,
                                  struct lw_list *writes, struct lw_error *error)
{
    if (to->address < setup->address.min || to->address > setup->address.max) {
        return lw_fail(error, LW_USAGE, "its profile allows addresses %d to %d, not %d",
                       setup->address.min, setup->address.max, to->address);
    }
    return add(writes, N_("address"), setup->write_function, setup->address.at, to->address, error);
}

static enum lw_status add_framing(const struct lw_setup *setup, const struct lw_assign_place *to,
                                  struct lw_list *writes, struct lw_error *error)
{
    char text[LW_FRAMING_TEXT];
    lw_framing_text(&to->framing, text);
    const struct lw_pair *pairs = setup->framing.values.items;
    for (size_t i = 0; i < setup->framing.values.count && setup->framing.at >= 0; i++) {
        if (strcmp(pairs[i].name, text) == 0) {
            return add(writes, N_("framing"), setup->write_function, setup->framing.at,
                       (int)pairs[i].value, error);
        }
    }
    return lw_fail(error, LW_USAGE, "its profile does not say how its framing becomes %s", text);
}

enum lw_status lw_assign_compose(const struct lw_profile *profile,
                                 const struct lw_assign_place *from,
                                 const struct lw_assign_place *to, struct lw_list *writes,
                                 struct lw_error *error)
{
    *writes = (struct lw_list){0};
    if (lw_assign_way(profile) != LW_ASSIGN_WRITTEN) {
        return lw_fail(error, LW_USAGE, "its profile names no register for its address");
    }
    const struct lw_setup *setup = profile->setup;
    int function = setup->write_function;
    enum lw_status status = add_all(writes, N_("unlock"), function, &setup->unlock, error);
    if (status == LW_OK && from->address != to->address) {
        status = add_address(setup, to, writes, error);
    }
    if (status == LW_OK && !lw_framing_same(&from->framing, &to->framing)) {
        status = add_framing(setup, to, writes, error);
    }
    if (status == LW_OK) {
        status = add_all(writes, N_("save"), function, &setup->save, error);
    }
    if (status == LW_OK) {
        status = add_all(writes, N_("restart"), function, &setup->restart, error);
    }
    if (status != LW_OK) {
        lw_assign_writes_free(writes);
    }
    return status;
}

void lw_assign_writes_free(struct lw_list *writes)
{
    struct lw_assign_write *items = writes->items;
    for (size_t i = 0; i < writes->count; i++) {
        free(items[i].what);
        free(items[i].to_framing);
        free(items[i].time);
        free(items[i].outcome);
    }
    free(items);
    *writes = (struct lw_list){0};
}
