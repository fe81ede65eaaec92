// SPDX-License-Identifier: GPL-3.0-or-later
//
// roster --as-built: the plan revised to what the roster found.
#ifndef LW_TOOLS_ROSTER_AS_BUILT_H
#define LW_TOOLS_ROSTER_AS_BUILT_H

#include "check/roster.h"
#include "checks.h"

// Plain memory; begin with {0}.
struct lw_as_built {
    struct lw_list changes; // of char *
    bool differs;
    bool may_overwrite;
    char from[80], to[80];
};

// Before anything is asked on the line: a file that is there already may be overwritten only when a
// person says so. LW_USAGE else.
enum lw_status lw_as_built_allowed(struct lw_session *session,
                                   const struct lw_roster_request *request,
                                   struct lw_as_built *as_built, struct lw_error *error);
// Writes the revised plan, when it differs.
enum lw_status lw_as_built_write(struct lw_session *session,
                                 const struct lw_roster_request *request,
                                 const struct lw_roster_result *result,
                                 struct lw_as_built *as_built, struct lw_error *error);
// After the roster's record: the lines for people, and in a visit a record that goes on with the
// new revision. Returns an exit status.
int lw_as_built_go_on(struct lw_session *session, const struct lw_roster_request *request,
                      struct lw_as_built *as_built);
void lw_as_built_finish(struct lw_as_built *as_built);

#endif
