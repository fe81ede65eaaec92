// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the parts of assign share. Internal to lib/check.
#ifndef LW_CHECK_ASSIGN_INSIDE_H
#define LW_CHECK_ASSIGN_INSIDE_H

#include "check/assign.h"

#include "base/text.h"

enum lw_assign_there { LW_THERE_NOBODY, LW_THERE_ONE, LW_THERE_SEVERAL, LW_THERE_UNCLEAR };

// Who answers at a place.
struct lw_assign_who {
    enum lw_assign_there there;
    char vendor[80], product_code[80], serial[80]; // empty: not read
    double uptime_s;                               // NAN: not read
};

// A node that answered at its planned place when the work began, or was put there since.
struct lw_assign_neighbour {
    bool there;
    double uptime_s; // NAN: it has none
    int64_t seen_ns;
};

enum lw_assign_stage {
    STAGE_WHO,      // asks who allows writing
    STAGE_AROUND,   // acts: who is there already
    STAGE_START,    // acts: is this node there already
    STAGE_PLUG,     // asks to plug it
    STAGE_LOOK,     // acts: looks for it at the old place
    STAGE_AGAIN,    // asks whether to look again or to leave it
    STAGE_SERIAL,   // asks whether another module than planned may take the place
    STAGE_WRITE,    // asks whether to write
    STAGE_WRITING,  // acts: writes
    STAGE_SWITCHES, // asks to set switches
    STAGE_RESTART,  // asks to restart it
    STAGE_VERIFY,   // acts: looks for it at the new place
    STAGE_AFTER,    // asks what to do with a node that is not where it should be
    STAGE_LABEL,    // asks whether it is to stay so
    STAGE_NEXT,     // acts: goes to the next node
    STAGE_DONE,
};

struct lw_assign {
    struct lw_dialog dialog; // first
    const struct lw_plan *plan;
    struct lw_assign_options options;
    struct lw_assign_result result;
    enum lw_assign_stage stage;
    size_t *taps; // the nodes to come to, in their order
    size_t tap_count, at;
    struct lw_assign_neighbour *neighbours; // per tap
    struct lw_list says;                    // of char *
    bool undo;                              // the writes under way put it back
    bool settled;                           // nothing more may be asked about this node
    bool failed;                            // memory was out
    struct lw_assign_place now;             // where the node was last found
    struct lw_assign_who found;             // it, before it was written to
    int64_t written_ns;                     // when it was last written to, or said to be restarted
    // while acting
    const struct lw_run *run;
    struct lw_client *client;
    struct lw_error *error;
};

const struct lw_chain_entry *lw_assign_entry(const struct lw_assign *assign);
struct lw_assign_node *lw_assign_node(struct lw_assign *assign);
struct lw_assign_place lw_assign_from(const struct lw_assign *assign);
struct lw_assign_place lw_assign_to(const struct lw_assign *assign);
bool lw_assign_same(const struct lw_assign_place *a, const struct lw_assign_place *b);
// It is plugged, or takes another's place, before it is looked for.
bool lw_assign_plugs(const struct lw_assign *assign);
// The person has to restart it before what was written holds.
bool lw_assign_by_hand(const struct lw_assign *assign);
void lw_assign_say(struct lw_assign *assign, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void lw_assign_settle(struct lw_assign *assign, enum lw_assign_state state,
                      enum lw_assign_problem problem);
void lw_assign_keep(struct lw_assign *assign, char **to, const char *text);
// "247, 9600/8E1".
enum { LW_ASSIGN_PLACE = 40 };
void lw_assign_place_text(const struct lw_assign_place *place, char text[LW_ASSIGN_PLACE]);

// assign_ask.c
enum lw_status lw_assign_set_framing(struct lw_assign *assign, const struct lw_framing *framing);
enum lw_status lw_assign_ask(struct lw_assign *assign, const struct lw_assign_place *place,
                             const struct lw_profile *profile, struct lw_assign_who *who);
enum lw_status lw_assign_look_around(struct lw_assign *assign);
enum lw_status lw_assign_look_after(struct lw_assign *assign); // the neighbours, again
void lw_assign_note_neighbour(struct lw_assign *assign, size_t tap,
                              const struct lw_assign_who *who);

// assign_write.c
enum lw_status lw_assign_write_all(struct lw_assign *assign);

// assign_dialog.c
extern const struct lw_dialog_ops lw_assign_ops;

#endif
