// SPDX-License-Identifier: GPL-3.0-or-later
//
// Bytes that were taken before: captures, raw bytes, hex text, bytes with times. Read piece by
// piece into the stream decoder, in constant memory, so that decode, link and noise see exchanges
// wherever they come from.
#ifndef LW_CLI_FEED_H
#define LW_CLI_FEED_H

#include "capture/pcapng.h"
#include "line/line.h"
#include "modbus/stream.h"

enum lw_feed_kind {
    LW_FEED_CAPTURE, // pcapng or pcap
    LW_FEED_RAW,     // nothing but the bytes
    LW_FEED_HEX,     // pairs of hexadecimal digits, blanks , : ; between them, # to the line's end
    LW_FEED_TIMED,   // lines of `time_s,byte`, the byte in hexadecimal
};

struct lw_feed {
    enum lw_feed_kind kind;
    const char *path;                 // "-": standard input
    const struct lw_framing *framing; // NULL: the capture's own, else none
    int64_t reply_ns;                 // as in struct lw_stream_options
    const struct lw_cancel *cancel;   // may be NULL
    struct lw_stream_sinks sinks;
};

// What came of it. Times of the sinks count from first_utc_ns, the first packet's; of timed bytes
// as the file has them.
struct lw_fed {
    struct lw_stream_totals totals;
    int64_t first_utc_ns; // -1: unknown
    bool simulated;
    bool cut; // a capture that ends in the middle of a block
    enum lw_adu adu;
    char line[160], framing_text[LW_FRAMING_TEXT]; // as a capture says; "" else
};

// LW_BAD_FILE with the place of what is wrong (everything before it was fed), LW_SYSTEM, LW_MEMORY,
// LW_CANCELLED. A capture that was cut off is fed to its last whole block, with LW_OK.
enum lw_status lw_feed_run(const struct lw_feed *feed, struct lw_fed *fed, struct lw_error *error);

// A file of a visit's folder that is a capture, by its name.
bool lw_feed_is_capture(const char *name);

#endif
