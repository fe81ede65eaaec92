// SPDX-License-Identifier: GPL-3.0-or-later
//
// The questions of assign. What was written cannot be taken back by going back a question, only by
// writing again: "undo" is an answer of its own.
#include "check/assign_inside.h"

#include "base/words.h"

#include <string.h>

static const char *const again_words[] = {"again", "leave", NULL};
static const char *const after_words[] = {"again", "undo", "leave", NULL};
static const char *const label_words[] = {"keep", "undo", NULL};

static bool is_live(const struct lw_assign *assign)
{
    return lw_assign_entry(assign)->is->electrical.hot_plug == 1;
}

static void ask_who(const struct lw_assign *assign, struct lw_question *question)
{
    (void)assign;
    lw_question_id(question, "assign.who");
    lw_print(question->text, sizeof question->text,
             "Who allows that addresses are written to nodes of this machine?");
    lw_print(question->help, sizeof question->help,
             "The name goes into the record, beside every register that is written. It is the "
             "person who answers for the machine, not the one who types.");
    question->kind = LW_QUESTION_TEXT;
    question->lasting = true;
}

static void ask_plug(const struct lw_assign *assign, struct lw_question *question)
{
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    size_t tap = assign->taps[assign->at];
    char where[LW_QUESTION_TEXT_SIZE / 2];
    lw_question_id(question, "%s.plug", entry->node);
    if (entry->place != NULL) {
        lw_print(where, sizeof where, "tap %zu, %s", tap, entry->place);
    } else {
        lw_print(where, sizeof where, "tap %zu", tap);
    }
    if (assign->options.swap_in) {
        lw_print(question->text, sizeof question->text,
                 "Supply off, take the old %s off (%s), plug its replacement, supply on. Done?",
                 entry->node, where);
    } else if (is_live(assign)) {
        lw_print(question->text, sizeof question->text,
                 "Plug %s (%s), and no other new node. Is it in?", entry->node, where);
    } else {
        lw_print(question->text, sizeof question->text,
                 "Supply off, plug %s (%s) and no other new node, supply on. Done?", entry->node,
                 where);
    }
    lw_print(question->help, sizeof question->help,
             "New nodes all answer at one address: only one of them may be on the chain at a time. "
             "Unless its maker allows it, no node is plugged under power: the inrush can reset its "
             "neighbours and burns contacts. skip leaves this one out.");
    question->kind = LW_QUESTION_YES;
    question->obvious = N_("yes");
    question->may_skip = true;
}

static void ask_again(const struct lw_assign *assign, struct lw_question *question)
{
    lw_question_id(question, "%s.again", lw_assign_entry(assign)->node);
    lw_print(question->text, sizeof question->text, "Look again, or leave %s as it is?",
             lw_assign_entry(assign)->node);
    lw_print(question->help, sizeof question->help,
             "again looks once more, after plugs, supply or switches were put right. leave goes "
             "on; nothing was written.");
    question->kind = LW_QUESTION_WORD;
    question->words = again_words;
}

static void ask_serial(const struct lw_assign *assign, struct lw_question *question)
{
    lw_question_id(question, "%s.serial", lw_assign_entry(assign)->node);
    lw_print(question->text, sizeof question->text,
             "Is it to become %s although its serial is another?", lw_assign_entry(assign)->node);
    lw_print(question->help, sizeof question->help,
             "The plan says which module was calibrated for which place. yes takes this one and "
             "says so in the record; no goes back to looking.");
    question->kind = LW_QUESTION_YES;
}

static void ask_write(const struct lw_assign *assign, struct lw_question *question)
{
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    char old[LW_ASSIGN_PLACE], new[LW_ASSIGN_PLACE];
    lw_assign_place_text(&from, old);
    lw_assign_place_text(&to, new);
    lw_question_id(question, "%s.write", lw_assign_entry(assign)->node);
    lw_print(question->text, sizeof question->text,
             "Write this to the node at %s, so that it becomes %s at %s?", old,
             lw_assign_entry(assign)->node, new);
    lw_print(question->help, sizeof question->help,
             "These registers and no others are written, in this order, as the profile of its kind "
             "says. Compare them with the maker's manual when in doubt.");
    question->kind = LW_QUESTION_YES;
}

static void ask_switches(const struct lw_assign *assign, struct lw_question *question)
{
    const struct lw_chain_entry *entry = lw_assign_entry(assign);
    char switches[100];
    int address = lw_assign_to(assign).address;
    (void)lw_assign_switches(entry->is, address, switches, sizeof switches);
    lw_question_id(question, "%s.switches", entry->node);
    lw_print(question->text, sizeof question->text,
             "Set the switches of %s to %s (switch 1 first; address %d) and restart it. Done?",
             entry->node, switches, address);
    lw_print(question->help, sizeof question->help,
             "Its maker's manual says which switch is number 1 and which way is on. Most nodes "
             "read their switches only when they start.");
    question->kind = LW_QUESTION_YES;
    question->obvious = N_("yes");
    question->may_skip = true;
}

static void ask_restart(const struct lw_assign *assign, struct lw_question *question)
{
    lw_question_id(question, assign->undo ? "%s.undo-restart" : "%s.restart",
                   lw_assign_entry(assign)->node);
    if (is_live(assign)) {
        lw_print(question->text, sizeof question->text,
                 "Unplug %s and plug it again, so that it starts anew. Done?",
                 lw_assign_entry(assign)->node);
    } else {
        lw_print(question->text, sizeof question->text,
                 "Switch the supply of %s off and on, so that it starts anew. Done?",
                 lw_assign_entry(assign)->node);
    }
    lw_print(question->help, sizeof question->help,
             "What was written holds once the node has started anew. Leave it off for as long as "
             "its lamp needs to go dark.");
    question->kind = LW_QUESTION_YES;
    question->obvious = N_("yes");
}

static void ask_after(const struct lw_assign *assign, struct lw_question *question)
{
    lw_question_id(question, "%s.after", lw_assign_entry(assign)->node);
    lw_print(question->text, sizeof question->text,
             "Try again, undo what was written, or leave %s as it is now?",
             lw_assign_entry(assign)->node);
    lw_print(question->help, sizeof question->help,
             "again writes what was not confirmed once more, or looks again after a restart. undo "
             "writes the old address and framing back. leave goes on; the record says where the "
             "node is.");
    question->kind = LW_QUESTION_WORD;
    question->words = after_words;
}

static void ask_label(const struct lw_assign *assign, struct lw_question *question)
{
    lw_question_id(question, "%s.label", lw_assign_entry(assign)->node);
    lw_print(question->text, sizeof question->text,
             "Label %s; keep it so, or undo what was written?", lw_assign_entry(assign)->node);
    lw_print(question->help, sizeof question->help,
             "Put the label on before the next node is plugged: what is not labelled now is "
             "mistaken later.");
    question->kind = LW_QUESTION_WORD;
    question->words = label_words;
    question->obvious = "keep";
}

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    static void (*const asks[STAGE_DONE + 1])(const struct lw_assign *, struct lw_question *) = {
        [STAGE_WHO] = ask_who,         [STAGE_PLUG] = ask_plug,   [STAGE_AGAIN] = ask_again,
        [STAGE_SERIAL] = ask_serial,   [STAGE_WRITE] = ask_write, [STAGE_SWITCHES] = ask_switches,
        [STAGE_RESTART] = ask_restart, [STAGE_AFTER] = ask_after, [STAGE_LABEL] = ask_label,
    };
    const struct lw_assign *assign = (const struct lw_assign *)dialog;
    if (assign->stage == STAGE_DONE) {
        return LW_DIALOG_DONE;
    }
    if (asks[assign->stage] == NULL) {
        return LW_DIALOG_ACT;
    }
    asks[assign->stage](assign, question);
    return LW_DIALOG_ASK;
}

static bool is_written(const struct lw_assign *assign)
{
    return lw_assign_way(lw_assign_entry(assign)->is) == LW_ASSIGN_WRITTEN;
}

static enum lw_status take_who(struct lw_assign *assign, const struct lw_answer *answer,
                               struct lw_error *error)
{
    (void)error;
    lw_assign_keep(assign, &assign->result.allowed_by, answer->text);
    assign->stage = STAGE_AROUND;
    return LW_OK;
}

// Something was to be done by hand: "yes" when it is done, or left out.
static enum lw_status take_done(struct lw_assign *assign, const struct lw_answer *answer,
                                enum lw_assign_stage then, struct lw_error *error)
{
    if (answer->skipped) {
        lw_assign_settle(assign, LW_ASSIGN_LEFT, LW_ASSIGN_DECLINED);
        return LW_OK;
    }
    if (!answer->yes) {
        return lw_fail(error, LW_USAGE, "answer yes when it is done, or stop");
    }
    assign->stage = then;
    return LW_OK;
}

static enum lw_status take_plug(struct lw_assign *assign, const struct lw_answer *answer,
                                struct lw_error *error)
{
    return take_done(assign, answer, is_written(assign) ? STAGE_LOOK : STAGE_SWITCHES, error);
}

static enum lw_status take_restart(struct lw_assign *assign, const struct lw_answer *answer,
                                   struct lw_error *error)
{
    return take_done(assign, answer, STAGE_VERIFY, error);
}

// The node's state and problem were set when the question came up.
static enum lw_status take_again(struct lw_assign *assign, const struct lw_answer *answer,
                                 struct lw_error *error)
{
    (void)error;
    assign->stage = answer->word == 0 ? STAGE_LOOK : STAGE_NEXT;
    return LW_OK;
}

static enum lw_status take_serial(struct lw_assign *assign, const struct lw_answer *answer,
                                  struct lw_error *error)
{
    (void)error;
    assign->stage = answer->yes ? STAGE_WRITE : STAGE_AGAIN;
    lw_assign_node(assign)->state = answer->yes ? LW_ASSIGN_OPEN : LW_ASSIGN_LEFT;
    lw_assign_node(assign)->problem = answer->yes ? LW_ASSIGN_FINE : LW_ASSIGN_OTHER_SERIAL;
    return LW_OK;
}

static enum lw_status take_write(struct lw_assign *assign, const struct lw_answer *answer,
                                 struct lw_error *error)
{
    (void)error;
    if (answer->yes) {
        assign->stage = STAGE_WRITING;
    } else {
        lw_assign_settle(assign, LW_ASSIGN_LEFT, LW_ASSIGN_DECLINED);
    }
    return LW_OK;
}

static bool last_was_taken(struct lw_assign *assign)
{
    const struct lw_list *writes = &lw_assign_node(assign)->writes;
    const struct lw_assign_write *items = writes->items;
    return writes->count > 0 &&
           strcmp(items[writes->count - 1].outcome, lw_outcome_word(LW_ANSWERED)) == 0;
}

static enum lw_assign_stage stage_of_again(struct lw_assign *assign)
{
    if (!is_written(assign)) {
        return STAGE_SWITCHES;
    }
    const struct lw_assign_place wanted =
        assign->undo ? lw_assign_from(assign) : lw_assign_to(assign);
    if (lw_assign_same(&assign->now, &wanted)) {
        return STAGE_VERIFY;
    }
    if (!last_was_taken(assign)) {
        return STAGE_WRITING;
    }
    return lw_assign_by_hand(assign) ? STAGE_RESTART : STAGE_VERIFY;
}

static enum lw_status take_after(struct lw_assign *assign, const struct lw_answer *answer,
                                 struct lw_error *error)
{
    enum { AGAIN, UNDO };
    bool can_undo = is_written(assign) && lw_assign_node(assign)->after_address > 0;
    if (answer->word == UNDO && !can_undo) {
        return lw_fail(error, LW_USAGE, "there is no node found that could be written to");
    }
    assign->undo |= answer->word == UNDO;
    assign->stage = answer->word == UNDO    ? STAGE_WRITING
                    : answer->word == AGAIN ? stage_of_again(assign)
                                            : STAGE_NEXT;
    return LW_OK;
}

static enum lw_status take_label(struct lw_assign *assign, const struct lw_answer *answer,
                                 struct lw_error *error)
{
    (void)error;
    assign->undo = answer->word == 1;
    assign->stage = assign->undo ? STAGE_WRITING : STAGE_NEXT;
    return LW_OK;
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error)
{
    static enum lw_status (*const takes[STAGE_DONE + 1])(
        struct lw_assign *, const struct lw_answer *, struct lw_error *) = {
        [STAGE_WHO] = take_who,         [STAGE_PLUG] = take_plug,   [STAGE_AGAIN] = take_again,
        [STAGE_SERIAL] = take_serial,   [STAGE_WRITE] = take_write, [STAGE_SWITCHES] = take_restart,
        [STAGE_RESTART] = take_restart, [STAGE_AFTER] = take_after, [STAGE_LABEL] = take_label,
    };
    struct lw_assign *assign = (struct lw_assign *)dialog;
    return takes[assign->stage](assign, answer, error);
}

// Back to the plug, as long as nothing was written.
static bool back(struct lw_dialog *dialog)
{
    struct lw_assign *assign = (struct lw_assign *)dialog;
    enum lw_assign_stage stage = assign->stage;
    bool before = stage == STAGE_AGAIN || stage == STAGE_SERIAL || stage == STAGE_WRITE ||
                  stage == STAGE_SWITCHES;
    if (before && lw_assign_plugs(assign)) {
        assign->stage = STAGE_PLUG;
        return true;
    }
    return false;
}

const struct lw_dialog_ops lw_assign_ops = {next, answer, back};
