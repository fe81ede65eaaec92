// SPDX-License-Identifier: GPL-3.0-or-later
//
// The calls that every user of a line makes. They hold what is the same for all kinds of line, so
// that a kind never sees a meaningless argument and its users never see an unset answer.
#include "line/line.h"

#include <assert.h>

enum lw_status lw_line_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                            int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    assert(line && bytes && count > 0);
    int64_t first = 0, last = 0;
    enum lw_status status = line->ops->send(line, bytes, count, &first, &last, error);
    if (status == LW_OK && first_ns) {
        *first_ns = first;
    }
    if (status == LW_OK && last_ns) {
        *last_ns = last;
    }
    return status;
}

enum lw_status lw_line_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                               size_t size, struct lw_piece *piece, struct lw_error *error)
{
    assert(line && bytes && size > 0 && piece);
    *piece = (struct lw_piece){0};
    return line->ops->receive(line, deadline_ns, bytes, size, piece, error);
}

enum lw_status lw_line_set_framing(struct lw_line *line, const struct lw_framing *framing,
                                   struct lw_error *error)
{
    assert(line && framing);
    if (!line->framed) {
        return lw_fail(error, LW_USAGE, "'%s' has no rate and no parity to set", line->name);
    }
    enum lw_status status = line->ops->set_framing(line, framing, error);
    if (status == LW_OK) {
        line->framing = *framing;
    }
    return status;
}

void lw_line_close(struct lw_line *line)
{
    if (line) {
        line->ops->close(line);
    }
}
