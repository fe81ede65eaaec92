// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reading captures: pcapng in both byte orders and with several sections and interfaces, and
// classic pcap (draft-ietf-opsawg-pcapng, draft-ietf-opsawg-pcap). Blocks and options that mean
// nothing here are skipped, and so are packets of other link types than ours. The memory needed
// does not depend on the file.
#ifndef LW_CAPTURE_READER_H
#define LW_CAPTURE_READER_H

#include "base/error.h"
#include "capture/pcapng.h"

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

struct lw_reader; // opaque, ours

struct lw_read_packet {
    struct lw_packet packet; // bytes are the reader's, until the next call; first_utc_ns is -1 when
                             // the file has no time for it
    enum lw_adu adu;
    bool directed;   // the file says who sent it; else `outbound` is false and means nothing
    uint64_t offset; // of its block in the file
    size_t original; // bytes that were on the wire; more than packet.count when the capture cut it
};

// LW_SYSTEM, LW_BAD_FILE for what is no capture, LW_MEMORY.
enum lw_status lw_reader_open(const char *path, struct lw_reader **reader, struct lw_error *error);

// The same from a stream that is open for reading, which is closed with the reader. `name` is for
// messages. On failure the stream is closed too.
enum lw_status lw_reader_take(FILE *file, const char *name, struct lw_reader **reader,
                              struct lw_error *error);

// The next packet in the order of the file. *more is false at the end. LW_BAD_FILE names the offset
// of what is wrong; every later call returns the same. When it was only that the file ends in the
// middle of a block, lw_reader_is_cut() is true: a power failure does that, and all packets before
// are good.
enum lw_status lw_reader_next(struct lw_reader *reader, struct lw_read_packet *packet, bool *more,
                              struct lw_error *error);
bool lw_reader_is_cut(const struct lw_reader *reader);

// What the file says of the line that it was taken on, as far as it has been read; the reader's.
// Texts that are not there are NULL; all are cleaned.
const struct lw_capture_facts *lw_reader_facts(const struct lw_reader *reader);
uint64_t lw_reader_foreign(const struct lw_reader *reader); // packets skipped: other link types

// NULL is allowed.
void lw_reader_close(struct lw_reader *reader);

#endif
