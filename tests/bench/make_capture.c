// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writes a capture of so many RTU frames with the project's own writer: 24 nodes that are asked for
// two registers each, 19200 8E1, every frame a packet. Usage: make_capture FILE FRAMES.
#include "capture/pcapng.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <stdio.h>
#include <stdlib.h>

static const int64_t character_ns = 11 * 1000000000LL / 19200, pause_ns = 4000000;

static enum lw_status put(struct lw_capture *capture, int64_t *now_ns, uint8_t address,
                          const struct lw_pdu *pdu, bool outbound, struct lw_error *error)
{
    uint8_t frame[LW_RTU_MAX];
    size_t count = lw_rtu_wrap(address, pdu, frame);
    int64_t first_ns = *now_ns, last_ns = first_ns + character_ns * (int64_t)count;
    *now_ns = last_ns + pause_ns;
    return lw_capture_packet(capture,
                             &(struct lw_packet){.first_utc_ns = first_ns,
                                                 .last_utc_ns = last_ns,
                                                 .outbound = outbound,
                                                 .bytes = frame,
                                                 .count = count},
                             error);
}

int main(int argc, char **argv)
{
    const struct lw_capture_facts facts = {.application = "linewalk bench",
                                           .line = "bench",
                                           .framing = "19200/8E1",
                                           .simulated = true};
    struct lw_error error = {0};
    struct lw_capture *capture = NULL;
    int64_t now_ns = 1767225600000000000; // 2026-01-01
    long frames = argc > 2 ? strtol(argv[2], NULL, 10) : 0;
    enum lw_status status = frames > 0 ? lw_capture_create(argv[1], &facts, &capture, &error)
                                       : lw_fail(&error, LW_USAGE, "make_capture FILE FRAMES");
    for (long i = 0; i + 1 < frames && status == LW_OK; i += 2) {
        uint8_t address = (uint8_t)(1 + i / 2 % 24);
        struct lw_pdu request = {.count = 5, .bytes = {LW_READ_INPUT_REGISTERS, 0, 0, 0, 2}};
        struct lw_pdu reply = {.count = 6,
                               .bytes = {LW_READ_INPUT_REGISTERS, 4, 0x40, (uint8_t)(i >> 16),
                                         (uint8_t)(i >> 8), (uint8_t)i}};
        status = put(capture, &now_ns, address, &request, true, &error);
        if (status == LW_OK) {
            status = put(capture, &now_ns, address, &reply, false, &error);
        }
    }
    enum lw_status closed = lw_capture_close(capture, NULL, status == LW_OK ? &error : NULL);
    if (status != LW_OK || closed != LW_OK) {
        fprintf(stderr, "make_capture: %s\n", error.says);
        return 1;
    }
    return 0;
}
