// SPDX-License-Identifier: GPL-3.0-or-later
//
// Assign: nodes get their addresses, one or a whole chain. A node is written to only when exactly
// one answers where it is and none where it is to be, its profile says how, and a person has seen
// what will be written and said yes; then it is looked for and recognised, and what was written can
// be undone. Whatever happens in between, the result says what was written, when, over what, and
// where the node was found afterwards.
#ifndef LW_CHECK_ASSIGN_H
#define LW_CHECK_ASSIGN_H

#include "check/dialog.h"
#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

// Where a node answers.
struct lw_assign_place {
    int address;
    struct lw_framing framing;
};

enum lw_assign_way { LW_ASSIGN_WRITTEN, LW_ASSIGN_SWITCHES, LW_ASSIGN_NO_WAY };

enum lw_assign_state {
    LW_ASSIGN_OPEN,     // not come to
    LW_ASSIGN_ASSIGNED, // it answers where it is to be, and is the one that was written to
    LW_ASSIGN_ALREADY,  // it was there before
    LW_ASSIGN_UNDONE,   // assigned, and put back
    LW_ASSIGN_LEFT,     // nothing was written; `problem` says why
    LW_ASSIGN_REFUSED,  // the node refused a write
    LW_ASSIGN_UNPROVED, // written to, and not looked for since
    LW_ASSIGN_LOST, // written to, and not found where it is to be; after_address says where it is
};

// Why a node was left alone.
enum lw_assign_problem {
    LW_ASSIGN_FINE,
    LW_ASSIGN_NOBODY,     // nobody answers at the old place
    LW_ASSIGN_DOUBLED,    // two do
    LW_ASSIGN_TAKEN,      // another answers at the new place
    LW_ASSIGN_WRONG_KIND, // another kind than planned
    LW_ASSIGN_OTHER_SERIAL,
    LW_ASSIGN_CANNOT,   // the profile does not say how, or not for this address or framing
    LW_ASSIGN_DECLINED, // the person said no, or skipped it
};

// One register written, or tried.
struct lw_assign_write {
    char *what;     // "unlock", "address", "framing", "save", "restart"
    int to_address; // where the node was asked
    char *to_framing;
    int function;  // 6 or 16
    int at, value; // "register", zero-based
    double before; // what it held; NAN: not read
    char *time;    // RFC 3339, UTC
    char *outcome; // lw_outcome_word()
    int exception; // code, 0: none
    bool undo;
};

struct lw_assign_node {
    int tap;
    char *node, *place, *profile;
    int way, state, problem;
    int to_address;
    char *to_framing;
    int before_address; // 0: it was not found
    char *before_framing;
    int after_address; // 0: it was not found, or nothing was written
    char *after_framing;
    char *vendor, *product_code, *serial, *planned_serial; // NULL: not read, not planned
    char *replaced_serial;    // swap-in: of the node that was there before
    char *switches;           // "on on on off off off off off", switch 1 first
    char *label;              // for the node's label
    double answered_after_s;  // from the last write, or the yes behind it, to the answer; NAN
    struct lw_list writes;    // of struct lw_assign_write
    struct lw_list restarted; // of char *: nodes that restarted meanwhile while others did not
    struct lw_list silent;    // of char *: nodes that answered before and do not now
};

struct lw_assign_result {
    char *allowed_by, *made_sure_by; // who allowed writing, who made sure that drives are off
    bool walk;
    struct lw_list nodes; // of struct lw_assign_node, as they were come to
};
extern const struct lw_shape lw_assign_shape;
const char *lw_assign_state_word(enum lw_assign_state state);

struct lw_assign_options {
    int from_address;                      // 0: the profile's factory address
    const struct lw_framing *from_framing; // NULL: the profile's factory framing, else the plan's
    int to_address;                        // 0: the plan's
    bool walk;                             // each node is plugged when it is asked for
    bool swap_in;                          // one node takes the place of another
    bool gentle;                           // no identity unless the profile declares it
    double wait_s;                         // for a node that is plugged or restarted; 0: 30
    const bool *selected;                  // per tap; at least one
};

// How a profile's nodes get their address.
enum lw_assign_way lw_assign_way(const struct lw_profile *profile);

// The switches for an address, switch 1 first: "on on on off off off off off". False when they
// cannot make it. A profile that does not say how they count is taken as eight, switch 1 worth one
// (common practice).
bool lw_assign_switches(const struct lw_profile *profile, int address, char *text, size_t size);

// What is to be written so that a node of `profile` that is at `from` comes to be at `to`: unlock,
// address, framing, save, restart, as struct lw_assign_write with what, function, at, value.
// LW_USAGE says why it cannot be. LW_MEMORY.
enum lw_status lw_assign_compose(const struct lw_profile *profile,
                                 const struct lw_assign_place *from,
                                 const struct lw_assign_place *to, struct lw_list *writes,
                                 struct lw_error *error);
void lw_assign_writes_free(struct lw_list *writes);

// The dialog with what it has come to. Plain memory; all borrowed.
struct lw_assign;
enum lw_status lw_assign_new(const struct lw_plan *plan, const struct lw_assign_options *options,
                             struct lw_assign **assign, struct lw_error *error);
void lw_assign_free(struct lw_assign *assign); // NULL is allowed
struct lw_dialog *lw_assign_dialog(struct lw_assign *assign);
// Borrowed; whole at any moment.
struct lw_assign_result *lw_assign_result(struct lw_assign *assign);

// Does what the dialog's LW_DIALOG_ACT stands for. The client has to allow writes. The line's
// framing is as before afterwards. Status as lw_client_exchange(): for the line alone; what was
// done by then is in the result.
enum lw_status lw_assign_act(struct lw_assign *assign, const struct lw_run *run,
                             struct lw_client *client, struct lw_error *error);
// The oldest line for the person that was not taken yet, NULL: none; to free.
char *lw_assign_says(struct lw_assign *assign);

// Whether a record is of assign and registers were written; false for what cannot be read.
bool lw_assign_wrote(const struct lw_record *record);
// Whether the later one of two records of assign has come to every node of the earlier one.
bool lw_assign_covers(const struct lw_record *later, const struct lw_record *earlier);

void lw_assign_findings(const struct lw_assign_result *result, struct lw_findings *findings);

#endif
