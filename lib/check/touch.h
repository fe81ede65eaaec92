// SPDX-License-Identifier: GPL-3.0-or-later
//
// The touch walk: each sensor is deflected by hand, and the node that answers proves what no
// reading at rest can, that this node sits at this place, that its sign is right, that it has its
// travel and comes back to where it was. The walk goes in the order of the plan, or in any order,
// and moves on by itself.
#ifndef LW_CHECK_TOUCH_H
#define LW_CHECK_TOUCH_H

#include "check/dialog.h"
#include "check/touch_hear.h"
#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

enum lw_touch_state {
    LW_TOUCH_UNTOUCHED,
    LW_TOUCH_RIGHT,     // deflected at its place, this node answered, it alone
    LW_TOUCH_ELSEWHERE, // deflected at its place, another node answered
    LW_TOUCH_SILENT,    // deflected, and no node answered
    LW_TOUCH_SKIPPED,   // left out, with a reason
};

// A neighbour that went with it.
struct lw_touch_coupled {
    char *node, *unit;
    int tap;
    double moved, moved_u; // mean from its rest while the other was held, standard uncertainty
    double share;          // of the deflection, where both have one unit; NAN else
};

// One place of the plan and the node that is planned there; values in the reading's unit.
struct lw_touch_node {
    char *node, *place, *unit, *reason, *answered_by;
    int tap, address;
    int state;                 // enum lw_touch_state
    int touches;               // deflections that were let go again
    int order;                 // the how-manieth that was done, from 1; 0: not
    int sign;                  // 0 not known, 1 as planned, 2 reversed, 3 the plan does not say
    int moved_to;              // 0 not known, 1 positive, 2 negative
    double need;               // deflection that counted
    double noise;              // at rest
    double deflection;         // the farthest, with sign; NAN
    double travel;             // planned; NAN
    struct lw_list returns;    // double: rest after each return less the first rest before
    double return_u;           // the largest standard uncertainty of these
    double return_limit;       // NAN: not judged
    bool stayed;               // it did not come back at all
    double margin;             // over the runner-up, the least; INFINITY is kept as NAN
    double answered_s;         // from the first reading away from rest to the answer, the longest
    int refused;               // two at once, unclear or too short, while it was expected
    int spikes;                // single readings far off
    struct lw_list coupled;    // struct lw_touch_coupled
    double volts, volts_least; // at rest and least during the walk; NAN: not read
    char *volts_least_at;      // what was touched then
    int polls, unanswered, damaged;           // during the walk
    struct lw_list trace_time_s, trace_value; // double, around its deflections
};

struct lw_touch_result {
    bool any_order;
    int returns_wanted;
    char *drives_off_said_by;
    double cycle_s; // longest round over all nodes at rest
    double seconds;
    struct lw_list nodes; // struct lw_touch_node, in plan order
};
extern const struct lw_shape lw_touch_shape;

struct lw_touch_options {
    const bool *selected; // per tap, the places to touch; NULL: all. All are listened to
    bool any_order;
    int returns;         // deflections of each, 1 to 9
    double wait_s;       // nothing moves for so long: what is the matter?
    double return_limit; // in each reading's unit; NAN: the maker's permitted error
};

// What the person at the machine has to hear at once.
struct lw_touch_word {
    enum lw_touch_tone { LW_TONE_NONE, LW_TONE_RIGHT, LW_TONE_WRONG } tone;
    char name[80];  // to be seen from afar: the node's name; may be empty
    char text[240]; // an English sentence of the catalogue; empty: nothing to say
};

// The walk: a dialog that listens in between. Ours, opaque but for its dialog.
struct lw_touch;

// Borrows plan and options. `earlier` (may be NULL) is the result of an interrupted walk: its
// places that were right, elsewhere or skipped are taken over. LW_USAGE when no node has a reading.
enum lw_status lw_touch_new(const struct lw_plan *plan, const struct lw_touch_options *options,
                            const struct lw_touch_result *earlier, struct lw_touch **touch,
                            struct lw_error *error);
void lw_touch_free(struct lw_touch *touch); // NULL is allowed
struct lw_dialog *lw_touch_dialog(struct lw_touch *touch);

// The next thing to read: the tap, and the roles that travel in one block with its reading.
size_t lw_touch_next(const struct lw_touch *touch, uint32_t *roles);
// What came: NAN for a reading or volts that did not. `damaged`: something came, not whole. Returns
// what to say. LW_MEMORY.
enum lw_status lw_touch_take(struct lw_touch *touch, size_t tap, double time_s, double reading,
                             double volts, bool damaged, struct lw_touch_word *word,
                             struct lw_error *error);
// The person typed something while the walk listened: the next thing is a question.
void lw_touch_pause(struct lw_touch *touch);
// What to do at the moment, as an English sentence: what is expected.
void lw_touch_asks(const struct lw_touch *touch, struct lw_touch_word *word);

// The walk as it stands, for the caller to free with lw_json_free(&lw_touch_shape, ...); the list
// is complete in any state. LW_MEMORY.
enum lw_status lw_touch_result(const struct lw_touch *touch, struct lw_touch_result *result,
                               struct lw_error *error);

// Reads the line until the dialog has a question or is done. `say` gets each word; `typed` (may be
// NULL) says whether the person has typed. Status as lw_client_exchange().
struct lw_touch_ears {
    void *user;
    int64_t start_ns; // readings' times count from here
    void (*say)(void *user, const struct lw_touch_word *word);
    bool (*typed)(void *user);
};
enum lw_status lw_touch_listen(const struct lw_run *run, struct lw_client *client,
                               const struct lw_plan *plan, struct lw_touch *touch,
                               const struct lw_touch_ears *ears, struct lw_error *error);

// How many returns are judged together.
int lw_touch_judged(const struct lw_touch_result *result);
void lw_touch_findings(const struct lw_touch_result *result, struct lw_findings *findings);

#endif
