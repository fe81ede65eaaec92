// SPDX-License-Identifier: GPL-3.0-or-later
//
// A note as JSON.
#include "check/note.h"

static const struct lw_field note_fields[] = {
    {LW_AT(struct lw_note, text), .kind = LW_TEXT, .required = true, .says = "the remark"},
    {LW_AT(struct lw_note, node), .kind = LW_TEXT, .says = "the node that it is about"},
    {LW_AT(struct lw_note, open), .kind = LW_BOOLEAN, .says = "it is an open point"},
    {LW_AT(struct lw_note, photo), .kind = LW_TEXT, .says = "name of the picture in the visit"},
    {LW_AT(struct lw_note, photo_sha256), .kind = LW_TEXT, .says = "digest of the picture"},
    {0},
};
const struct lw_shape lw_note_shape = {
    .name = "note", .size = sizeof(struct lw_note), .fields = note_fields};
