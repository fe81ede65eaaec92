// SPDX-License-Identifier: GPL-3.0-or-later
//
// Who answers at a place. Two like nodes at one address answer in step until they are asked for
// something in which they differ, so serial and live value are read several times before a place
// counts as having one node.
#include "check/assign_inside.h"

#include "check/ask.h"
#include "modbus/identity.h"
#include "modbus/pdu.h"

#include <string.h>

enum { LOOKS = 3, REPLY_LEAST_MS = 200 };

static const uint32_t telling_roles = LW_ROLE_BIT(LW_ROLE_SERIAL) | LW_ROLE_BIT(LW_ROLE_READING) |
                                      LW_ROLE_BIT(LW_ROLE_SAMPLE_COUNTER) |
                                      LW_ROLE_BIT(LW_ROLE_UPTIME_S);

enum lw_status lw_assign_set_framing(struct lw_assign *assign, const struct lw_framing *framing)
{
    const struct lw_line *line = lw_client_line(assign->client);
    return line->framed ? lw_client_set_framing(assign->client, framing, assign->error) : LW_OK;
}

// How many of its answers were damaged, and whether it named two serials.
struct looks {
    unsigned answered, damaged, exceptions;
    bool two_serials;
};

static void take_look(const struct lw_node_values *values, struct lw_assign_who *who,
                      struct looks *looks)
{
    looks->answered += values->answered;
    looks->damaged += values->damaged;
    looks->exceptions += values->exceptions;
    if (values->have[LW_ROLE_SERIAL]) {
        const char *serial = values->value[LW_ROLE_SERIAL].text;
        looks->two_serials |= who->serial[0] != '\0' && strcmp(who->serial, serial) != 0;
        lw_copy(who->serial, sizeof who->serial, serial);
    }
    if (values->have[LW_ROLE_UPTIME_S]) {
        who->uptime_s = values->value[LW_ROLE_UPTIME_S].number;
    }
}

static enum lw_status look_closer(struct lw_assign *assign, int address,
                                  const struct lw_profile *profile, struct lw_assign_who *who)
{
    struct looks looks = {0};
    enum lw_status status = LW_OK;
    for (int i = 0; i < LOOKS && status == LW_OK; i++) {
        struct lw_node_values values;
        status = lw_ask_roles(assign->client, profile, (uint8_t)address, telling_roles, &values,
                              assign->error);
        take_look(&values, who, &looks);
    }
    if (looks.two_serials || (looks.damaged >= 2 && looks.answered < looks.damaged)) {
        who->there = LW_THERE_SEVERAL;
    }
    return status;
}

static void keep_object(const struct lw_identity *identity, uint8_t id, char *to, size_t size)
{
    char *text = lw_identity_text(identity, id);
    lw_copy(to, size, text != NULL ? text : "");
    free(text);
}

static enum lw_status ask_kind(struct lw_assign *assign, int address,
                               const struct lw_profile *profile, struct lw_assign_who *who)
{
    bool declares = profile->identity.vendor != NULL || profile->identity.product_code != NULL;
    struct lw_identity identity = {0};
    if (assign->options.gentle && !declares) {
        return LW_OK;
    }
    enum lw_status status = lw_ask_identity(assign->client, (uint8_t)address, LW_IDENTITY_BASIC,
                                            &identity, assign->error);
    keep_object(&identity, LW_VENDOR_NAME, who->vendor, sizeof who->vendor);
    keep_object(&identity, LW_PRODUCT_CODE, who->product_code, sizeof who->product_code);
    return status;
}

static double reply_s(const struct lw_profile *profile)
{
    double slowest_s = profile->timing.slowest_reply_ms / 1e3;
    return fmax(REPLY_LEAST_MS / 1e3, isnan(slowest_s) ? 0 : 3 * slowest_s);
}

enum lw_status lw_assign_ask(struct lw_assign *assign, const struct lw_assign_place *place,
                             const struct lw_profile *profile, struct lw_assign_who *who)
{
    const struct lw_pdu probe = lw_read_request(LW_READ_HOLDING, 0, 1);
    struct lw_exchange exchange = {.outcome = LW_NO_ANSWER};
    *who = (struct lw_assign_who){.uptime_s = NAN};
    lw_client_reply_s(assign->client, reply_s(profile));
    lw_client_attempts(assign->client, 2);
    enum lw_status status = lw_assign_set_framing(assign, &place->framing);
    if (status == LW_OK) {
        status = lw_client_exchange(assign->client, (uint8_t)place->address, &probe, &exchange,
                                    assign->error);
    }
    if (status != LW_OK || exchange.outcome == LW_NO_ANSWER || exchange.outcome == LW_NOT_SENT) {
        return status;
    }
    bool heard = exchange.outcome == LW_ANSWERED || exchange.outcome == LW_EXCEPTION;
    who->there = heard ? LW_THERE_ONE : LW_THERE_UNCLEAR;
    status = look_closer(assign, place->address, profile, who);
    return status == LW_OK && who->there == LW_THERE_ONE
               ? ask_kind(assign, place->address, profile, who)
               : status;
}

void lw_assign_note_neighbour(struct lw_assign *assign, size_t tap, const struct lw_assign_who *who)
{
    assign->neighbours[tap - 1] = (struct lw_assign_neighbour){
        .there = who->there == LW_THERE_ONE,
        .uptime_s = who->uptime_s,
        .seen_ns = lw_clock_now_ns(assign->run->clock),
    };
}

static enum lw_status ask_neighbour(struct lw_assign *assign, size_t tap, struct lw_assign_who *who)
{
    const struct lw_chain_entry *entry = lw_plan_tap(assign->plan, tap);
    const struct lw_assign_place place = {entry->address, assign->plan->framing};
    return lw_assign_ask(assign, &place, entry->is, who);
}

enum lw_status lw_assign_look_around(struct lw_assign *assign)
{
    size_t taps = lw_plan_taps(assign->plan);
    enum lw_status status = LW_OK;
    for (size_t tap = 1; tap <= taps && status == LW_OK; tap++) {
        struct lw_assign_who who;
        if (lw_plan_tap(assign->plan, tap)->is == NULL) {
            continue;
        }
        lw_run_progress(assign->run, "looking who is there", (double)tap - 1, (double)taps, "taps",
                        NAN);
        status = ask_neighbour(assign, tap, &who);
        if (status == LW_OK) {
            lw_assign_note_neighbour(assign, tap, &who);
        }
    }
    return status;
}

static void name(struct lw_assign *assign, struct lw_list *list, size_t tap)
{
    char **item = lw_list_add(list, sizeof *item);
    if (item != NULL) {
        *item = lw_duplicate(lw_plan_tap(assign->plan, tap)->node);
    }
    assign->failed |= item == NULL || *item == NULL;
}

// Its uptime has to go on with the clock; a second is lost to rounding.
static bool has_restarted(const struct lw_assign *assign, const struct lw_assign_neighbour *before,
                          const struct lw_assign_who *now)
{
    double passed_s = (double)(lw_clock_now_ns(assign->run->clock) - before->seen_ns) / 1e9;
    return now->uptime_s + 2 < before->uptime_s + passed_s; // false where one is not known
}

// A node that restarts when another is plugged shows a dip. When the section was switched off for
// it, all restart: nothing can be told then.
enum lw_status lw_assign_look_after(struct lw_assign *assign)
{
    size_t taps = lw_plan_taps(assign->plan), own = assign->taps[assign->at];
    struct lw_list restarted = {0};
    size_t others = 0;
    enum lw_status status = LW_OK;
    for (size_t tap = 1; tap <= taps && status == LW_OK; tap++) {
        const struct lw_assign_neighbour before = assign->neighbours[tap - 1];
        struct lw_assign_who who;
        if (tap == own || !before.there) {
            continue;
        }
        others++;
        status = ask_neighbour(assign, tap, &who);
        if (status == LW_OK && who.there == LW_THERE_NOBODY) {
            name(assign, &lw_assign_node(assign)->silent, tap);
        } else if (status == LW_OK && has_restarted(assign, &before, &who)) {
            name(assign, &restarted, tap);
        }
        lw_assign_note_neighbour(assign, tap, &who);
    }
    const struct lw_profile *profile = lw_assign_entry(assign)->is;
    bool live = profile->electrical.hot_plug == 1;
    for (size_t i = 0; i < restarted.count; i++) {
        char **names = restarted.items;
        if (live || restarted.count < others) {
            char **item = lw_list_add(&lw_assign_node(assign)->restarted, sizeof *item);
            assign->failed |= item == NULL;
            if (item != NULL) {
                *item = names[i];
                names[i] = NULL;
            }
        }
        free(names[i]);
    }
    free(restarted.items);
    return status;
}
