// SPDX-License-Identifier: GPL-3.0-or-later
//
// The result of a record of the check "note".
#ifndef LW_CHECK_NOTE_H
#define LW_CHECK_NOTE_H

#include "base/json.h"

#include <stdbool.h>

struct lw_note {
    char *text, *node, *photo, *photo_sha256;
    bool open; // an open point
};
extern const struct lw_shape lw_note_shape;

#endif
