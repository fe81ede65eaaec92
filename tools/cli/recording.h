// SPDX-License-Identifier: GPL-3.0-or-later
//
// A recording: one capture, or all those of a visit one after the other, as exchanges. All of them
// are held at once, since whoever replays needs any of them at any time.
#ifndef LW_CLI_RECORDING_H
#define LW_CLI_RECORDING_H

#include "base/list.h"
#include "line/line.h"

struct lw_recording {
    struct lw_list exchanges; // of struct lw_exchange; their times count from utc_zero_ns
    int64_t utc_zero_ns;      // UTC of the first byte; 0 where the captures have no times
    struct lw_framing framing;
    size_t captures, cut; // files read, and those that end in the middle of a block
};

// Reads a capture, or the captures (*.pcapng) of a folder in the order of their names. The framing
// is `framing`, or, where that is NULL, the first that a capture names, else 19200/8E1; it makes
// silence between frames count where the capture names one. A capture that was cut off is read up
// to its last whole block. LW_USAGE for a folder without captures, LW_SYSTEM, LW_BAD_FILE,
// LW_MEMORY. Free with lw_recording_free() on success only.
enum lw_status lw_recording_load(const char *path, const struct lw_framing *framing,
                                 struct lw_recording *recording, struct lw_error *error);
void lw_recording_free(struct lw_recording *recording); // zeroed is allowed

#endif
