// SPDX-License-Identifier: GPL-3.0-or-later
//
// Whoever answers a dialog: a terminal, a file of answers, an interrupted run of the same check.
// What is answered is kept beside the step's record, as NNNN-CHECK.answers.csv.
#ifndef LW_CLI_DIALOG_H
#define LW_CLI_DIALOG_H

#include "check/dialog.h"
#include "cli/session.h"

struct lw_talk_request {
    const char *answers; // --answers; NULL: the terminal
    bool resume;         // --resume
};
enum { LW_TALK_OPTIONS = 2 };
void lw_talk_options(struct lw_talk_request *request, struct lw_option table[LW_TALK_OPTIONS]);

// Opaque, ours. One for a step; its dialogs follow each other.
struct lw_talk;

// Reads the answers: a file with the header `question,answer` names its questions, any other has
// one answer a line; blank lines and those that start with # are passed over. With `resume` the
// lasting answers of this check's last record, when that is not complete, are given without asking:
// LW_USAGE when there is none. LW_BAD_FILE, LW_SYSTEM, LW_MEMORY.
enum lw_status lw_talk_open(struct lw_session *session, struct lw_step *step,
                            const struct lw_talk_request *request, struct lw_talk **talk,
                            struct lw_error *error);
// Says so when the file of answers has some left. NULL is allowed.
void lw_talk_close(struct lw_talk *talk);

// Asks until the dialog is to act (*next LW_DIALOG_ACT: do it, tell the dialog, call again) or is
// done. On a terminal a wrong answer is said and the question stands; in a file it is LW_USAGE, as
// is a file that ends too early or names another question. LW_CANCELLED after "stop" and Ctrl-C,
// and in place of LW_USAGE once something has been done, so that a record is left.
enum lw_status lw_talk_on(struct lw_talk *talk, struct lw_dialog *dialog, enum lw_dialog_next *next,
                          struct lw_error *error);

// The question before hands go into a machine. `made_sure_by` gets the name.
enum lw_status lw_talk_safety(struct lw_talk *talk, char made_sure_by[LW_ANSWER_SIZE],
                              struct lw_error *error);

// A line of large matter for the person: stderr, in the language spoken, whatever --quiet says.
void lw_talk_say(struct lw_talk *talk, const char *english);

#endif
