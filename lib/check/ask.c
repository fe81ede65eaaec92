// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reading a node by the roles of its registers. Blocks are read in the order of the plan of reads;
// a node that stays silent at the first block is not asked for the others, since each silence costs
// the whole waiting time.
#include "check/ask.h"

struct lw_pdu lw_read_request(int function, int at, int count)
{
    struct lw_pdu pdu = {.count = 5};
    pdu.bytes[0] = (uint8_t)function;
    pdu.bytes[1] = (uint8_t)(at >> 8);
    pdu.bytes[2] = (uint8_t)at;
    pdu.bytes[3] = (uint8_t)(count >> 8);
    pdu.bytes[4] = (uint8_t)count;
    return pdu;
}

static bool block_holds(const struct lw_block *block, const struct lw_register *reg)
{
    return block->function == reg->function && reg->at >= block->at &&
           (size_t)reg->at + lw_register_words(reg) <= (size_t)block->at + (size_t)block->count;
}

static void decode_block(const struct lw_profile *profile, uint32_t roles,
                         const struct lw_block *block, const struct lw_pdu *reply,
                         struct lw_node_values *values)
{
    const struct lw_register *regs = profile->registers.items;
    for (size_t i = 0; i < profile->registers.count; i++) {
        int role = regs[i].role;
        if (!(roles & LW_ROLE_BIT(role)) || values->have[role] || !block_holds(block, &regs[i])) {
            continue;
        }
        values->have[role] =
            lw_register_decode(&regs[i], block, reply, &values->value[role], NULL) == LW_OK;
    }
}

static void count_outcome(struct lw_node_values *values, enum lw_outcome outcome)
{
    values->asked++;
    values->answered += outcome == LW_ANSWERED;
    values->exceptions += outcome == LW_EXCEPTION;
    values->silent += outcome == LW_NO_ANSWER;
    values->damaged += outcome == LW_CRC_ERROR || outcome == LW_WRONG_ANSWER;
}

enum lw_status lw_ask_roles(struct lw_client *client, const struct lw_profile *profile,
                            uint8_t address, uint32_t roles, struct lw_node_values *values,
                            struct lw_error *error)
{
    *values = (struct lw_node_values){0};
    struct lw_block blocks[LW_BLOCKS_MAX];
    size_t count = lw_registers_plan(profile, roles, blocks);
    for (size_t i = 0; i < count; i++) {
        struct lw_pdu request = lw_block_request(&blocks[i]);
        enum lw_status status = lw_client_exchange(client, address, &request, &values->last, error);
        if (status != LW_OK) {
            return status;
        }
        count_outcome(values, values->last.outcome);
        if (values->last.outcome == LW_ANSWERED) {
            decode_block(profile, roles, &blocks[i], &values->last.reply, values);
        } else if (values->last.outcome == LW_NO_ANSWER) {
            break;
        }
    }
    return LW_OK;
}

enum lw_status lw_ask_settle(struct lw_client *client, const struct lw_exchange *exchange,
                             struct lw_error *error)
{
    enum { SETTLE_MS = 600 };
    return exchange->outcome == LW_NO_ANSWER ? lw_client_wait(client, SETTLE_MS / 1e3, error)
                                             : LW_OK;
}

enum lw_status lw_ask_identity(struct lw_client *client, uint8_t address, uint8_t level,
                               struct lw_identity *identity, struct lw_error *error)
{
    *identity = (struct lw_identity){0};
    enum lw_identity_step step = LW_IDENTITY_MORE;
    while (step == LW_IDENTITY_MORE) {
        struct lw_pdu request;
        struct lw_exchange exchange;
        lw_identity_request(level, identity->next, &request);
        enum lw_status status = lw_client_exchange(client, address, &request, &exchange, error);
        if (status != LW_OK) {
            return status;
        }
        if (exchange.outcome != LW_ANSWERED) {
            return lw_ask_settle(client, &exchange, error);
        }
        step = lw_identity_add(identity, &request, &exchange.reply);
    }
    return LW_OK;
}

char *lw_identity_text(const struct lw_identity *identity, uint8_t id)
{
    size_t length = 0;
    const uint8_t *bytes = lw_identity_get(identity, id, &length);
    if (bytes == NULL) {
        return NULL;
    }
    char text[3 * LW_OBJECT_MAX + 1];
    lw_text_clean(text, sizeof text, (const char *)bytes, length);
    return lw_duplicate(text);
}

double lw_slowest_reply_s(const struct lw_plan *plan)
{
    double slowest_ms = 0;
    for (size_t tap = 1; plan != NULL && tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        slowest_ms = fmax(slowest_ms, lw_plan_limits(plan, tap).reply_ms); // passes over NAN
        slowest_ms = fmax(slowest_ms, entry->is != NULL ? entry->is->timing.slowest_reply_ms : 0);
    }
    return slowest_ms > 0 ? slowest_ms / 1e3 : 0.050;
}

unsigned lw_status_mask(const struct lw_profile *profile, enum lw_bit_meaning meaning)
{
    const struct lw_status_bit *bits = profile->status_bits.items;
    for (size_t i = 0; i < profile->status_bits.count; i++) {
        if (bits[i].meaning == (int)meaning) {
            return 1u << bits[i].bit;
        }
    }
    return 0;
}
