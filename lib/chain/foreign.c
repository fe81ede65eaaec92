// SPDX-License-Identifier: GPL-3.0-or-later
//
// A master that somebody left on the line: it polls its nodes in a fixed cycle and does not listen
// whether anybody else is sending.
#include "chain/inside.h"
#include "modbus/frame.h"
#include "site/registers.h"

#include <assert.h>

static const double default_cycle_ms = 500, answer_time_s = 0.1;

static int64_t foreign_next(const struct lw_actor *actor)
{
    return ((const struct lw_foreign *)actor)->next_ns;
}

static size_t address_count(const struct lw_foreign *foreign)
{
    size_t given = foreign->fault->addresses.count;
    return given > 0 ? given : foreign->chain->tap_count;
}

static uint8_t address_at(const struct lw_foreign *foreign, size_t index)
{
    if (foreign->fault->addresses.count > 0) {
        return (uint8_t)((const double *)foreign->fault->addresses.items)[index];
    }
    const struct lw_node *node = &foreign->chain->nodes[index];
    return node->profile ? (uint8_t)node->entry->address : 1;
}

// It reads what the plan's node at that address measures; of an unknown node, two input registers.
static void request_for(const struct lw_foreign *foreign, uint8_t address, struct lw_pdu *pdu)
{
    struct lw_request request = {.function = LW_READ_INPUT_REGISTERS, .count = 2};
    for (size_t i = 0; i < foreign->chain->tap_count; i++) {
        const struct lw_node *node = &foreign->chain->nodes[i];
        const struct lw_register *reg = NULL;
        if (node->profile && node->entry->address == address) {
            reg = lw_profile_register(node->profile, LW_ROLE_READING);
        }
        if (reg) {
            request.function = (uint8_t)reg->function;
            request.start = (uint16_t)reg->at;
            request.count = (uint16_t)lw_register_words(reg);
        }
    }
    if (!lw_request_build(&request, pdu)) {
        *pdu = (struct lw_pdu){5, {LW_READ_INPUT_REGISTERS, 0, 0, 0, 2}};
    }
}

static void foreign_run(struct lw_actor *actor, int64_t now_ns)
{
    struct lw_foreign *foreign = (struct lw_foreign *)actor;
    int64_t cycle_start_ns = now_ns / foreign->cycle_ns * foreign->cycle_ns;
    if (!lw_fault_now(foreign->fault, now_ns)) {
        foreign->next_ns = LW_NEVER;
        return;
    }
    if (foreign->asked == address_count(foreign)) {
        foreign->asked = 0;
        foreign->next_ns = cycle_start_ns + foreign->cycle_ns;
        return;
    }
    struct lw_pdu pdu;
    uint8_t frame[LW_RTU_MAX];
    uint8_t address = address_at(foreign, foreign->asked++);
    request_for(foreign, address, &pdu);
    size_t count = lw_rtu_wrap(address, &pdu, frame);
    int64_t last_ns = now_ns;
    (void)lw_wire_inject(foreign->chain->wire, actor, frame, count, now_ns, &last_ns, NULL);
    foreign->next_ns = last_ns + (int64_t)(answer_time_s * 1e9);
}

// An answer: the next request follows after the silence between frames.
static void foreign_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    struct lw_foreign *foreign = (struct lw_foreign *)actor;
    if (foreign->asked > 0 && foreign->next_ns != LW_NEVER) {
        foreign->next_ns = sound->last_ns + 2 * lw_framing_t35_ns(&actor->framing);
    }
}

static const struct lw_actor_ops foreign_actor = {foreign_next, foreign_run, foreign_hear};

void lw_foreign_init(struct lw_foreign *foreign, struct lw_chain *chain,
                     const struct lw_fault *fault)
{
    struct lw_framing framing = chain->plan->framing;
    if (fault->framing) {
        (void)lw_framing_parse(fault->framing, &framing, NULL); // the plan's, when it is none
    }
    double cycle_ms = fault->cycle_ms > 0 ? fault->cycle_ms : default_cycle_ms;
    int64_t now_ns = lw_wire_now_ns(chain->wire);
    int64_t from_ns = lw_fault_edge_ns(fault->from_s);
    *foreign = (struct lw_foreign){
        .actor = {.ops = &foreign_actor,
                  .framing = framing,
                  .key = lw_random_word("foreign controller"),
                  .drive_v = 2.0},
        .chain = chain,
        .fault = fault,
        .cycle_ns = (int64_t)(cycle_ms * 1e6),
        .next_ns = from_ns > now_ns ? from_ns : now_ns,
    };
    if (!lw_fault_now(fault, foreign->next_ns)) {
        foreign->next_ns = LW_NEVER;
    }
}
