// SPDX-License-Identifier: GPL-3.0-or-later
//
// The listener: line to framing, to frames, to exchanges, to the fold. It never calls send.
#include "check/listen.h"

#include "modbus/pdu.h"

static const int64_t fell_silent_ns = 1000000000; // as long as a reply is ever waited for

struct lw_listener {
    struct lw_line *line;
    const struct lw_run *run;
    const struct lw_plan *plan;
    struct lw_listener_options options;
    struct lw_hunt hunt;
    bool hunts;
    struct lw_stream *stream;
    struct lw_listen_fold *fold;
    int64_t began_ns, this_framing_ns, found_ns; // found_ns: -1 before
    int64_t heard_ns; // the last byte's time; -1: all that was heard is decided about
    uint64_t bytes;
};

static void take_value(void *user, const struct lw_listen_value *value)
{
    struct lw_listener *listener = user;
    if (value->reg->role == LW_ROLE_READING) {
        const struct lw_reading reading = {
            .time_s = (double)(value->at_ns - listener->began_ns) / 1e9,
            .node = value->entry->node,
            .unit = value->reg->unit,
            .value = value->value,
        };
        listener->run->reading(listener->run->user, &reading);
    }
}

// While the framing is not known, what is decoded is not told on.
static bool is_sure(const struct lw_listener *listener)
{
    return !listener->hunts || listener->hunt.found;
}

static void take_exchange(void *user, const struct lw_exchange *exchange)
{
    struct lw_listener *listener = user;
    if (listener->options.wanted != NULL &&
        !listener->options.wanted(listener->options.user, exchange->address)) {
        return;
    }
    lw_listen_fold_exchange(listener->fold, exchange);
    if (listener->run->reading != NULL) {
        lw_listen_values(listener->plan, exchange, take_value, listener);
    }
    if (listener->options.exchange != NULL && is_sure(listener)) {
        listener->options.exchange(listener->options.user, exchange);
    }
}

static void take_frame(void *user, const struct lw_stream_frame *frame)
{
    struct lw_listener *listener = user;
    if (listener->options.frame != NULL && is_sure(listener)) {
        listener->options.frame(listener->options.user, frame);
    }
}

// A new framing makes everything before it meaningless: decoder and fold begin again.
static enum lw_status begin_again(struct lw_listener *listener, struct lw_error *error)
{
    const struct lw_framing *framing = &listener->line->framing;
    const struct lw_stream_options options = {
        .adu = listener->line->adu,
        .char_ns = listener->line->framed ? lw_framing_chars_ns(framing, 1) : 0,
    };
    const struct lw_stream_sinks sinks = {
        .context = listener, .frame = take_frame, .exchange = take_exchange};
    lw_stream_free(listener->stream);
    lw_listen_fold_free(listener->fold);
    listener->fold = NULL;
    listener->stream = lw_stream_new(&options, &sinks);
    listener->this_framing_ns = lw_clock_now_ns(listener->line->clock);
    listener->heard_ns = -1;
    if (listener->stream == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for the decoder");
    }
    return lw_listen_fold_new(listener->plan, &listener->fold, error);
}

enum lw_status lw_listener_new(struct lw_line *line, const struct lw_run *run,
                               const struct lw_plan *plan,
                               const struct lw_listener_options *options,
                               struct lw_listener **listener, struct lw_error *error)
{
    if (!line->hears_others) {
        return lw_fail(error, LW_USAGE,
                       "a gateway cannot be listened to: traffic of other masters does not come "
                       "through it");
    }
    struct lw_listener *made = calloc(1, sizeof *made);
    if (made == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a listener");
    }
    made->line = line;
    made->run = run;
    made->plan = plan;
    made->options = *options;
    made->hunts = line->framed && !options->framing_given;
    made->began_ns = lw_clock_now_ns(line->clock);
    made->found_ns = -1;
    lw_hunt_init(&made->hunt, &line->framing);
    enum lw_status status = begin_again(made, error);
    if (status != LW_OK) {
        lw_listener_free(made);
        return status;
    }
    *listener = made;
    return LW_OK;
}

void lw_listener_free(struct lw_listener *listener)
{
    if (listener != NULL) {
        lw_stream_free(listener->stream);
        lw_listen_fold_free(listener->fold);
        free(listener);
    }
}

static enum lw_status switch_framing(struct lw_listener *listener, struct lw_error *error)
{
    enum lw_status status = lw_line_set_framing(listener->line, &listener->hunt.now, error);
    if (status == LW_OK) {
        status = begin_again(listener, error);
    }
    if (status == LW_OK && listener->options.switched != NULL) {
        status = listener->options.switched(listener->options.user, error);
    }
    return status;
}

static void take_bytes(struct lw_listener *listener, const uint8_t *bytes,
                       const struct lw_piece *piece)
{
    const struct lw_stream_piece heard = {
        .bytes = bytes,
        .count = piece->count,
        .first_ns = piece->first_ns,
        .last_ns = piece->last_ns,
        .timing_u_ns = piece->timing_u_ns,
        .damaged = (piece->flags & (LW_PIECE_PARITY | LW_PIECE_STOP_BIT | LW_PIECE_BREAK)) != 0,
    };
    listener->bytes += piece->count;
    listener->heard_ns = piece->last_ns;
    lw_listen_fold_piece(listener->fold, &listener->line->framing, piece);
    lw_stream_add(listener->stream, &heard);
    if (listener->options.piece != NULL) {
        listener->options.piece(listener->options.user, piece);
    }
}

static void notice_silence(struct lw_listener *listener)
{
    int64_t now_ns = lw_clock_now_ns(listener->line->clock);
    if (listener->heard_ns >= 0 && now_ns - listener->heard_ns >= fell_silent_ns) {
        lw_listener_flush(listener);
    }
}

enum lw_status lw_listener_step(struct lw_listener *listener, int64_t until_ns,
                                struct lw_error *error)
{
    uint8_t bytes[LW_RTU_MAX];
    struct lw_piece piece;
    if (listener->heard_ns >= 0 && listener->heard_ns + fell_silent_ns < until_ns) {
        until_ns = listener->heard_ns + fell_silent_ns;
    }
    enum lw_status status =
        lw_line_receive(listener->line, until_ns, bytes, sizeof bytes, &piece, error);
    if (status != LW_OK) {
        return status;
    }
    if (piece.flags & LW_PIECE_CLOSED) {
        return lw_fail(error, LW_SYSTEM, "the other end of '%s' has closed", listener->line->name);
    }
    if (piece.count == 0) {
        notice_silence(listener);
        return LW_OK;
    }
    take_bytes(listener, bytes, &piece);
    switch (listener->hunts ? lw_hunt_take(&listener->hunt, bytes, &piece) : LW_HUNT_ON) {
    case LW_HUNT_SWITCH:
        return switch_framing(listener, error);
    case LW_HUNT_FOUND:
        listener->found_ns = piece.last_ns;
        break;
    case LW_HUNT_ON:
        break;
    }
    return LW_OK;
}

void lw_listener_flush(struct lw_listener *listener)
{
    lw_stream_flush(listener->stream);
    listener->heard_ns = -1;
}

enum lw_status lw_listener_reopened(struct lw_listener *listener, struct lw_line *line,
                                    struct lw_error *error)
{
    lw_listener_flush(listener);
    listener->line = line;
    return line->framed ? lw_line_set_framing(line, &listener->hunt.now, error) : LW_OK;
}

uint64_t lw_listener_bytes(const struct lw_listener *listener)
{
    return listener->bytes;
}

static bool fill_framing(const struct lw_listener *listener, struct lw_listen_framing *framing)
{
    char text[LW_FRAMING_TEXT];
    framing->given = listener->options.framing_given;
    framing->found = listener->found_ns >= 0;
    framing->switches = listener->hunt.switches;
    if (framing->found) {
        framing->found_after_s = (double)(listener->found_ns - listener->began_ns) / 1e9;
    }
    if (listener->line->framed && (framing->found || framing->given)) {
        lw_framing_text(&listener->line->framing, text);
        framing->framing = lw_duplicate(text);
        return framing->framing != NULL;
    }
    return true;
}

static void fill_totals(const struct lw_listener *listener, struct lw_listen_result *result)
{
    const struct lw_stream_totals *totals = lw_stream_totals(listener->stream);
    result->frames = (double)totals->frames;
    result->crc_errors = (double)totals->damaged;
    result->exchanges = (double)totals->exchanges;
    result->unanswered = (double)totals->unanswered;
    result->exceptions = (double)totals->exceptions;
    result->orphans = (double)totals->orphans;
    result->crossed = (double)totals->crossed;
}

enum lw_status lw_listener_result(struct lw_listener *listener, struct lw_listen_result *result,
                                  struct lw_error *error)
{
    int64_t now_ns = lw_clock_now_ns(listener->line->clock);
    double elapsed_s = (double)(now_ns - listener->this_framing_ns) / 1e9;
    enum lw_status status = lw_listen_fold_result(listener->fold, elapsed_s, result, error);
    if (status == LW_OK) {
        fill_totals(listener, result);
        if (!fill_framing(listener, &result->framing)) {
            lw_json_free(&lw_listen_shape, result);
            return lw_fail(error, LW_MEMORY, "no memory for what was heard");
        }
    }
    return status;
}
