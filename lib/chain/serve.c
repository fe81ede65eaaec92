// SPDX-License-Identifier: GPL-3.0-or-later
//
// The paced crank: a wire served on a real line. The only waiting is the outside line's receive, up
// to the wire's next event, so nothing here needs the operating system. A gateway in between (MBAP)
// queues requests as the small ones of the trade do: one on the wire at a time.
#include "chain/wire_inside.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <assert.h>

enum { OUT_MAX = 4096, IN_MAX = 8 * LW_MBAP_MAX };

// Nobody answers a broadcast: 100 to 200 ms are left to the nodes (MODBUS over Serial Line V1.02,
// 2.4.1).
static const double turnaround_s = 0.1;
static const int64_t quiet_ns = 1000000000; // with nothing to do on the wire, look up once a second
// Bytes reach a pseudo-terminal or a socket when the programs get their turns, so pauses inside a
// request mean nothing there. What is no request after this pause goes on the wire as it is.
static const int64_t pause_ns = 200000000;

// The place where the outside line enters the wire.
struct pump {
    struct lw_actor actor;
    struct lw_wire *wire;
    struct lw_line *outside;
    const struct lw_serve_options *options;
    int64_t ahead_ns; // wire's time less the outside clock's
    unsigned long requests;
    size_t out_count;
    uint8_t out[OUT_MAX]; // heard on the wire, not yet handed on
    int64_t out_last_ns;
    size_t in_count;
    uint8_t in[IN_MAX]; // not yet on the wire
    int64_t in_last_ns; // when the last of it came
    // MBAP only
    bool asking;
    uint16_t transaction;
    uint8_t unit, function;
    int64_t give_up_ns;
};

static int64_t pump_next(const struct lw_actor *actor)
{
    (void)actor;
    return LW_NEVER;
}

static void pump_run(struct lw_actor *actor, int64_t now_ns)
{
    (void)actor;
    (void)now_ns;
}

static void pump_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    struct pump *pump = (struct pump *)actor;
    size_t room = OUT_MAX - pump->out_count;
    size_t count = sound->count < room ? sound->count : room;
    memcpy(pump->out + pump->out_count, sound->bytes, count);
    pump->out_count += count;
    pump->out_last_ns = sound->last_ns;
}

static const struct lw_actor_ops pump_actor = {pump_next, pump_run, pump_hear};

static void count_request(struct pump *pump)
{
    pump->requests++;
    if (pump->options->on_request) {
        pump->options->on_request(pump->options->user, pump->requests);
    }
}

static enum lw_status send_mbap(struct pump *pump, const struct lw_pdu *pdu, struct lw_error *error)
{
    uint8_t bytes[LW_MBAP_MAX];
    size_t count = lw_mbap_wrap(pump->transaction, pump->unit, pdu, bytes);
    pump->asking = false;
    return lw_line_send(pump->outside, bytes, count, NULL, NULL, error);
}

// Masters on a pseudo-terminal or a socket often ask again at once; the silence that an adapter's
// own delay gives a real line is kept for them here.
static int64_t after_silence_ns(const struct pump *pump)
{
    return pump->out_last_ns + lw_framing_t35_ns(&pump->actor.framing);
}

// The next queued request goes on the wire; bytes that can never be a request empty the queue.
static enum lw_status ask_next(struct pump *pump, struct lw_error *error)
{
    struct lw_pdu pdu;
    int length = lw_mbap_unwrap(pump->in, pump->in_count, &pump->transaction, &pump->unit, &pdu);
    if (length == LW_LENGTH_MORE) {
        return LW_OK;
    }
    if (length < 0) {
        pump->in_count = 0;
        return LW_OK;
    }
    pump->in_count -= (size_t)length;
    memmove(pump->in, pump->in + length, pump->in_count);
    pump->function = pdu.bytes[0];
    uint8_t frame[LW_RTU_MAX];
    size_t count = lw_rtu_wrap(pump->unit, &pdu, frame);
    int64_t last_ns = 0;
    enum lw_status status = lw_wire_inject(pump->wire, &pump->actor, frame, count,
                                           after_silence_ns(pump), &last_ns, error);
    double wait_s = pump->options->gateway_s > 0 ? pump->options->gateway_s : 1.0;
    wait_s = pump->unit == 0 ? turnaround_s : wait_s;
    pump->give_up_ns = last_ns + (int64_t)(wait_s * 1e9);
    pump->asking = true;
    pump->out_count = 0;
    count_request(pump);
    return status;
}

// Hands a reply on once silence has ended it.
static enum lw_status hand_on_reply(struct pump *pump, struct lw_error *error)
{
    struct lw_pdu pdu;
    uint8_t address = 0;
    bool good = lw_rtu_unwrap(pump->out, pump->out_count, &address, &pdu);
    pump->out_count = 0;
    return good && address == pump->unit ? send_mbap(pump, &pdu, error) : LW_OK;
}

static enum lw_status give_up(struct pump *pump, struct lw_error *error)
{
    struct lw_pdu pdu = {2, {LW_EXCEPTION_BIT | pump->function, LW_GATEWAY_TARGET}};
    pump->asking = false;
    return pump->unit == 0 ? LW_OK : send_mbap(pump, &pdu, error);
}

static enum lw_status answer_mbap(struct pump *pump, struct lw_error *error)
{
    int64_t now_ns = lw_wire_now_ns(pump->wire);
    enum lw_status status = LW_OK;
    bool ended = now_ns - pump->out_last_ns >= lw_framing_t35_ns(&pump->actor.framing);
    if (pump->asking && pump->out_count > 0 && ended) {
        status = hand_on_reply(pump, error);
    }
    if (status == LW_OK && pump->asking && now_ns >= pump->give_up_ns) {
        status = give_up(pump, error);
    }
    return status == LW_OK && !pump->asking ? ask_next(pump, error) : status;
}

// How many bytes go on the wire now: a whole request, or all when they will never be one.
static size_t ready_bytes(const struct pump *pump)
{
    int length = lw_rtu_request_length(pump->in, pump->in_count);
    bool paused = lw_wire_now_ns(pump->wire) - pump->in_last_ns >= pause_ns;
    if (length == LW_LENGTH_MORE || length > (int)pump->in_count) {
        return paused ? pump->in_count : 0;
    }
    return length > 0 && lw_rtu_unwrap(pump->in, (size_t)length, NULL, NULL) ? (size_t)length
                                                                             : pump->in_count;
}

static enum lw_status ask_rtu(struct pump *pump, struct lw_error *error)
{
    enum lw_status status = LW_OK;
    size_t count;
    while (status == LW_OK && pump->in_count > 0 && (count = ready_bytes(pump)) > 0) {
        count_request(pump);
        status = lw_wire_inject(pump->wire, &pump->actor, pump->in, count, after_silence_ns(pump),
                                NULL, error);
        pump->in_count -= count;
        memmove(pump->in, pump->in + count, pump->in_count);
    }
    return status;
}

static enum lw_status answer_rtu(struct pump *pump, struct lw_error *error)
{
    if (pump->out_count == 0) {
        return LW_OK;
    }
    size_t count = pump->out_count;
    pump->out_count = 0;
    return lw_line_send(pump->outside, pump->out, count, NULL, NULL, error);
}

static enum lw_status hand_over(struct pump *pump, struct lw_error *error)
{
    if (pump->outside->adu == LW_ADU_MBAP) {
        return answer_mbap(pump, error);
    }
    enum lw_status status = ask_rtu(pump, error);
    return status == LW_OK ? answer_rtu(pump, error) : status;
}

static void take_in(struct pump *pump, const uint8_t *bytes, size_t count)
{
    if (pump->in_count + count > IN_MAX) {
        pump->in_count = 0; // more than any master may have under way
        return;
    }
    memcpy(pump->in + pump->in_count, bytes, count);
    pump->in_count += count;
    pump->in_last_ns = lw_wire_now_ns(pump->wire);
}

// One master has gone; what it asked is nobody's business any more. The line says if there can be
// another.
static void forget_client(struct pump *pump)
{
    pump->in_count = 0;
    pump->out_count = 0;
    pump->asking = false;
}

// When to look up from the outside line next, on its clock.
static int64_t look_up_ns(const struct pump *pump)
{
    int64_t now_ns = lw_wire_now_ns(pump->wire);
    int64_t next_ns = lw_wire_next(pump->wire);
    int64_t latest_ns = now_ns + quiet_ns;
    if (pump->asking && pump->give_up_ns < latest_ns) {
        latest_ns = pump->give_up_ns;
    }
    bool half = pump->in_count > 0 && pump->outside->adu == LW_ADU_RTU;
    if (half && pump->in_last_ns + pause_ns < latest_ns) {
        latest_ns = pump->in_last_ns + pause_ns;
    }
    int64_t ended_ns = pump->out_last_ns + lw_framing_t35_ns(&pump->actor.framing);
    if (pump->out_count > 0 && ended_ns < latest_ns) {
        latest_ns = ended_ns;
    }
    return (next_ns < latest_ns ? next_ns : latest_ns) - pump->ahead_ns;
}

static bool cancelled(const struct pump *pump)
{
    return pump->options->cancel && pump->options->cancel->flag;
}

static enum lw_status pump_loop(struct pump *pump, struct lw_error *error)
{
    uint8_t bytes[LW_MBAP_MAX - 4];
    struct lw_piece piece;
    for (;;) {
        if (cancelled(pump)) {
            return lw_fail(error, LW_CANCELLED, "interrupted");
        }
        enum lw_status status =
            lw_line_receive(pump->outside, look_up_ns(pump), bytes, sizeof bytes, &piece, error);
        if (status != LW_OK) {
            return status;
        }
        lw_wire_advance(pump->wire, lw_clock_now_ns(pump->outside->clock) + pump->ahead_ns);
        if (piece.count > 0) {
            take_in(pump, bytes, piece.count);
        } else if (piece.flags & LW_PIECE_CLOSED) {
            forget_client(pump);
        }
        status = hand_over(pump, error);
        if (status != LW_OK) {
            return status;
        }
    }
}

enum lw_status lw_wire_serve(struct lw_wire *wire, struct lw_line *outside,
                             const struct lw_serve_options *options, struct lw_error *error)
{
    struct pump *pump = calloc(1, sizeof *pump);
    if (!pump) {
        return lw_fail(error, LW_MEMORY, "no memory to serve a virtual wire");
    }
    pump->actor = (struct lw_actor){.ops = &pump_actor,
                                    .framing = options->framing,
                                    .drive_v = 2.0,
                                    .echoes = outside->adu == LW_ADU_RTU};
    pump->wire = wire;
    pump->outside = outside;
    pump->options = options;
    pump->out_last_ns = lw_wire_now_ns(wire);
    pump->ahead_ns = lw_wire_now_ns(wire) - lw_clock_now_ns(outside->clock);
    enum lw_status status = lw_wire_add(wire, &pump->actor, error);
    if (status == LW_OK) {
        status = pump_loop(pump, error);
        lw_wire_remove(wire, &pump->actor);
    }
    free(pump);
    return status;
}
