// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fuzz target: any bytes as each kind of file. Properties: what is read is written, and what was
// written reads back and is written to the same bytes; a plan that is taken gives a ladder of
// finite resistances at each end of the tolerances; a profile that is taken gives blocks that one
// read may ask for, and what its registers encode decodes again.
#include "fuzz.h"

#include "modbus/pdu.h"
#include "site/plan_inside.h"
#include "site/registers.h"
#include "site/shapes.h"
#include "site/visit.h"

#include <string.h>

static void written_reads_back(const struct lw_shape *shape, const void *object)
{
    static char again[4096];
    struct lw_text first = {0}, second = {0};
    struct lw_error error = {0};
    MUST(shape->size <= sizeof again);
    MUST(lw_json_write(shape, object, false, &first, &error) == LW_OK);
    MUST(lw_json_read(shape, first.bytes, first.length, again, &error) == LW_OK);
    MUST(lw_json_write(shape, again, false, &second, &error) == LW_OK);
    MUST(first.length == second.length && memcmp(first.bytes, second.bytes, first.length) == 0);
    lw_json_free(shape, again);
    lw_text_finish(&first);
    lw_text_finish(&second);
}

static void ladder_is_finite(const struct lw_plan *plan)
{
    for (enum lw_ladder_end end = LW_LADDER_VERDICT; end <= LW_LADDER_WORST; end++) {
        struct lw_ladder ladder;
        struct lw_error error = {0};
        MUST(lw_plan_ladder(plan, end, &ladder, &error) == LW_OK);
        for (size_t i = 0; i < ladder.tap_count; i++) {
            MUST(ladder.taps[i].span_plus_ohm >= 0 && ladder.taps[i].span_zero_ohm >= 0);
        }
        lw_ladder_free(&ladder);
    }
}

static void as_plan(const char *text, size_t size)
{
    struct lw_plan plan;
    if (lw_json_read(&lw_plan_shape, text, size, &plan, NULL) != LW_OK) {
        return;
    }
    written_reads_back(&lw_plan_shape, &plan);
    MUST(lw_plan_complete(&plan, NULL) == LW_OK);
    if (lw_plan_check(&plan, NULL) == LW_OK) {
        written_reads_back(&lw_plan_shape, &plan);
        ladder_is_finite(&plan);
    }
    lw_plan_free(&plan);
}

// Both ways over one register: what was decoded once is decoded the same from its own encoding.
static void register_goes_both_ways(const struct lw_register *reg, const struct lw_block *block,
                                    const char *text, size_t size)
{
    struct lw_pdu reply = {.count = 2 + 2 * (size_t)block->count};
    struct lw_value value, again;
    uint16_t words[128];
    if (reg->type == LW_BIT || reg->function != block->function || reply.count > LW_PDU_MAX) {
        return;
    }
    reply.bytes[0] = (uint8_t)block->function;
    reply.bytes[1] = (uint8_t)(2 * block->count);
    for (size_t i = 2; i < reply.count; i++) {
        reply.bytes[i] = (uint8_t)text[i % size];
    }
    if (lw_register_decode(reg, block, &reply, &value, NULL) != LW_OK || value.is_text ||
        reg->scale != 1 || reg->offset != 0) {
        return;
    }
    size_t count = lw_register_encode(reg, value.number, NULL, words, 128);
    for (size_t i = 0; i < count; i++) {
        size_t at = 2 + 2 * ((size_t)(reg->at - block->at) + i);
        reply.bytes[at] = (uint8_t)(words[i] >> 8);
        reply.bytes[at + 1] = (uint8_t)words[i];
    }
    MUST(lw_register_decode(reg, block, &reply, &again, NULL) == LW_OK);
    MUST(again.number == value.number);
}

static void registers_are_planned(const struct lw_profile *profile, const char *text, size_t size)
{
    struct lw_block blocks[LW_BLOCKS_MAX];
    const struct lw_register *items = profile->registers.items;
    size_t count = lw_registers_plan(profile, UINT32_MAX, blocks);
    MUST(count <= LW_BLOCKS_MAX);
    for (size_t i = 0; i < count; i++) {
        struct lw_request request;
        struct lw_pdu pdu = lw_block_request(&blocks[i]);
        MUST(lw_request_parse(&pdu, &request) == 0);
        for (size_t k = 0; k < profile->registers.count; k++) {
            register_goes_both_ways(&items[k], &blocks[i], text, size);
        }
    }
}

static void as_profile(const char *text, size_t size)
{
    struct lw_profile profile;
    if (lw_profile_read(text, size, "fuzz", &profile, NULL) == LW_OK) {
        written_reads_back(&lw_profile_shape, &profile);
        registers_are_planned(&profile, text, size);
        lw_json_free(&lw_profile_shape, &profile);
    }
}

static void as_record_and_visit(const char *text, size_t size)
{
    struct lw_record record;
    struct lw_visit_facts facts;
    if (lw_record_read(text, size, "fuzz", &record, NULL) == LW_OK) {
        written_reads_back(&lw_record_shape, &record);
        lw_json_free(&lw_record_shape, &record);
    }
    if (lw_json_read(&lw_visit_shape, text, size, &facts, NULL) == LW_OK) {
        written_reads_back(&lw_visit_shape, &facts);
        lw_json_free(&lw_visit_shape, &facts);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    const char *text = (const char *)bytes;
    if (size > 0) {
        as_plan(text, size);
        as_profile(text, size);
        as_record_and_visit(text, size);
    }
    return 0;
}
