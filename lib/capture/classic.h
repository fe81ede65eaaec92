// SPDX-License-Identifier: GPL-3.0-or-later
//
// Classic pcap (draft-ietf-opsawg-pcap): one head, then records of time, two lengths and bytes.
// Both byte orders, microseconds and nanoseconds. Only lib/capture includes this.
#ifndef LW_CAPTURE_CLASSIC_H
#define LW_CAPTURE_CLASSIC_H

#include "capture/source.h"

struct lw_classic {
    bool big_endian, nanoseconds;
    unsigned link_type;
    uint32_t most; // bytes that a record may have
};

bool lw_classic_is(const uint8_t magic[4]);

// The head behind the magic number.
enum lw_status lw_classic_open(struct lw_classic *pcap, const uint8_t magic[4],
                               struct lw_source *source, struct lw_error *error);

// One record; of its bytes at most `size` are kept, the rest is skipped.
enum lw_status lw_classic_next(const struct lw_classic *pcap, struct lw_source *source,
                               uint8_t *bytes, size_t size, size_t *count, size_t *original,
                               int64_t *utc_ns, struct lw_error *error);

#endif
