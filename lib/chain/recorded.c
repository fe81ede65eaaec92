// SPDX-License-Identifier: GPL-3.0-or-later
//
// Recorded nodes as actors of a wire. What each was asked is kept as questions, each with its
// recorded exchanges in order and a cursor, so that values advance as they did on the day.
#include "chain/recorded.h"

#include "chain/framer.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <assert.h>

struct question {
    const struct lw_exchange *first; // the request is in it
    size_t count, room, cursor;
    const struct lw_exchange **asked;
};

struct recorded_node {
    struct lw_actor actor; // first
    struct lw_recorded *all;
    uint8_t address;
    size_t count, room;
    struct question *questions;
    struct lw_framer heard;
    int64_t answer_ns;
    size_t answer_count;
    uint8_t answer[LW_RTU_MAX];
};

struct lw_recorded {
    struct lw_wire *wire;
    struct lw_recorded_options options;
    struct recorded_node *nodes[LW_ADDRESS_MAX + 1];
};

static bool same_pdu(const struct lw_pdu *a, const struct lw_pdu *b)
{
    return a->count == b->count && memcmp(a->bytes, b->bytes, a->count) == 0;
}

static struct question *question_of(const struct recorded_node *node, const struct lw_pdu *request)
{
    for (size_t i = 0; i < node->count; i++) {
        if (same_pdu(&node->questions[i].first->request, request)) {
            return &node->questions[i];
        }
    }
    return NULL;
}

static bool was_answered(const struct lw_exchange *exchange)
{
    return exchange->outcome == LW_ANSWERED || exchange->outcome == LW_EXCEPTION;
}

// A damaged answer is made from a good one to the same question; its bytes were not kept.
static const struct lw_pdu *good_answer(const struct question *question)
{
    for (size_t i = 0; i < question->count; i++) {
        if (was_answered(question->asked[i])) {
            return &question->asked[i]->reply;
        }
    }
    return NULL;
}

static int64_t latency_ns(const struct recorded_node *node, const struct lw_exchange *exchange)
{
    int64_t least_ns = lw_framing_t35_ns(&node->actor.framing);
    int64_t recorded_ns = exchange->reply_first_ns - exchange->sent_last_ns;
    bool known = exchange->reply_first_ns >= 0 && exchange->sent_last_ns >= 0;
    return known && !node->all->options.fast && recorded_ns > least_ns ? recorded_ns : least_ns;
}

static void plan_answer(struct recorded_node *node, const struct lw_pdu *reply, bool damaged,
                        int64_t after_ns)
{
    node->answer_count = lw_rtu_wrap(node->address, reply, node->answer);
    node->answer[node->answer_count - 1] ^= damaged ? 0xFF : 0;
    node->answer_ns = node->heard.last_ns + after_ns;
}

static void answer_recorded(struct recorded_node *node, struct question *question)
{
    const struct lw_exchange *exchange = question->asked[question->cursor];
    question->cursor = (question->cursor + 1) % question->count;
    const struct lw_pdu *good = good_answer(question);
    if (was_answered(exchange)) {
        plan_answer(node, &exchange->reply, false, latency_ns(node, exchange));
    } else if (exchange->outcome != LW_NO_ANSWER && good) {
        plan_answer(node, good, true, latency_ns(node, exchange));
    }
}

static bool covers(const struct lw_request *whole, const struct lw_request *part)
{
    return whole->function == part->function && whole->start <= part->start &&
           whole->start + whole->count >= part->start + part->count;
}

static void cut_out(const struct lw_reply *whole, size_t skip, struct lw_reply *part)
{
    if (part->function == LW_READ_COILS || part->function == LW_READ_INPUTS) {
        for (size_t i = 0; i < part->count; i++) {
            lw_bit_set(part->bits, i, lw_bit(whole->bits, skip + i));
        }
    } else {
        memcpy(part->values, whole->values + skip, part->count * sizeof(part->values[0]));
    }
}

// A read inside a larger recorded one. The larger one's cursor moves, as if it had been asked.
static bool answer_part(struct recorded_node *node, const struct lw_pdu *request)
{
    struct lw_request part, whole;
    struct lw_reply reply;
    if (lw_request_parse(request, &part) != 0 || part.function > LW_READ_INPUT_REGISTERS) {
        return false;
    }
    for (size_t i = 0; i < node->count; i++) {
        struct question *question = &node->questions[i];
        const struct lw_exchange *exchange = question->asked[question->cursor];
        if (exchange->outcome == LW_ANSWERED && lw_request_parse(&exchange->request, &whole) == 0 &&
            covers(&whole, &part) && lw_reply_parse(&exchange->request, &exchange->reply, &reply)) {
            struct lw_reply piece = {.function = part.function, .count = part.count};
            struct lw_pdu pdu;
            cut_out(&reply, part.start - whole.start, &piece);
            question->cursor = (question->cursor + 1) % question->count;
            if (lw_reply_build(&piece, &pdu)) {
                plan_answer(node, &pdu, false, latency_ns(node, exchange));
                return true;
            }
        }
    }
    return false;
}

static const struct lw_exchange *refusal(const struct recorded_node *node, int function,
                                         int exception)
{
    for (size_t i = 0; i < node->count; i++) {
        for (size_t k = 0; k < node->questions[i].count; k++) {
            const struct lw_exchange *exchange = node->questions[i].asked[k];
            if (exchange->outcome == LW_EXCEPTION &&
                (function < 0 || exchange->request.bytes[0] == function) &&
                (exception < 0 || exchange->exception == exception)) {
                return exchange;
            }
        }
    }
    return NULL;
}

static void answer_unknown(struct recorded_node *node, const struct lw_pdu *request)
{
    const struct lw_exchange *like = refusal(node, request->bytes[0], -1);
    like = like ? like : refusal(node, -1, LW_ILLEGAL_FUNCTION);
    if (like) {
        struct lw_pdu reply = {
            2, {(uint8_t)(request->bytes[0] | LW_EXCEPTION_BIT), like->reply.bytes[1]}};
        plan_answer(node, &reply, false, latency_ns(node, like));
    }
}

static void take_frame(struct recorded_node *node)
{
    uint8_t address = 0;
    struct lw_pdu request;
    bool whole = !node->heard.damaged && !node->heard.overrun &&
                 lw_rtu_unwrap(node->heard.bytes, node->heard.count, &address, &request);
    lw_framer_clear(&node->heard);
    if (!whole || address != node->address) {
        return;
    }
    struct question *question = question_of(node, &request);
    if (question) {
        answer_recorded(node, question);
    } else if (!answer_part(node, &request)) {
        answer_unknown(node, &request);
    }
}

static int64_t node_next(const struct lw_actor *actor)
{
    const struct recorded_node *node = (const struct recorded_node *)actor;
    return node->heard.due_ns < node->answer_ns ? node->heard.due_ns : node->answer_ns;
}

static void node_run(struct lw_actor *actor, int64_t now_ns)
{
    struct recorded_node *node = (struct recorded_node *)actor;
    if (lw_framer_due(&node->heard, actor, now_ns)) {
        take_frame(node);
    }
    if (node->answer_ns <= now_ns) {
        node->answer_ns = LW_NEVER;
        // Without memory the answer is lost, as on a line that was cut.
        (void)lw_wire_inject(node->all->wire, actor, node->answer, node->answer_count, now_ns, NULL,
                             NULL);
    }
}

static void node_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    struct recorded_node *node = (struct recorded_node *)actor;
    if (node->answer_ns == LW_NEVER && lw_framer_hear(&node->heard, &actor->framing, sound)) {
        take_frame(node);
        node_hear(actor, sound);
    }
}

static const struct lw_actor_ops node_actor = {node_next, node_run, node_hear};

static struct question *add_question(struct recorded_node *node, const struct lw_exchange *exchange)
{
    if (node->count == node->room) {
        size_t room = 2 * node->room + 4;
        struct question *more = realloc(node->questions, room * sizeof *more);
        if (!more) {
            return NULL;
        }
        node->questions = more;
        node->room = room;
    }
    struct question *question = &node->questions[node->count++];
    *question = (struct question){.first = exchange};
    return question;
}

static bool note(struct recorded_node *node, const struct lw_exchange *exchange)
{
    struct question *question = question_of(node, &exchange->request);
    question = question ? question : add_question(node, exchange);
    if (!question) {
        return false;
    }
    if (question->count == question->room) {
        size_t room = 2 * question->room + 4;
        const struct lw_exchange **more = realloc(question->asked, room * sizeof(*more));
        if (!more) {
            return false;
        }
        question->asked = more;
        question->room = room;
    }
    question->asked[question->count++] = exchange;
    return true;
}

static bool add_node(struct lw_recorded *recorded, uint8_t address)
{
    struct recorded_node *node = calloc(1, sizeof *node);
    if (!node) {
        return false;
    }
    recorded->nodes[address] = node;
    node->all = recorded;
    node->address = address;
    node->answer_ns = LW_NEVER;
    lw_framer_clear(&node->heard);
    node->actor = (struct lw_actor){
        .ops = &node_actor, .framing = recorded->options.framing, .key = address, .drive_v = 2.0};
    return lw_wire_add(recorded->wire, &node->actor, NULL) == LW_OK;
}

// A node that never answered is none: somebody asked an empty address.
static enum lw_status add_nodes(struct lw_recorded *recorded, const struct lw_exchange *exchanges,
                                size_t count, struct lw_error *error)
{
    size_t nodes = 0;
    for (size_t i = 0; i < count; i++) {
        uint8_t address = exchanges[i].address;
        if (address == 0 || address > LW_ADDRESS_MAX || !was_answered(&exchanges[i])) {
            continue;
        }
        nodes++;
        if (!recorded->nodes[address] && !add_node(recorded, address)) {
            return lw_fail(error, LW_MEMORY, "no memory for recorded nodes");
        }
    }
    if (nodes == 0) {
        return lw_fail(error, LW_USAGE, "nothing to replay: no node answers in this recording");
    }
    return LW_OK;
}

static enum lw_status take_exchanges(struct lw_recorded *recorded,
                                     const struct lw_exchange *exchanges, size_t count,
                                     struct lw_error *error)
{
    enum lw_status status = add_nodes(recorded, exchanges, count, error);
    for (size_t i = 0; i < count && status == LW_OK; i++) {
        const struct lw_exchange *exchange = &exchanges[i];
        bool known = exchange->address <= LW_ADDRESS_MAX && recorded->nodes[exchange->address];
        if (known && exchange->outcome != LW_NOT_SENT && exchange->request.count > 0 &&
            !note(recorded->nodes[exchange->address], exchange)) {
            status = lw_fail(error, LW_MEMORY, "no memory for recorded nodes");
        }
    }
    return status;
}

enum lw_status lw_recorded_new(const struct lw_exchange *exchanges, size_t count,
                               const struct lw_recorded_options *options,
                               struct lw_recorded **recorded, struct lw_error *error)
{
    struct lw_recorded *fresh = calloc(1, sizeof *fresh);
    if (!fresh) {
        return lw_fail(error, LW_MEMORY, "no memory for recorded nodes");
    }
    fresh->options = *options;
    enum lw_status status = lw_wire_new(0, options->utc_zero_ns, 1, &fresh->wire, error);
    if (status == LW_OK) {
        status = take_exchanges(fresh, exchanges, count, error);
    }
    if (status != LW_OK) {
        lw_recorded_free(fresh);
        return status;
    }
    *recorded = fresh;
    return LW_OK;
}

void lw_recorded_free(struct lw_recorded *recorded)
{
    if (!recorded) {
        return;
    }
    lw_wire_free(recorded->wire);
    for (size_t i = 0; i <= LW_ADDRESS_MAX; i++) {
        struct recorded_node *node = recorded->nodes[i];
        for (size_t k = 0; node && k < node->count; k++) {
            free(node->questions[k].asked);
        }
        if (node) {
            free(node->questions);
        }
        free(node);
    }
    free(recorded);
}

struct lw_wire *lw_recorded_wire(struct lw_recorded *recorded)
{
    return recorded->wire;
}

enum lw_status lw_recorded_port(struct lw_recorded *recorded, struct lw_line **line,
                                struct lw_error *error)
{
    return lw_wire_port(recorded->wire, &recorded->options.framing, recorded->options.cancel, line,
                        error);
}
