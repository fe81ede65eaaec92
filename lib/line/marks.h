// SPDX-License-Identifier: GPL-3.0-or-later
//
// How a terminal marks damaged characters among good ones (POSIX.1-2017, 11.2.2, PARMRK): FF 00 X
// is X with a wrong parity or stop bit, FF 00 00 a break, FF FF a good FF. Pure. Only lib/line
// includes this.
#ifndef LW_LINE_MARKS_H
#define LW_LINE_MARKS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

// What is between two reads: a mark may be cut anywhere.
struct lw_marks {
    int seen;           // 0, 1: FF, 2: FF 00
    bool damaged_char;  // set when one was seen; the caller clears it
    bool damaged_break; // the same for a break
};

// Takes the marks out of `bytes` in place and returns how many bytes are left. A damaged character
// stays, as it was received; a break stays as 00.
size_t lw_marks_strip(struct lw_marks *marks, uint8_t *bytes, size_t count);

#endif
