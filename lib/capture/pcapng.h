// SPDX-License-Identifier: GPL-3.0-or-later
//
// Captures as pcapng (IETF draft-ietf-opsawg-pcapng): one section, one interface, an enhanced
// packet block for every send and for every stretch of received bytes. Link types LINKTYPE_USER0
// (147) for RTU, USER1 (148) for MBAP; times in nanoseconds.
#ifndef LW_CAPTURE_PCAPNG_H
#define LW_CAPTURE_PCAPNG_H

#include "base/error.h"
#include "base/file.h"
#include "modbus/exchange.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct lw_capture; // opaque, ours

struct lw_capture_facts {
    const char *application; // "linewalk 0.1.0"
    const char *line;        // how the user named it
    const char *framing;     // "19200/8E1" or NULL
    const char *comment;     // more of the line's settings; may be NULL
    enum lw_adu adu;
    bool simulated;
};

// Creates the file and writes the section and interface blocks.
enum lw_status lw_capture_create(const char *path, const struct lw_capture_facts *facts,
                                 struct lw_capture **capture, struct lw_error *error);

// Damage of a packet, as epb_flags keeps it.
enum {
    LW_DAMAGE_CRC = 1,
    LW_DAMAGE_LENGTH = 2, // bytes lost, or too few of them
    LW_DAMAGE_GAP = 4,    // silence where none may be, or none where it must be
    LW_DAMAGE_SYMBOL = 8, // parity, stop bit or break
};

enum { LW_CAPTURE_PACKET_MOST = 65535 }; // bytes of one packet

struct lw_packet {
    int64_t first_utc_ns, last_utc_ns; // of the first byte; of the last, or -1 when unknown
    bool outbound;                     // sent by us
    unsigned damage;                   // LW_DAMAGE_*, as far as it is known
    const uint8_t *bytes;
    size_t count; // 0..LW_CAPTURE_PACKET_MOST
};
// Writes the packet through to the kernel, so that a process that is killed loses nothing. After a
// failure every later call returns the same failure: nothing may follow half a block.
enum lw_status lw_capture_packet(struct lw_capture *capture, const struct lw_packet *packet,
                                 struct lw_error *error);
uint64_t lw_capture_count(const struct lw_capture *capture); // packets so far
uint64_t lw_capture_bytes(const struct lw_capture *capture); // of the file, written so far

// Flushes, syncs, closes, frees; digest as lw_file_close. Returns an earlier failure of
// lw_capture_packet() too. NULL is allowed.
enum lw_status lw_capture_close(struct lw_capture *capture, char digest[LW_DIGEST],
                                struct lw_error *error);

#endif
