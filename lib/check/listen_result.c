// SPDX-License-Identifier: GPL-3.0-or-later
//
// What was heard, as JSON.
#include "check/listen.h"

static const struct lw_field times_fields[] = {
    {LW_AT(struct lw_listen_times, p50), .kind = LW_NUMBER, .nullable = true, .says = "median"},
    {LW_AT(struct lw_listen_times, p95), .kind = LW_NUMBER, .nullable = true,
     .says = "95 of 100 are below"},
    {LW_AT(struct lw_listen_times, max), .kind = LW_NUMBER, .nullable = true, .says = "longest"},
    {0},
};
static const struct lw_shape times_shape = {
    .name = "listen_times", .size = sizeof(struct lw_listen_times), .fields = times_fields};

static const struct lw_field framing_fields[] = {
    {LW_AT(struct lw_listen_framing, framing), .kind = LW_TEXT,
     .says = "what the line runs at; absent: not found, or the line has none"},
    {LW_AT(struct lw_listen_framing, given), .kind = LW_BOOLEAN, .says = "it was told"},
    {LW_AT(struct lw_listen_framing, found), .kind = LW_BOOLEAN,
     .says = "whole frames were heard at it"},
    {LW_AT(struct lw_listen_framing, switches), .kind = LW_INTEGER,
     .says = "how often the framing was changed until then"},
    {LW_AT(struct lw_listen_framing, found_after_s), .kind = LW_NUMBER, .nullable = true,
     .says = "from the start of listening"},
    {0},
};
static const struct lw_shape framing_shape = {
    .name = "listen_framing", .size = sizeof(struct lw_listen_framing), .fields = framing_fields};

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_listen_node, node), .kind = LW_TEXT, .says = "name in the plan"},
    {LW_AT(struct lw_listen_node, tap), .kind = LW_INTEGER, .says = "place on the chain; 0: none"},
    {LW_AT(struct lw_listen_node, address), .kind = LW_INTEGER, .required = true,
     .says = "address that is asked"},
    {LW_AT(struct lw_listen_node, requests), .kind = LW_NUMBER, .says = "questions to it"},
    {LW_AT(struct lw_listen_node, replies), .kind = LW_NUMBER, .says = "answers, exceptions too"},
    {LW_AT(struct lw_listen_node, unanswered), .kind = LW_NUMBER, .says = "silences"},
    {LW_AT(struct lw_listen_node, crc_errors), .kind = LW_NUMBER, .says = "damaged answers"},
    {LW_AT(struct lw_listen_node, exceptions), .kind = LW_NUMBER,
     .says = "refused with an exception"},
    {LW_AT(struct lw_listen_node, reply_ms), .kind = LW_OBJECT, .sub = &times_shape,
     .says = "end of question to start of answer"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "listen_node", .size = sizeof(struct lw_listen_node), .fields = node_fields};

static const struct lw_field read_fields[] = {
    {LW_AT(struct lw_listen_read, node), .kind = LW_TEXT, .says = "name in the plan"},
    {LW_AT(struct lw_listen_read, tap), .kind = LW_INTEGER, .says = "place on the chain; 0: none"},
    {LW_AT(struct lw_listen_read, address), .kind = LW_INTEGER, .required = true,
     .says = "address that is asked; 0: all"},
    {LW_AT(struct lw_listen_read, function), .kind = LW_INTEGER, .required = true,
     .says = "function code"},
    {.key = "register",
     .offset = offsetof(struct lw_listen_read, start),
     .kind = LW_INTEGER,
     .fallback = -1,
     .says = "first register or bit, from 0; -1: the function has none"},
    {LW_AT(struct lw_listen_read, count), .kind = LW_INTEGER, .fallback = -1,
     .says = "registers or bits; -1: the function has none"},
    {LW_AT(struct lw_listen_read, requests), .kind = LW_NUMBER, .says = "how often it was asked"},
    {LW_AT(struct lw_listen_read, replies), .kind = LW_NUMBER, .says = "answers"},
    {LW_AT(struct lw_listen_read, unanswered), .kind = LW_NUMBER, .says = "silences"},
    {LW_AT(struct lw_listen_read, damaged), .kind = LW_NUMBER, .says = "damaged answers"},
    {LW_AT(struct lw_listen_read, wrong), .kind = LW_NUMBER,
     .says = "whole answers that do not fit the question"},
    {LW_AT(struct lw_listen_read, exceptions), .kind = LW_NUMBER,
     .says = "refused with an exception"},
    {LW_AT(struct lw_listen_read, exception), .kind = LW_INTEGER,
     .says = "the last exception's code; 0: none"},
    {LW_AT(struct lw_listen_read, longest_repeat), .kind = LW_NUMBER,
     .says = "most answers in a row that were the same, bit for bit"},
    {LW_AT(struct lw_listen_read, decoded), .kind = LW_NUMBER,
     .says = "readings of two registers in the answers"},
    {LW_AT(struct lw_listen_read, in_range), .kind = LW_NUMBER,
     .says = "of these in the profile's range"},
    {LW_AT(struct lw_listen_read, in_range_swapped), .kind = LW_NUMBER,
     .says = "of these in the range with their two words swapped"},
    {LW_AT(struct lw_listen_read, reply_ms), .kind = LW_OBJECT, .sub = &times_shape,
     .says = "end of question to start of answer"},
    {LW_AT(struct lw_listen_read, period_ms), .kind = LW_OBJECT, .sub = &times_shape,
     .says = "from one such question to the next"},
    {0},
};
static const struct lw_shape read_shape = {
    .name = "listen_read", .size = sizeof(struct lw_listen_read), .fields = read_fields};

static const struct lw_field event_fields[] = {
    {LW_AT(struct lw_listen_event, number), .kind = LW_INTEGER, .required = true,
     .says = "from 1, in the order of their beginning"},
    {LW_AT(struct lw_listen_event, kind), .kind = LW_TEXT, .required = true,
     .says = "silence, unanswered, damaged, wrong, exception, status, value or lost"},
    {LW_AT(struct lw_listen_event, node), .kind = LW_TEXT, .says = "name in the plan"},
    {LW_AT(struct lw_listen_event, address), .kind = LW_INTEGER, .says = "0: no node's"},
    {LW_AT(struct lw_listen_event, from), .kind = LW_TEXT, .says = "first seen"},
    {LW_AT(struct lw_listen_event, to), .kind = LW_TEXT, .says = "last seen"},
    {LW_AT(struct lw_listen_event, count), .kind = LW_NUMBER, .says = "how often"},
    {LW_AT(struct lw_listen_event, says), .kind = LW_TEXT, .says = "in a sentence"},
    {LW_AT(struct lw_listen_event, captures), .kind = LW_TEXTS,
     .says = "files with what passed before and after"},
    {0},
};
static const struct lw_shape event_shape = {
    .name = "listen_event", .size = sizeof(struct lw_listen_event), .fields = event_fields};

static const struct lw_field listen_fields[] = {
    {LW_AT(struct lw_listen_result, framing), .kind = LW_OBJECT, .sub = &framing_shape,
     .says = "how the line's characters stand"},
    {LW_AT(struct lw_listen_result, elapsed_s), .kind = LW_NUMBER, .nullable = true,
     .says = "time of listening at this framing"},
    {LW_AT(struct lw_listen_result, bytes), .kind = LW_NUMBER, .says = "heard in it"},
    {LW_AT(struct lw_listen_result, frames), .kind = LW_NUMBER, .says = "whole frames"},
    {LW_AT(struct lw_listen_result, crc_errors), .kind = LW_NUMBER,
     .says = "stretches of bytes that are no whole frame"},
    {LW_AT(struct lw_listen_result, exchanges), .kind = LW_NUMBER, .says = "questions"},
    {LW_AT(struct lw_listen_result, unanswered), .kind = LW_NUMBER,
     .says = "of these without a good answer"},
    {LW_AT(struct lw_listen_result, exceptions), .kind = LW_NUMBER,
     .says = "of these refused with an exception"},
    {LW_AT(struct lw_listen_result, wrong), .kind = LW_NUMBER,
     .says = "of these with a whole answer that does not fit"},
    {LW_AT(struct lw_listen_result, orphans), .kind = LW_NUMBER,
     .says = "answers to no question that was heard"},
    {LW_AT(struct lw_listen_result, crossed), .kind = LW_NUMBER,
     .says = "questions while another was still to be answered: what two masters do"},
    {LW_AT(struct lw_listen_result, damaged_pieces), .kind = LW_NUMBER,
     .says = "stretches with parity or stop-bit errors"},
    {LW_AT(struct lw_listen_result, bus_load_pct), .kind = LW_NUMBER, .nullable = true,
     .says = "share of the time in which characters were on the line"},
    {LW_AT(struct lw_listen_result, busiest_second_pct), .kind = LW_NUMBER, .nullable = true,
     .says = "the same in the busiest second"},
    {LW_AT(struct lw_listen_result, cycle_ms), .kind = LW_OBJECT, .sub = &times_shape,
     .says = "until the same is asked again"},
    {LW_AT(struct lw_listen_result, timeout_ms), .kind = LW_NUMBER, .nullable = true,
     .says = "shortest wait of the controller after a question that nobody answered"},
    {LW_AT(struct lw_listen_result, more_requests), .kind = LW_NUMBER,
     .says = "questions beyond those kept apart in reads"},
    {LW_AT(struct lw_listen_result, nodes), .kind = LW_LIST, .sub = &node_shape,
     .says = "by address"},
    {LW_AT(struct lw_listen_result, reads), .kind = LW_LIST, .sub = &read_shape,
     .says = "what is asked, in the order of its first coming"},
    {LW_AT(struct lw_listen_result, events_in_all), .kind = LW_NUMBER, .nullable = true,
     .says = "while the line was watched; null: it was not"},
    {LW_AT(struct lw_listen_result, most_bytes), .kind = LW_NUMBER, .nullable = true,
     .says = "most that the watch had on disk at a time"},
    {LW_AT(struct lw_listen_result, events), .kind = LW_LIST, .sub = &event_shape,
     .says = "the first of them"},
    {0},
};
const struct lw_shape lw_listen_shape = {
    .name = "listen", .size = sizeof(struct lw_listen_result), .fields = listen_fields};
