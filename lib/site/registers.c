// SPDX-License-Identifier: GPL-3.0-or-later
//
// Block reads over the registers that are wanted. Neighbours travel together: a request costs eight
// characters and two silences however little it asks for, so reading over a small gap is cheaper
// than asking twice.
#include "site/registers.h"

#include "modbus/pdu.h"

#include <assert.h>
#include <stddef.h>

enum { GAP_MAX = 8 };

static int block_limit(int function)
{
    return function <= LW_READ_INPUTS ? LW_READ_BITS_MAX : LW_READ_REGISTERS_MAX;
}

size_t lw_register_words(const struct lw_register *reg)
{
    switch ((enum lw_register_type)reg->type) {
    case LW_U32:
    case LW_I32:
    case LW_F32:
        return 2;
    case LW_REGISTER_TEXT:
        return ((size_t)reg->length + 1) / 2;
    case LW_U16:
    case LW_I16:
    case LW_BIT:
        return 1;
    }
    return 1;
}

static int end_of(const struct lw_register *reg)
{
    return reg->at + (int)lw_register_words(reg);
}

static bool is_wanted(const struct lw_register *reg, uint32_t roles)
{
    return reg->role != LW_ROLE_NONE && (roles & (UINT32_C(1) << reg->role)) != 0 &&
           !reg->clears_on_read;
}

// True when a register that clears on reading lies in from..to (to excluded).
static bool clears_within(const struct lw_profile *profile, int function, int from, int to)
{
    const struct lw_register *items = profile->registers.items;
    for (size_t i = 0; i < profile->registers.count; i++) {
        if (items[i].clears_on_read && items[i].function == function && items[i].at < to &&
            end_of(&items[i]) > from) {
            return true;
        }
    }
    return false;
}

// The wanted register that comes next behind (function, at); NULL at the end.
static const struct lw_register *next_wanted(const struct lw_profile *profile, uint32_t roles,
                                             const struct lw_register *behind)
{
    const struct lw_register *items = profile->registers.items;
    const struct lw_register *next = NULL;
    for (size_t i = 0; i < profile->registers.count; i++) {
        const struct lw_register *reg = &items[i];
        bool later = !behind || reg->function > behind->function ||
                     (reg->function == behind->function &&
                      (reg->at > behind->at || (reg->at == behind->at && reg > behind)));
        bool sooner = !next || reg->function < next->function ||
                      (reg->function == next->function && reg->at < next->at);
        if (is_wanted(reg, roles) && later && sooner) {
            next = reg;
        }
    }
    return next;
}

static bool joins(const struct lw_profile *profile, const struct lw_block *block,
                  const struct lw_register *reg)
{
    int end = block->at + block->count;
    return reg->function == block->function && reg->at - end <= GAP_MAX &&
           end_of(reg) - block->at <= block_limit(reg->function) &&
           !clears_within(profile, reg->function, end, reg->at);
}

size_t lw_registers_plan(const struct lw_profile *profile, uint32_t roles,
                         struct lw_block blocks[LW_BLOCKS_MAX])
{
    assert(profile && blocks);
    size_t count = 0;
    const struct lw_register *reg = next_wanted(profile, roles, NULL);
    for (; reg; reg = next_wanted(profile, roles, reg)) {
        struct lw_block *last = count > 0 ? &blocks[count - 1] : NULL;
        if (last && joins(profile, last, reg)) {
            int end = end_of(reg) - last->at;
            last->count = end > last->count ? end : last->count;
        } else if (count < LW_BLOCKS_MAX) {
            blocks[count++] =
                (struct lw_block){reg->function, reg->at, (int)lw_register_words(reg)};
        }
    }
    return count;
}

struct lw_pdu lw_block_request(const struct lw_block *block)
{
    assert(block->function >= 1 && block->function <= 4);
    return (struct lw_pdu){.count = 5,
                           .bytes = {(uint8_t)block->function, (uint8_t)(block->at >> 8),
                                     (uint8_t)block->at, (uint8_t)(block->count >> 8),
                                     (uint8_t)block->count}};
}
