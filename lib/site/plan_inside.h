// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of the plan share among themselves and with nobody else.
#ifndef LW_SITE_PLAN_INSIDE_H
#define LW_SITE_PLAN_INSIDE_H

#include "site/plan.h"

enum { LW_PLAN_TAPS_MAX = 100000 };

extern const struct lw_shape lw_virtual_shape;

// Fills the defaults that depend on other keys: cabinet_c, required_checks, names of supplies, and
// what a fault's kind takes when it is not given. LW_MEMORY.
enum lw_status lw_plan_complete(struct lw_plan *plan, struct lw_error *error);

// What the table cannot say and needs no profile: LW_BAD_FILE with the JSON pointer.
enum lw_status lw_plan_check(const struct lw_plan *plan, struct lw_error *error);
enum lw_status lw_plan_check_chain(const struct lw_plan *plan, struct lw_error *error);
enum lw_status lw_plan_check_supplies(const struct lw_plan *plan, struct lw_error *error);
enum lw_status lw_plan_check_virtual(const struct lw_plan *plan, struct lw_error *error);

// LW_BAD_FILE unless 1 <= tap <= lw_plan_taps(); LW_TAP_HEAD and LW_TAP_TAIL pass.
enum lw_status lw_plan_check_tap(const struct lw_plan *plan, int tap, const char *pointer,
                                 struct lw_error *error);

// lw_plan_load() up to the profiles.
enum lw_status lw_plan_load_alone(const char *path, struct lw_plan *plan, struct lw_inputs *inputs,
                                  struct lw_error *error);

// Reads the profiles that the chain names from the folder (NULL: there is none), or from a list of
// files (char *), and joins them.
enum lw_status lw_plan_join(struct lw_plan *plan, const char *folder, struct lw_inputs *inputs,
                            struct lw_error *error);
enum lw_status lw_plan_join_files(struct lw_plan *plan, const struct lw_list *paths,
                                  struct lw_inputs *inputs, struct lw_error *error);

// Adds a file that took part; `inputs` may be NULL.
enum lw_status lw_inputs_add(struct lw_inputs *inputs, const char *path, const char *bytes,
                             size_t length, struct lw_error *error);

// What is said of a span by itself, or else by span_default. `rail` is 0 for V+, 1 for 0 V.
struct lw_span_facts {
    double length_m, length_tolerance_pct, joint_ohm, joint_ohm_max, conductor_c;
    int joints;
    const struct lw_conductor_spec *rail[2];
};
void lw_plan_span_facts(const struct lw_plan *plan, size_t span, struct lw_span_facts *facts);

#endif
