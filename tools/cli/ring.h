// SPDX-License-Identifier: GPL-3.0-or-later
//
// A ring of capture files in a folder of its own: what passed last, up to a cap, and, cut out of
// it, what passed before and after the moments that are worth keeping, with a list of these. Half
// of the cap is for the ring, of which the oldest file goes first; two fifths are for what is kept,
// which stays; a tenth is for the list, "events.csv". Every capture is whole by itself.
#ifndef LW_CLI_RING_H
#define LW_CLI_RING_H

#include "base/list.h"
#include "capture/pcapng.h"
#include "line/line.h"
#include "site/record.h"

#include <stdbool.h>
#include <stdint.h>

struct lw_ring; // opaque, ours

enum { LW_RING_LEAST = 100000 }; // bytes of the smallest cap

// Makes the folder (LW_USAGE when there is something in it already) and the first file. `facts` and
// its texts are borrowed as long as the ring lives.
enum lw_status lw_ring_open(const char *folder, double cap_bytes,
                            const struct lw_capture_facts *facts, struct lw_ring **ring,
                            struct lw_error *error);

// What the line's recorder is to write to. Changes with lw_ring_turn() and lw_ring_again().
struct lw_capture *lw_ring_capture(struct lw_ring *ring);

// Goes on in a new file when the current one is full, and takes the oldest away. Switches the
// recorder. Cheap when there is nothing to do.
enum lw_status lw_ring_turn(struct lw_ring *ring, struct lw_line *recorder, struct lw_error *error);
// Drops all ring files and begins again: the framing has changed.
enum lw_status lw_ring_again(struct lw_ring *ring, struct lw_line *recorder,
                             struct lw_error *error);

// Copies the packets of from..to (UTC) into the file `name` in the ring's folder. *kept false, and
// no file, when the room for kept files is used up or nothing passed then.
enum lw_status lw_ring_keep(struct lw_ring *ring, const char *name, int64_t from_utc_ns,
                            int64_t to_utc_ns, bool *kept, struct lw_error *error);

// Adds a row (with its line end) to the list, written through to the kernel. What goes beyond the
// list's share is dropped.
enum lw_status lw_ring_say(struct lw_ring *ring, const char *row, struct lw_error *error);

double lw_ring_bytes(const struct lw_ring *ring); // on disk now
double lw_ring_most(const struct lw_ring *ring);  // that there have ever been

// Closes the file under way; the recorder must write elsewhere by now. Adds all files with their
// digests to `files` (of struct lw_record_file) as "PREFIX/name". Frees the ring in any case.
enum lw_status lw_ring_close(struct lw_ring *ring, const char *prefix, struct lw_list *files,
                             struct lw_error *error);

#endif
