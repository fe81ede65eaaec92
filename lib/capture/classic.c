// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reads classic pcap, which many tools still write.
//
//   head:    magic version(2.4) zone(0) accuracy(0) snaplen linktype
//   record:  seconds fraction captured original bytes
#include "capture/classic.h"

#include <inttypes.h>
#include <string.h>

// No tool writes longer records (common practice), so a longer one is a lie.
enum { RECORD_MOST = 262144 };

static uint32_t get32(const struct lw_classic *pcap, const uint8_t *at)
{
    uint32_t a = at[0], b = at[1], c = at[2], d = at[3];
    return pcap->big_endian ? a << 24 | b << 16 | c << 8 | d : d << 24 | c << 16 | b << 8 | a;
}

static bool learn(struct lw_classic *pcap, const uint8_t magic[4])
{
    static const uint8_t known[4][4] = {{0xd4, 0xc3, 0xb2, 0xa1},
                                        {0xa1, 0xb2, 0xc3, 0xd4},
                                        {0x4d, 0x3c, 0xb2, 0xa1},
                                        {0xa1, 0xb2, 0x3c, 0x4d}};
    for (unsigned i = 0; i < 4; i++) {
        if (memcmp(magic, known[i], 4) == 0) {
            pcap->big_endian = i % 2 == 1;
            pcap->nanoseconds = i >= 2;
            return true;
        }
    }
    return false;
}

bool lw_classic_is(const uint8_t magic[4])
{
    struct lw_classic ignored;
    return learn(&ignored, magic);
}

enum lw_status lw_classic_open(struct lw_classic *pcap, const uint8_t magic[4],
                               struct lw_source *source, struct lw_error *error)
{
    uint8_t head[20];
    learn(pcap, magic);
    enum lw_status status = lw_source_take(source, head, sizeof head, error);
    if (status != LW_OK) {
        return status;
    }
    uint32_t snap_length = get32(pcap, head + 12);
    pcap->most = snap_length > RECORD_MOST ? snap_length : RECORD_MOST;
    pcap->link_type = get32(pcap, head + 16) & 0xffff; // above: facts of the frame check
    return LW_OK;
}

enum lw_status lw_classic_next(const struct lw_classic *pcap, struct lw_source *source,
                               uint8_t *bytes, size_t size, size_t *count, size_t *original,
                               int64_t *utc_ns, struct lw_error *error)
{
    uint8_t head[16];
    uint64_t offset = source->offset;
    enum lw_status status = lw_source_take(source, head, sizeof head, error);
    if (status != LW_OK) {
        return status;
    }
    uint32_t captured = get32(pcap, head + 8);
    if (captured > pcap->most) {
        return lw_fail(error, LW_BAD_FILE,
                       "record at offset %" PRIu64 ": its length %" PRIu32 " cannot be", offset,
                       captured);
    }
    *utc_ns = (int64_t)get32(pcap, head) * 1000000000 +
              (int64_t)get32(pcap, head + 4) * (pcap->nanoseconds ? 1 : 1000);
    *original = get32(pcap, head + 12);
    *count = captured < size ? captured : size;
    status = lw_source_take(source, bytes, *count, error);
    return status == LW_OK ? lw_source_skip(source, captured - *count, error) : status;
}
