// SPDX-License-Identifier: GPL-3.0-or-later
//
// Listening before the first word. What is heard is only counted; that any byte at all means
// somebody else is there is for the caller to say to the user.
#include "client/client.h"

#include "client/inbox.h"

// Counts whole frames up to the inbox's end and drops them; a rest longer than the longest frame
// can't be the beginning of one.
static void count_frames(struct lw_inbox *inbox, struct lw_heard *heard)
{
    struct lw_found found;
    while (lw_inbox_frame(inbox, 0, inbox->count, &found)) {
        if (heard->frames++ == 0) {
            heard->address = found.address;
            heard->function = found.pdu.bytes[0];
        }
        lw_inbox_drop(inbox, 0, found.at + found.count);
    }
    if (inbox->count > LW_RTU_MAX) {
        lw_inbox_drop(inbox, 0, inbox->count - LW_RTU_MAX);
    }
}

enum lw_status lw_listen_first(struct lw_line *line, double seconds, struct lw_heard *heard,
                               struct lw_error *error)
{
    *heard = (struct lw_heard){.not_tested = !line->hears_others};
    if (heard->not_tested) {
        return LW_OK;
    }
    struct lw_inbox inbox = {0};
    int64_t start_ns = lw_clock_now_ns(line->clock), until_ns = start_ns + (int64_t)(seconds * 1e9);
    enum lw_status status = LW_OK;
    while (status == LW_OK && lw_clock_now_ns(line->clock) < until_ns) {
        uint8_t bytes[LW_RTU_MAX];
        struct lw_piece piece;
        status = lw_line_receive(line, until_ns, bytes, sizeof bytes, &piece, error);
        if (status == LW_OK && piece.count > 0) {
            heard->bytes += piece.count;
            heard->damaged |= (piece.flags & (LW_PIECE_PARITY | LW_PIECE_STOP_BIT)) != 0;
            lw_inbox_add(&inbox, bytes, &piece);
            count_frames(&inbox, heard);
        }
    }
    heard->listened_s = (double)(lw_clock_now_ns(line->clock) - start_ns) / 1e9;
    return status;
}
