// SPDX-License-Identifier: GPL-3.0-or-later
//
// MBAP streams inside the stream decoder: each side is a stream of ADUs that say their own length,
// and a reply carries the number of its request. Inside lib/modbus only.
#ifndef LW_MODBUS_STREAM_MBAP_H
#define LW_MODBUS_STREAM_MBAP_H

#include "modbus/stream_inside.h"

void lw_stream_mbap_add(struct lw_stream *stream, const struct lw_stream_piece *piece);

// Requests still open are without an answer; what is left of a torn ADU is noise.
void lw_stream_mbap_flush(struct lw_stream *stream);

#endif
