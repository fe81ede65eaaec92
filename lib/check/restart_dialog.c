// SPDX-License-Identifier: GPL-3.0-or-later
//
// Off together, on together; off, on from the head; off, on from the tail: the three orders in
// which a machine comes up, as far as its switches allow.
#include "check/restart_dialog.h"

#include "base/text.h"
#include "base/words.h"

#include <string.h>

static const struct lw_restart_dialog *own_of(const struct lw_dialog *dialog)
{
    return (const struct lw_restart_dialog *)dialog;
}

static enum lw_restart_order order_of(const struct lw_restart_dialog *own)
{
    return lw_restart_order_of(own->cycle, own->one_switch);
}

// Turns on in this cycle.
static size_t turns_on(const struct lw_restart_dialog *own)
{
    return order_of(own) == LW_RESTART_TOGETHER ? 1 : own->plan->supplies.count;
}

static int supply_of(const struct lw_restart_dialog *own)
{
    size_t count = own->plan->supplies.count;
    if (own->step == 0 || order_of(own) == LW_RESTART_TOGETHER) {
        return LW_RESTART_ALL;
    }
    return (int)(order_of(own) == LW_RESTART_FORWARD ? own->step - 1 : count - own->step);
}

// "PS1", or "PS1, PS2" for all of them.
static void supply_names(const struct lw_restart_dialog *own, int supply, char *text, size_t size)
{
    const struct lw_supply *supplies = own->plan->supplies.items;
    text[0] = '\0';
    for (size_t i = 0; i < own->plan->supplies.count; i++) {
        size_t length = strlen(text);
        if (supply == LW_RESTART_ALL || supply == (int)i) {
            lw_copy(text + length, size - length, length > 0 ? ", " : "");
            lw_copy(text + strlen(text), size - strlen(text), supplies[i].name);
        }
    }
}

static void ask_switches(const struct lw_restart_dialog *own, struct lw_question *question)
{
    static const char *const words[] = {"each", "one", NULL};
    char names[200];
    supply_names(own, LW_RESTART_ALL, names, sizeof names);
    lw_question_id(question, "switches");
    lw_print(question->text, sizeof question->text,
             "Has each of the supplies %s a switch of its own, or do they have one together?",
             names);
    lw_print(question->help, sizeof question->help,
             "With a switch each, they are switched on together, then one after the other from the "
             "head of the chain, then from its tail: what comes up in one order may not in "
             "another.");
    question->kind = LW_QUESTION_WORD;
    question->words = words;
    question->obvious = words[0];
    question->lasting = true;
}

static void ask_off(const struct lw_restart_dialog *own, struct lw_question *question)
{
    char names[200];
    supply_names(own, LW_RESTART_ALL, names, sizeof names);
    lw_question_id(question, "%d.off", own->cycle);
    lw_print(question->text, sizeof question->text, "Cycle %d of %d: switch %s off. Is it off?",
             own->cycle, own->cycles, names);
    lw_print(question->help, sizeof question->help,
             "At the mains side of the supplies, so that the chain starts as it will in the "
             "morning. The nodes are asked meanwhile: who goes on answering has another supply.");
}

static void ask_on(const struct lw_restart_dialog *own, struct lw_question *question)
{
    char names[200];
    int supply = supply_of(own);
    supply_names(own, supply, names, sizeof names);
    if (supply == LW_RESTART_ALL) {
        lw_question_id(question, "%d.on", own->cycle);
    } else {
        lw_question_id(question, "%d.on.%s", own->cycle, names);
    }
    lw_print(question->text, sizeof question->text,
             "Cycle %d of %d: switch %s on and press Enter at the same moment.", own->cycle,
             own->cycles, names);
    lw_print(question->help, sizeof question->help,
             "The times to the first answers count from Enter. A hand and a key meet within half "
             "a second; the times are no better than that.");
}

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct lw_restart_dialog *own = own_of(dialog);
    if (own->answered) {
        return LW_DIALOG_ACT;
    }
    if (own->cycle > own->cycles) {
        return LW_DIALOG_DONE;
    }
    if (!own->switches_known) {
        ask_switches(own, question);
        return LW_DIALOG_ASK;
    }
    if (own->step == 0) {
        ask_off(own, question);
    } else {
        ask_on(own, question);
    }
    question->kind = LW_QUESTION_YES;
    question->obvious = N_("yes");
    return LW_DIALOG_ASK;
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error)
{
    struct lw_restart_dialog *own = (struct lw_restart_dialog *)dialog;
    if (!own->switches_known) {
        own->switches_known = true;
        own->one_switch = answer->word == 1;
        return LW_OK;
    }
    own->answered = answer->yes;
    return answer->yes ? LW_OK
                       : lw_fail(error, LW_USAGE, "answer yes when it is so, back, or stop");
}

static bool back(struct lw_dialog *dialog)
{
    struct lw_restart_dialog *own = (struct lw_restart_dialog *)dialog;
    if (own->switches_known && own->step > 0) {
        own->step = 0;
    } else if (own->cycle > 1) {
        own->cycle--;
    } else if (own->switches_known && own->plan->supplies.count > 1) {
        own->switches_known = false;
    } else {
        return false;
    }
    return true;
}

void lw_restart_dialog_init(struct lw_restart_dialog *dialog, const struct lw_plan *plan,
                            int cycles)
{
    static const struct lw_dialog_ops ops = {next, answer, back};
    bool one = plan->supplies.count < 2;
    *dialog = (struct lw_restart_dialog){.dialog.ops = &ops,
                                         .plan = plan,
                                         .cycles = cycles,
                                         .switches_known = one,
                                         .one_switch = one,
                                         .cycle = 1};
}

struct lw_restart_act lw_restart_dialog_act(const struct lw_restart_dialog *dialog)
{
    bool ends = dialog->step == turns_on(dialog);
    return (struct lw_restart_act){.cycle = dialog->cycle,
                                   .order = order_of(dialog),
                                   .supply = supply_of(dialog),
                                   .on = dialog->step > 0,
                                   .ends_cycle = ends,
                                   .ends_all = ends && dialog->cycle == dialog->cycles};
}

void lw_restart_dialog_acted(struct lw_restart_dialog *dialog)
{
    dialog->answered = false;
    if (dialog->step == turns_on(dialog)) {
        dialog->cycle++;
        dialog->step = 0;
    } else {
        dialog->step++;
    }
}
