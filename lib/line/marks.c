// SPDX-License-Identifier: GPL-3.0-or-later
//
// Takes the terminal's marks out of what was received. One byte in gives at most one byte out, so
// it works in place.
#include "line/marks.h"

// Returns whether `byte` is one for the user.
static bool step(struct lw_marks *marks, uint8_t byte)
{
    if (marks->seen == 0 && byte == 0xff) {
        marks->seen = 1;
        return false;
    }
    if (marks->seen == 1 && byte == 0) {
        marks->seen = 2;
        return false;
    }
    if (marks->seen == 2) {
        marks->damaged_char |= byte != 0;
        marks->damaged_break |= byte == 0;
    }
    marks->seen = 0;
    return true;
}

size_t lw_marks_strip(struct lw_marks *marks, uint8_t *bytes, size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (step(marks, bytes[i])) {
            bytes[kept++] = bytes[i];
        }
    }
    return kept;
}
