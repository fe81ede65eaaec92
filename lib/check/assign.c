// SPDX-License-Identifier: GPL-3.0-or-later
//
// What is done between the questions: who is there already, the newcomer found, written to, found
// again. Each step ends in what is asked next, or in the node's final state.
#include "check/assign_inside.h"

#include "base/list.h"
#include "base/words.h"
#include "check/ask.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const double wait_by_default_s = 30, pause_s = 0.3;

const struct lw_chain_entry *lw_assign_entry(const struct lw_assign *assign)
{
    return lw_plan_tap(assign->plan, assign->taps[assign->at]);
}

struct lw_assign_node *lw_assign_node(struct lw_assign *assign)
{
    assert(assign->result.nodes.count > 0);
    return (struct lw_assign_node *)assign->result.nodes.items + assign->result.nodes.count - 1;
}

static struct lw_assign_place factory_of(const struct lw_assign *assign,
                                         const struct lw_profile *profile)
{
    struct lw_assign_place place = {0, assign->plan->framing};
    if (profile->setup != NULL) {
        place.address = profile->setup->factory_address;
    }
    if (profile->setup != NULL && profile->setup->factory_framing != NULL) {
        (void)lw_framing_parse(profile->setup->factory_framing, &place.framing, NULL);
    }
    return place;
}

struct lw_assign_place lw_assign_from(const struct lw_assign *assign)
{
    const struct lw_assign_options *options = &assign->options;
    struct lw_assign_place place = factory_of(assign, lw_assign_entry(assign)->is);
    if (options->from_address > 0) {
        place = (struct lw_assign_place){options->from_address, assign->plan->framing};
    }
    if (options->from_framing != NULL) {
        place.framing = *options->from_framing;
    }
    return place;
}

struct lw_assign_place lw_assign_to(const struct lw_assign *assign)
{
    int address = assign->options.to_address;
    return (struct lw_assign_place){address > 0 ? address : lw_assign_entry(assign)->address,
                                    assign->plan->framing};
}

bool lw_assign_same(const struct lw_assign_place *a, const struct lw_assign_place *b)
{
    return a->address == b->address && lw_framing_same(&a->framing, &b->framing);
}

bool lw_assign_plugs(const struct lw_assign *assign)
{
    return assign->options.walk || assign->options.swap_in;
}

bool lw_assign_by_hand(const struct lw_assign *assign)
{
    const struct lw_setup *setup = lw_assign_entry(assign)->is->setup;
    return setup->takes_effect == 1 && setup->restart.count == 0;
}

void lw_assign_place_text(const struct lw_assign_place *place, char text[LW_ASSIGN_PLACE])
{
    char framing[LW_FRAMING_TEXT];
    lw_framing_text(&place->framing, framing);
    snprintf(text, LW_ASSIGN_PLACE, "%d, %s", place->address, framing);
}

void lw_assign_keep(struct lw_assign *assign, char **to, const char *text)
{
    free(*to);
    *to = lw_duplicate(text);
    assign->failed |= *to == NULL;
}

void lw_assign_say(struct lw_assign *assign, const char *format, ...)
{
    char text[600];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    char **line = lw_list_add(&assign->says, sizeof *line);
    if (line != NULL) {
        *line = lw_duplicate(text);
    }
    assign->failed |= line == NULL || *line == NULL;
}

char *lw_assign_says(struct lw_assign *assign)
{
    char **lines = assign->says.items;
    if (assign->says.count == 0) {
        return NULL;
    }
    char *first = lines[0];
    assign->says.count--;
    memmove(lines, lines + 1, assign->says.count * sizeof *lines);
    return first;
}

void lw_assign_settle(struct lw_assign *assign, enum lw_assign_state state,
                      enum lw_assign_problem problem)
{
    struct lw_assign_node *node = lw_assign_node(assign);
    node->state = (int)state;
    node->problem = (int)problem;
    assign->stage = STAGE_NEXT;
}

// The problem is kept while the person decides, so that an interruption leaves it in the record.
static void ask_again(struct lw_assign *assign, enum lw_assign_problem problem)
{
    lw_assign_node(assign)->state = LW_ASSIGN_LEFT;
    lw_assign_node(assign)->problem = (int)problem;
    assign->stage = STAGE_AGAIN;
}

static void note_place(struct lw_assign *assign, const struct lw_assign_place *place, int *address,
                       char **framing)
{
    char text[LW_FRAMING_TEXT];
    lw_framing_text(&place->framing, text);
    *address = place->address;
    lw_assign_keep(assign, framing, text);
}

static void note_who(struct lw_assign *assign, const struct lw_assign_who *who)
{
    struct lw_assign_node *node = lw_assign_node(assign);
    if (who->vendor[0] != '\0') {
        lw_assign_keep(assign, &node->vendor, who->vendor);
    }
    if (who->product_code[0] != '\0') {
        lw_assign_keep(assign, &node->product_code, who->product_code);
    }
    if (who->serial[0] != '\0') {
        lw_assign_keep(assign, &node->serial, who->serial);
    }
}

static void make_label(struct lw_assign *assign)
{
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    struct lw_assign_node *node = lw_assign_node(assign);
    char text[300];
    snprintf(text, sizeof text, "%s | %d | %s%s%s%s%s", entry->node, node->to_address,
             node->to_framing, entry->place != NULL ? " | " : "",
             entry->place != NULL ? entry->place : "", node->serial != NULL ? " | " : "",
             node->serial != NULL ? node->serial : "");
    lw_assign_keep(assign, &node->label, text);
}

static bool differs(const char *planned, const char *is)
{
    return planned != NULL && is[0] != '\0' && strcmp(planned, is) != 0;
}

static bool is_wrong_kind(const struct lw_profile *profile, const struct lw_assign_who *who)
{
    return differs(profile->identity.vendor, who->vendor) ||
           differs(profile->identity.product_code, who->product_code);
}

// "Example Metrology EX-D10, serial 104417".
static void who_text(const struct lw_assign_who *who, char *text, size_t size)
{
    char kind[170];
    snprintf(kind, sizeof kind, "%s%s%s", who->vendor, who->vendor[0] != '\0' ? " " : "",
             who->product_code);
    const char *is = kind[0] != '\0' ? kind : N_("a node that does not say its kind");
    if (who->serial[0] != '\0') {
        lw_print(text, size, "%s, serial %s", is, who->serial);
    } else {
        lw_copy(text, size, is);
    }
}

static const char *planned_name_of_serial(const struct lw_assign *assign, const char *serial)
{
    for (size_t tap = 1; tap <= lw_plan_taps(assign->plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(assign->plan, tap);
        if (entry->serial != NULL && strcmp(entry->serial, serial) == 0) {
            return entry->node;
        }
    }
    return NULL;
}

static enum lw_status begin_node(struct lw_assign *assign)
{
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    const struct lw_assign_place to = lw_assign_to(assign);
    struct lw_assign_node *node = lw_list_add(&assign->result.nodes, sizeof *node);
    if (node == NULL) {
        return lw_fail(assign->error, LW_MEMORY, "no memory for a node");
    }
    *node = (struct lw_assign_node){.tap = (int)assign->taps[assign->at],
                                    .way = (int)lw_assign_way(entry->is),
                                    .answered_after_s = NAN};
    lw_assign_keep(assign, &node->node, entry->node);
    lw_assign_keep(assign, &node->profile, entry->profile);
    if (entry->place != NULL) {
        lw_assign_keep(assign, &node->place, entry->place);
    }
    if (entry->serial != NULL) {
        lw_assign_keep(assign, &node->planned_serial, entry->serial);
    }
    note_place(assign, &to, &node->to_address, &node->to_framing);
    assign->undo = false;
    assign->found = (struct lw_assign_who){.uptime_s = NAN};
    return LW_OK;
}

// Whether the profile lets it be done; says why not.
static bool is_possible(struct lw_assign *assign)
{
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    struct lw_assign_node *node = lw_assign_node(assign);
    struct lw_list writes;
    struct lw_error why = {0};
    char switches[100];
    if (node->way == LW_ASSIGN_SWITCHES) {
        bool can = lw_assign_switches(entry->is, to.address, switches, sizeof switches);
        lw_assign_keep(assign, &node->switches, can ? switches : "");
        if (!can) {
            lw_assign_say(assign, "%s: its switches cannot make address %d", entry->node,
                          to.address);
        }
        return can;
    }
    if (from.address == 0 && node->way == LW_ASSIGN_WRITTEN) {
        lw_assign_say(assign, "%s: its profile names no factory address; say where it answers now",
                      entry->node);
        return false;
    }
    if (lw_assign_compose(entry->is, &from, &to, &writes, &why) != LW_OK) {
        lw_assign_say(assign, "%s: %s", entry->node, why.says);
        return false;
    }
    lw_assign_writes_free(&writes);
    return true;
}

// Something answers at the new place before anything was done.
static enum lw_status start_occupied(struct lw_assign *assign, const struct lw_assign_who *there)
{
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    struct lw_assign_node *node = lw_assign_node(assign);
    struct lw_assign_who newcomer = {0};
    char is[220];
    enum lw_status status = LW_OK;
    who_text(there, is, sizeof is);
    if (!lw_assign_plugs(assign) && node->way == LW_ASSIGN_WRITTEN && !lw_assign_same(&from, &to)) {
        status = lw_assign_ask(assign, &from, entry->is, &newcomer);
    }
    bool own = there->there == LW_THERE_ONE && !is_wrong_kind(entry->is, there) &&
               !differs(entry->serial, there->serial) && newcomer.there == LW_THERE_NOBODY;
    note_place(assign, &to, &node->after_address, &node->after_framing);
    if (own) {
        note_who(assign, there);
        make_label(assign);
        lw_assign_say(assign, "%s is at %d already: %s", entry->node, to.address, is);
        lw_assign_note_neighbour(assign, assign->taps[assign->at], there);
        lw_assign_settle(assign, LW_ASSIGN_ALREADY, LW_ASSIGN_FINE);
        return status;
    }
    lw_assign_say(assign, "%s: address %d is taken by %s; nothing is written", entry->node,
                  to.address,
                  there->there == LW_THERE_ONE ? is : N_("more than one node, or a disturbed one"));
    lw_assign_settle(assign, LW_ASSIGN_LEFT, LW_ASSIGN_TAKEN);
    return status;
}

static enum lw_status act_start(struct lw_assign *assign)
{
    const struct lw_assign_place to = lw_assign_to(assign);
    struct lw_assign_who there;
    enum lw_status status = begin_node(assign);
    if (status == LW_OK) {
        status = lw_assign_ask(assign, &to, lw_assign_entry(assign)->is, &there);
    }
    if (status != LW_OK) {
        return status;
    }
    if (assign->options.swap_in) {
        const char *serial =
            there.serial[0] != '\0' ? there.serial : lw_assign_entry(assign)->serial;
        if (serial != NULL) {
            lw_assign_keep(assign, &lw_assign_node(assign)->replaced_serial, serial);
        }
    } else if (there.there != LW_THERE_NOBODY) {
        return start_occupied(assign, &there);
    }
    if (!is_possible(assign)) {
        lw_assign_settle(assign, LW_ASSIGN_LEFT, LW_ASSIGN_CANNOT);
    } else if (lw_assign_plugs(assign)) {
        assign->stage = STAGE_PLUG;
    } else {
        assign->stage =
            lw_assign_node(assign)->way == LW_ASSIGN_SWITCHES ? STAGE_SWITCHES : STAGE_LOOK;
    }
    return LW_OK;
}

static double wait_s(const struct lw_assign *assign)
{
    return assign->options.wait_s > 0 ? assign->options.wait_s : wait_by_default_s;
}

// Looks at a place until somebody answers there, for at most so long.
static enum lw_status wait_at(struct lw_assign *assign, const struct lw_assign_place *place,
                              double seconds, struct lw_assign_who *who)
{
    const struct lw_clock *clock = assign->run->clock;
    const struct lw_profile *profile = lw_assign_entry(assign)->is;
    int64_t start_ns = lw_clock_now_ns(clock);
    double passed_s = 0;
    enum lw_status status = lw_assign_ask(assign, place, profile, who);
    while (status == LW_OK && who->there == LW_THERE_NOBODY && passed_s < seconds) {
        lw_run_progress(assign->run, "waiting for the node", passed_s, seconds, "s",
                        seconds - passed_s);
        status = lw_client_wait(assign->client, pause_s, assign->error);
        if (status == LW_OK) {
            status = lw_assign_ask(assign, place, profile, who);
        }
        passed_s = (double)(lw_clock_now_ns(clock) - start_ns) / 1e9;
    }
    return status;
}

// A node of another kind comes with another factory address or framing.
static enum lw_status look_for_other_kinds(struct lw_assign *assign)
{
    const struct lw_assign_place from = lw_assign_from(assign);
    const struct lw_profile *profiles = assign->plan->profiles.items;
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < assign->plan->profiles.count && status == LW_OK; i++) {
        struct lw_assign_place place = factory_of(assign, &profiles[i]);
        struct lw_assign_who who;
        char where[LW_ASSIGN_PLACE], is[220];
        if (place.address == 0 || lw_assign_same(&place, &from) ||
            lw_plan_by_address(assign->plan, place.address, NULL) != NULL) {
            continue;
        }
        status = lw_assign_ask(assign, &place, &profiles[i], &who);
        if (status == LW_OK && who.there != LW_THERE_NOBODY) {
            lw_assign_place_text(&place, where);
            who_text(&who, is, sizeof is);
            lw_assign_say(assign, "At %s answers %s.", where, is);
        }
    }
    return status;
}

// A gateway and a pseudo-terminal have a framing of their own.
static void say_keeps_framing(struct lw_assign *assign, const struct lw_framing *wanted)
{
    const struct lw_line *line = lw_client_line(assign->client);
    const struct lw_assign_place here = {0, line->framing}, there = {0, *wanted};
    if (!line->framed && !lw_assign_same(&here, &there)) {
        char framing[LW_FRAMING_TEXT];
        lw_framing_text(wanted, framing);
        lw_assign_say(assign,
                      "This line keeps its own framing: a node that speaks %s alone is not reached "
                      "through it.",
                      framing);
    }
}

// The newcomer must be one, of the planned kind, and the planned one.
static void judge_newcomer(struct lw_assign *assign)
{
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    const struct lw_assign_place from = lw_assign_from(assign);
    const struct lw_assign_who *who = &assign->found;
    struct lw_assign_node *node = lw_assign_node(assign);
    char where[LW_ASSIGN_PLACE], is[220];
    lw_assign_place_text(&from, where);
    who_text(who, is, sizeof is);
    if (who->there == LW_THERE_NOBODY) {
        lw_assign_say(assign, "%s: nobody answers at %s.", entry->node, where);
        say_keeps_framing(assign, &from.framing);
        ask_again(assign, LW_ASSIGN_NOBODY);
        return;
    }
    if (who->there != LW_THERE_ONE) {
        lw_assign_say(assign,
                      "%s: more than one node answers at %s, or it cannot be understood: unplug "
                      "all new nodes but one.",
                      entry->node, where);
        ask_again(assign, LW_ASSIGN_DOUBLED);
        return;
    }
    note_place(assign, &from, &node->before_address, &node->before_framing);
    note_who(assign, who);
    assign->now = from;
    lw_assign_say(assign, "%s: at %s answers %s.", entry->node, where, is);
    if (is_wrong_kind(entry->is, who)) {
        lw_assign_say(assign, "%s is planned as %s: that is another kind.", entry->node,
                      entry->profile);
        ask_again(assign, LW_ASSIGN_WRONG_KIND);
        return;
    }
    node->state = LW_ASSIGN_OPEN;
    node->problem = LW_ASSIGN_FINE;
    assign->stage = STAGE_WRITE;
    const char *other = planned_name_of_serial(assign, who->serial);
    bool of_another = other != NULL && strcmp(other, entry->node) != 0;
    bool replaces =
        assign->options.swap_in && !of_another &&
        (node->replaced_serial == NULL || strcmp(node->replaced_serial, who->serial) != 0);
    if (differs(entry->serial, who->serial) && !replaces) {
        lw_assign_say(assign, "The plan has serial %s for %s.", entry->serial, entry->node);
        if (of_another) {
            lw_assign_say(assign, "Serial %s is planned for %s.", who->serial, other);
        }
        assign->stage = STAGE_SERIAL;
    }
}

static void say_writes(struct lw_assign *assign)
{
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    struct lw_list writes;
    if (lw_assign_compose(lw_assign_entry(assign)->is, &from, &to, &writes, NULL) != LW_OK) {
        return;
    }
    const struct lw_assign_write *items = writes.items;
    for (size_t i = 0; i < writes.count; i++) {
        lw_assign_say(assign, "  function %02X: register %d = %d (%s)", items[i].function,
                      items[i].at, items[i].value, items[i].what);
    }
    lw_assign_writes_free(&writes);
}

// With the newcomer plugged the new place has to be free still: it may have come with that address.
static enum lw_status act_look(struct lw_assign *assign)
{
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    struct lw_assign_who there = {0};
    double seconds = lw_assign_plugs(assign) ? wait_s(assign) : 1;
    enum lw_status status = wait_at(assign, &from, seconds, &assign->found);
    if (status == LW_OK && !lw_assign_same(&from, &to)) {
        status = lw_assign_ask(assign, &to, entry->is, &there);
    }
    if (status == LW_OK && assign->found.there == LW_THERE_NOBODY) {
        status = look_for_other_kinds(assign);
    }
    if (status != LW_OK) {
        return status;
    }
    if (there.there != LW_THERE_NOBODY) {
        char is[220];
        who_text(&there, is, sizeof is);
        lw_assign_say(assign, "%s: address %d is taken by %s; nothing is written", entry->node,
                      to.address, is);
        ask_again(assign, LW_ASSIGN_TAKEN);
        return LW_OK;
    }
    judge_newcomer(assign);
    if (assign->stage == STAGE_WRITE || assign->stage == STAGE_SERIAL) {
        say_writes(assign);
        return lw_assign_plugs(assign) ? lw_assign_look_after(assign) : LW_OK;
    }
    return LW_OK;
}

// Where it is now: at the place wanted, where it was, or at a mixture of both.
static enum lw_status find_it(struct lw_assign *assign, struct lw_assign_place *place,
                              struct lw_assign_who *who)
{
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    const struct lw_assign_place places[] = {
        to, from, {to.address, from.framing}, {from.address, to.framing}};
    enum lw_status status = LW_OK;
    *who = (struct lw_assign_who){0};
    for (size_t i = 0; i < 4 && status == LW_OK && who->there == LW_THERE_NOBODY; i++) {
        *place = places[i];
        status = lw_assign_ask(assign, place, lw_assign_entry(assign)->is, who);
    }
    return status;
}

// It was written to and is not where it should be: it may be away for a while.
static enum lw_status look_for_it(struct lw_assign *assign, double seconds)
{
    struct lw_assign_node *node = lw_assign_node(assign);
    const struct lw_clock *clock = assign->run->clock;
    int64_t until_ns = lw_clock_now_ns(clock) + (int64_t)(seconds * 1e9);
    struct lw_assign_place place;
    struct lw_assign_who who;
    char where[LW_ASSIGN_PLACE];
    enum lw_status status = find_it(assign, &place, &who);
    while (status == LW_OK && who.there == LW_THERE_NOBODY && lw_clock_now_ns(clock) < until_ns) {
        status = lw_client_wait(assign->client, pause_s, assign->error);
        status = status == LW_OK ? find_it(assign, &place, &who) : status;
    }
    node->after_address = 0;
    if (status == LW_OK && who.there == LW_THERE_ONE) {
        assign->now = place;
        note_place(assign, &place, &node->after_address, &node->after_framing);
        lw_assign_place_text(&place, where);
        lw_assign_say(assign, "%s answers at %s now.", node->node, where);
    } else if (status == LW_OK) {
        lw_assign_say(assign, "%s answers neither at its old nor at its new place.", node->node);
    }
    return status;
}

static const struct lw_assign_write *last_write(struct lw_assign *assign)
{
    const struct lw_list *writes = &lw_assign_node(assign)->writes;
    return (const struct lw_assign_write *)writes->items + writes->count - 1;
}

static enum lw_status act_writing(struct lw_assign *assign)
{
    struct lw_assign_node *node = lw_assign_node(assign);
    node->state = LW_ASSIGN_UNPROVED;
    enum lw_status status = lw_assign_write_all(assign);
    if (status != LW_OK || node->writes.count == 0) {
        return status;
    }
    const struct lw_assign_write *last = last_write(assign);
    bool taken = strcmp(last->outcome, lw_outcome_word(LW_ANSWERED)) == 0;
    bool restarting = strcmp(last->what, "restart") == 0 && last->exception == 0;
    if (taken || restarting) {
        assign->stage = lw_assign_by_hand(assign) ? STAGE_RESTART : STAGE_VERIFY;
        return LW_OK;
    }
    assign->stage = STAGE_AFTER;
    if (last->exception != 0) {
        node->state = LW_ASSIGN_REFUSED;
        lw_assign_say(assign, "%s refused register %d = %d (%s): exception %d.", node->node,
                      last->at, last->value, last->what, last->exception);
    } else {
        node->state = LW_ASSIGN_LOST;
        lw_assign_say(assign, "%s did not confirm register %d = %d (%s); it may have taken it.",
                      node->node, last->at, last->value, last->what);
    }
    return look_for_it(assign, last->exception != 0 ? 0 : wait_s(assign));
}

static bool is_same_node(const struct lw_assign *assign, const struct lw_assign_who *who)
{
    return who->there == LW_THERE_ONE &&
           (assign->found.serial[0] == '\0' || strcmp(assign->found.serial, who->serial) == 0);
}

static enum lw_status found_in_place(struct lw_assign *assign, const struct lw_assign_place *place,
                                     const struct lw_assign_who *who)
{
    struct lw_assign_node *node = lw_assign_node(assign);
    char where[LW_ASSIGN_PLACE], is[220];
    assign->now = *place;
    lw_assign_place_text(place, where);
    who_text(who, is, sizeof is);
    note_who(assign, who);
    note_place(assign, place, &node->after_address, &node->after_framing);
    node->answered_after_s =
        (double)(lw_clock_now_ns(assign->run->clock) - assign->written_ns) / 1e9;
    lw_assign_say(assign, "%s answers at %s: %s.", node->node, where, is);
    if (assign->undo) {
        lw_assign_settle(assign, LW_ASSIGN_UNDONE, LW_ASSIGN_FINE);
        return LW_OK;
    }
    node->state = LW_ASSIGN_ASSIGNED;
    make_label(assign);
    lw_assign_say(assign, "Label: %s", node->label);
    lw_assign_note_neighbour(assign, assign->taps[assign->at], who);
    assign->stage = node->way == LW_ASSIGN_WRITTEN ? STAGE_LABEL : STAGE_NEXT;
    return lw_assign_look_after(assign);
}

static enum lw_status act_verify(struct lw_assign *assign)
{
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    const struct lw_assign_place wanted = assign->undo ? from : to, left = assign->undo ? to : from;
    const struct lw_profile *profile = lw_assign_entry(assign)->is;
    bool written = lw_assign_node(assign)->way == LW_ASSIGN_WRITTEN;
    struct lw_assign_who who, behind = {0};
    enum lw_status status = wait_at(assign, &wanted, wait_s(assign), &who);
    if (status == LW_OK && written && !lw_assign_same(&from, &to)) {
        status = lw_assign_ask(assign, &left, profile, &behind);
    }
    if (status != LW_OK) {
        return status;
    }
    bool right = is_same_node(assign, &who) && !is_wrong_kind(profile, &who);
    if (right && behind.there == LW_THERE_NOBODY) {
        return found_in_place(assign, &wanted, &who);
    }
    lw_assign_node(assign)->state = written ? LW_ASSIGN_LOST : LW_ASSIGN_LEFT;
    lw_assign_node(assign)->problem = written ? LW_ASSIGN_FINE : LW_ASSIGN_NOBODY;
    assign->stage = STAGE_AFTER;
    if (who.there == LW_THERE_NOBODY) {
        return written ? look_for_it(assign, 0) : LW_OK;
    }
    lw_assign_say(assign, "%s: more than one node answers, or another than was written to.",
                  lw_assign_node(assign)->node);
    return LW_OK;
}

static enum lw_status act_next(struct lw_assign *assign)
{
    assign->at++;
    assign->stage = assign->at < assign->tap_count ? STAGE_START : STAGE_DONE;
    return LW_OK;
}

static enum lw_status act_around(struct lw_assign *assign)
{
    assign->stage = STAGE_START;
    return lw_assign_look_around(assign);
}

static enum lw_status act(struct lw_assign *assign)
{
    static enum lw_status (*const acts[STAGE_DONE + 1])(struct lw_assign *) = {
        [STAGE_AROUND] = act_around,   [STAGE_START] = act_start,   [STAGE_LOOK] = act_look,
        [STAGE_WRITING] = act_writing, [STAGE_VERIFY] = act_verify, [STAGE_NEXT] = act_next,
    };
    assert(acts[assign->stage] != NULL);
    return acts[assign->stage](assign);
}

enum lw_status lw_assign_act(struct lw_assign *assign, const struct lw_run *run,
                             struct lw_client *client, struct lw_error *error)
{
    struct lw_line *line = lw_client_line(client);
    const struct lw_framing home = line->framing;
    assign->run = run;
    assign->client = client;
    assign->error = error;
    enum lw_status status = act(assign);
    if (line->framed) {
        enum lw_status back = lw_client_set_framing(client, &home, status == LW_OK ? error : NULL);
        status = status == LW_OK ? back : status;
    }
    if (status == LW_OK && assign->failed) {
        status = lw_fail(error, LW_MEMORY, "no memory for what assign has to say");
    }
    return status;
}

// A node that stays at the factory place would answer beside each newcomer: it comes last.
static size_t list_taps(struct lw_assign *assign)
{
    size_t count = 0;
    for (int last = 0; last < 2; last++) {
        for (size_t tap = 1; tap <= lw_plan_taps(assign->plan); tap++) {
            const struct lw_chain_entry *entry = lw_plan_tap(assign->plan, tap);
            if (entry->is == NULL || !assign->options.selected[tap - 1]) {
                continue;
            }
            assign->at = count; // whom from and to are about
            assign->taps[count] = tap;
            const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
            count += lw_assign_same(&from, &to) == (last == 1);
        }
    }
    assign->at = 0;
    return count;
}

enum lw_status lw_assign_new(const struct lw_plan *plan, const struct lw_assign_options *options,
                             struct lw_assign **assign, struct lw_error *error)
{
    struct lw_assign *own = calloc(1, sizeof *own);
    *assign = NULL;
    if (own != NULL) {
        size_t taps = lw_plan_taps(plan);
        own->taps = calloc(taps + 1, sizeof *own->taps);
        own->neighbours = calloc(taps + 1, sizeof *own->neighbours);
    }
    if (own == NULL || own->taps == NULL || own->neighbours == NULL) {
        lw_assign_free(own);
        return lw_fail(error, LW_MEMORY, "no memory for assign");
    }
    own->dialog.ops = &lw_assign_ops;
    own->plan = plan;
    own->options = *options;
    own->result.walk = options->walk;
    own->tap_count = list_taps(own);
    assert(own->tap_count > 0);
    *assign = own;
    return LW_OK;
}

void lw_assign_free(struct lw_assign *assign)
{
    if (assign == NULL) {
        return;
    }
    char **lines = assign->says.items;
    for (size_t i = 0; i < assign->says.count; i++) {
        free(lines[i]);
    }
    free(lines);
    free(assign->taps);
    free(assign->neighbours);
    lw_json_free(&lw_assign_shape, &assign->result);
    free(assign);
}

struct lw_dialog *lw_assign_dialog(struct lw_assign *assign)
{
    return &assign->dialog;
}

struct lw_assign_result *lw_assign_result(struct lw_assign *assign)
{
    return &assign->result;
}
