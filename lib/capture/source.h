// SPDX-License-Identifier: GPL-3.0-or-later
//
// Bytes of a file in order, with the place where one stands. Only lib/capture includes this.
#ifndef LW_CAPTURE_SOURCE_H
#define LW_CAPTURE_SOURCE_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

// All zero but for `file`, which nobody else reads from.
struct lw_source {
    FILE *file;
    uint64_t offset; // of the next byte
    bool cut;        // the file ended where it must not
    int failure;     // errno of the read that failed; 0: none
    size_t at, end;  // bytes of the window that are read and not yet taken
    uint8_t window[1 << 16];
};

// Exactly `count` bytes, or LW_BAD_FILE "cut off at offset N" with `cut` set, or LW_SYSTEM.
enum lw_status lw_source_take(struct lw_source *source, void *to, size_t count,
                              struct lw_error *error);
enum lw_status lw_source_skip(struct lw_source *source, uint64_t count, struct lw_error *error);

// Whether the file ends here. A failed read counts as more, so that the next take tells it.
bool lw_source_ended(struct lw_source *source);

#endif
