// SPDX-License-Identifier: GPL-3.0-or-later
//
// The numbers of pcapng (IETF draft-ietf-opsawg-pcapng) that the writer and the reader share.
#ifndef LW_CAPTURE_BLOCK_H
#define LW_CAPTURE_BLOCK_H

#include <stdint.h>

// Block types, section 4.
enum {
    LW_BLOCK_SECTION = 0x0A0D0D0A,
    LW_BLOCK_INTERFACE = 1,
    LW_BLOCK_OLD_PACKET = 2,
    LW_BLOCK_SIMPLE_PACKET = 3,
    LW_BLOCK_PACKET = 6,
    LW_BLOCK_MAGIC = 0x1A2B3C4D,
};

// Option codes, section 3.5, 4.1, 4.2 and 4.3; each block counts its own from 2.
enum {
    LW_OPTION_END = 0,
    LW_OPTION_COMMENT = 1,
    LW_OPTION_FLAGS = 2,       // enhanced packet
    LW_OPTION_NAME = 2,        // interface
    LW_OPTION_DESCRIPTION = 3, // interface
    LW_OPTION_APPLICATION = 4, // section
    LW_OPTION_RESOLUTION = 9,  // interface
    LW_OPTION_OFFSET = 14,     // interface: seconds to add to every time
};

// epb_flags, section 4.3.1.
#define LW_EPB_DIRECTION    UINT32_C(3)
#define LW_EPB_INBOUND      UINT32_C(1)
#define LW_EPB_OUTBOUND     UINT32_C(2)
#define LW_EPB_CRC_ERROR    (UINT32_C(1) << 24)
#define LW_EPB_TOO_LONG     (UINT32_C(1) << 25)
#define LW_EPB_TOO_SHORT    (UINT32_C(1) << 26)
#define LW_EPB_GAP_ERROR    (UINT32_C(1) << 27)
#define LW_EPB_SYMBOL_ERROR (UINT32_C(1) << 31)

// Link types for private use (tcpdump's list of link-layer header types).
enum { LW_LINKTYPE_RTU = 147, LW_LINKTYPE_MBAP = 148 };

enum { LW_BLOCK_TEXT = 4096 }; // longest text put into an option

// Comment of the section when the line is not a real one.
#define LW_CAPTURE_SIMULATED "simulated"

#endif
