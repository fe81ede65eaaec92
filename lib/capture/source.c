// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reads a file from front to back without ever asking for its size, so that a pipe will do and a
// capture of any length needs the same memory.
#include "capture/source.h"

#include <errno.h>
#include <inttypes.h>

enum lw_status lw_source_take(struct lw_source *source, void *to, size_t count,
                              struct lw_error *error)
{
    size_t got = count > 0 ? fread(to, 1, count, source->file) : 0;
    source->offset += got;
    if (got == count) {
        return LW_OK;
    }
    if (ferror(source->file)) {
        return lw_fail_errno(error, errno, "cannot read at offset %" PRIu64, source->offset);
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
    int next = getc(source->file);
    if (next != EOF) {
        ungetc(next, source->file);
    }
    return next == EOF && !ferror(source->file);
}
