// SPDX-License-Identifier: GPL-3.0-or-later
//
// A signed paper as JSON.
#include "check/paper.h"

static const struct lw_field paper_fields[] = {
    {LW_AT(struct lw_paper, file), .kind = LW_TEXT, .required = true, .says = "name of the scan"},
    {LW_AT(struct lw_paper, sha256), .kind = LW_TEXT, .required = true, .says = "its digest"},
    {LW_AT(struct lw_paper, digest), .kind = LW_TEXT, .required = true,
     .says = "the visit's digest when the paper was brought back"},
    {LW_AT(struct lw_paper, shown), .kind = LW_TEXT, .nullable = true,
     .says = "what a person read off the paper; null: the paper was not compared"},
    {0},
};
const struct lw_shape lw_paper_shape = {
    .name = "paper", .size = sizeof(struct lw_paper), .fields = paper_fields};
