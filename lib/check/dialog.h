// SPDX-License-Identifier: GPL-3.0-or-later
//
// Dialogs with the person at the machine. A dialog is a state machine that says what comes next and
// takes an answer or a step back; a terminal, a file of answers and an earlier, interrupted run all
// drive it the same way. Questions are in English; whoever shows them looks them up in the reader's
// language.
#ifndef LW_CHECK_DIALOG_H
#define LW_CHECK_DIALOG_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum lw_dialog_next {
    LW_DIALOG_ASK,  // the question
    LW_DIALOG_ACT,  // something is to be measured or written now
    LW_DIALOG_DONE, // nothing more
};

enum lw_question_kind {
    LW_QUESTION_YES,    // yes or no
    LW_QUESTION_WORD,   // one of `words`, typed or by its place from 1
    LW_QUESTION_NUMBER, // low..high in `unit`
    LW_QUESTION_TEXT,   // any text but none
};

enum { LW_QUESTION_ID = 64, LW_QUESTION_TEXT_SIZE = 400, LW_ANSWER_SIZE = 200 };

struct lw_question {
    char id[LW_QUESTION_ID]; // the same in every run: "P07.address"
    char text[LW_QUESTION_TEXT_SIZE];
    char help[LW_QUESTION_TEXT_SIZE]; // shown on "?"; empty: none
    enum lw_question_kind kind;
    const char *obvious;      // what Enter says; NULL: Enter is no answer
    const char *const *words; // ends with NULL
    const char *unit;         // of base/unit.h
    double low, high;
    bool may_be_open; // NUMBER: "open" and "OL", a meter's reading beyond its range: INFINITY
    bool may_skip;    // "skip" is an answer
    bool lasting;     // an answer of an interrupted run still holds
};

struct lw_answer {
    bool skipped;
    bool yes;
    int word;      // from 0
    double number; // in the question's unit
    char text[LW_ANSWER_SIZE];
};

// The first member of every dialog's own struct.
struct lw_dialog;
struct lw_dialog_ops {
    // Fills the question, zeroed before, when it is to be asked.
    enum lw_dialog_next (*next)(const struct lw_dialog *dialog, struct lw_question *question);
    // LW_USAGE: no good answer, the question stands.
    enum lw_status (*answer)(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error);
    bool (*back)(struct lw_dialog *dialog); // false: there is nothing to go back to
};
struct lw_dialog {
    const struct lw_dialog_ops *ops;
};

// Fills the id.
void lw_question_id(struct lw_question *question, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
// "1 right, 2 left": the words of a WORD question; empty for the other kinds.
void lw_question_words(const struct lw_question *question, char *text, size_t size);

enum lw_dialog_next lw_dialog_next(const struct lw_dialog *dialog, struct lw_question *question);

enum lw_dialog_said { LW_SAID_ANSWER, LW_SAID_BACK, LW_SAID_HELP, LW_SAID_STOP };

// What a person typed to the question that is asked now: an answer, "back", "?" or "stop", of which
// the last two change nothing. Numbers take a decimal comma and a unit of the same quantity. "ja",
// "nein" and "zurück" are understood, too. LW_USAGE, in one sentence that says what would do, and
// the question stands. LW_MEMORY.
enum lw_status lw_dialog_say(struct lw_dialog *dialog, const char *typed, enum lw_dialog_said *said,
                             struct lw_error *error);

// Before hands go into a machine: are drives off and locked out, and who made sure? Plain memory.
struct lw_safety_dialog {
    struct lw_dialog dialog;
    bool safe; // answered yes
    char made_sure_by[LW_ANSWER_SIZE];
};
// A "no" is no good answer: the question stands until it is yes, or the person stops.
void lw_safety_dialog_init(struct lw_safety_dialog *safety);

#endif
