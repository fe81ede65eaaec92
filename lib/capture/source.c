// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reads a file from front to back without ever asking for its size, so that a pipe will do and a
// capture of any length needs the same memory. The window takes what there is, so that a slow pipe
// is read as it comes.
#include "capture/source.h"

#include "base/file.h"

#include <errno.h>
#include <inttypes.h>
#include <string.h>

// Fills the window once it is used up. False at the end of the file and when it cannot be read.
static bool refill(struct lw_source *source)
{
    ptrdiff_t got = 0;
    if (source->failure == 0) {
        got = lw_file_some(source->file, source->window, sizeof source->window);
        source->failure = got < 0 ? errno : 0;
    }
    source->at = 0;
    source->end = got > 0 ? (size_t)got : 0;
    return got > 0;
}

enum lw_status lw_source_take(struct lw_source *source, void *to, size_t count,
                              struct lw_error *error)
{
    uint8_t *next = to;
    while (count > 0 && (source->at < source->end || refill(source))) {
        size_t left = source->end - source->at, step = count < left ? count : left;
        memcpy(next, source->window + source->at, step);
        source->at += step;
        source->offset += step;
        next += step;
        count -= step;
    }
    if (count == 0) {
        return LW_OK;
    }
    if (source->failure != 0) {
        return lw_fail_errno(error, source->failure, "cannot read at offset %" PRIu64,
                             source->offset);
    }
    source->cut = true;
    return lw_fail(error, LW_BAD_FILE, "cut off at offset %" PRIu64, source->offset);
}

enum lw_status lw_source_skip(struct lw_source *source, uint64_t count, struct lw_error *error)
{
    uint8_t waste[4096];
    enum lw_status status = LW_OK;
    while (count > 0 && status == LW_OK) {
        size_t step = count < sizeof waste ? (size_t)count : sizeof waste;
        status = lw_source_take(source, waste, step, error);
        count -= step;
    }
    return status;
}

bool lw_source_ended(struct lw_source *source)
{
    return source->at == source->end && !refill(source) && source->failure == 0;
}
