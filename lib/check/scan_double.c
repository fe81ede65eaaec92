// SPDX-License-Identifier: GPL-3.0-or-later
//
// Two nodes at one address, or a disturbed line: both damage answers. Two nodes damage those in
// which they must differ far more often than anything else on the line; a disturbance damages all
// alike, long ones more than short ones.
#include "check/ask.h"
#include "check/scan_inside.h"
#include "modbus/pdu.h"
#include "stats/decide.h"
#include "stats/interval.h"

enum {
    DOUBLE_LOOKS = 3,  // reads of serial and live value at each node found
    CONTROL_LOOKS = 8, // reads that two like nodes answer alike, where something was damaged
};

// Of a damaged answer only its expected length is known: two bytes a register.
static double characters_of(const struct lw_exchange *exchange)
{
    size_t registers = exchange->request.bytes[4];
    size_t answer = exchange->reply.count > 0 ? exchange->reply.count : 2 + 2 * registers;
    return (double)(exchange->request.count + answer + 6);
}

void lw_scan_count(struct lw_scan_tally *tally, const struct lw_exchange *exchange)
{
    bool damaged = exchange->outcome == LW_CRC_ERROR || exchange->outcome == LW_WRONG_ANSWER;
    bool heard = damaged || exchange->outcome == LW_ANSWERED || exchange->outcome == LW_EXCEPTION;
    tally->heard += heard;
    tally->damaged += damaged;
    tally->characters += heard ? characters_of(exchange) : 0;
}

static void add(struct lw_scan_tally *sum, const struct lw_scan_tally *tally)
{
    sum->heard += tally->heard;
    sum->damaged += tally->damaged;
    sum->characters += tally->characters;
}

// What is damaged on this line for other reasons than two nodes at one address: all reads of the
// other addresses, and, beside telling ones, this address's own plain reads.
static struct lw_scan_tally usual_damage(const struct lw_scan_now *scan, int address, bool with_own)
{
    struct lw_scan_tally usual = {0};
    for (int i = 0; i < 256; i++) {
        if (i != address) {
            add(&usual, &scan->plain[i]);
            add(&usual, &scan->telling[i]);
        } else if (with_own) {
            add(&usual, &scan->plain[i]);
        }
    }
    return usual;
}

// Damaged more often than usual, by one-sided bounds of both: 95 %, shared among the nodes.
static bool stands_out(const struct lw_scan_now *scan, const struct lw_scan_tally *tally,
                       const struct lw_scan_tally *usual)
{
    struct lw_interval share = {0, 1}, other = {0, 1};
    double confidence = lw_decide_confidence((unsigned)scan->result->nodes.count + 1);
    if (tally->damaged < 2 || usual->heard == 0 ||
        lw_interval_clopper_pearson(LW_ONE_SIDED, confidence, tally->damaged, tally->heard, &share,
                                    NULL) != LW_OK ||
        lw_interval_clopper_pearson(LW_ONE_SIDED, 0.95, usual->damaged, usual->heard, &other,
                                    NULL) != LW_OK) {
        return false;
    }
    double longer = tally->characters / tally->heard / (usual->characters / usual->heard);
    return share.low > 1 - pow(1 - other.high, longer);
}

void lw_scan_judge_double(struct lw_scan_now *scan, int address)
{
    const struct lw_scan_tally beside = usual_damage(scan, address, true);
    const struct lw_scan_tally others = usual_damage(scan, address, false);
    scan->doubled[address] = stands_out(scan, &scan->telling[address], &beside) ||
                             stands_out(scan, &scan->plain[address], &others);
}

static enum lw_status control_looks(struct lw_scan_now *scan, int address)
{
    const struct lw_pdu request = lw_read_request(LW_READ_HOLDING, 0, 1);
    enum lw_status status = LW_OK;
    for (int i = 0; i < CONTROL_LOOKS && status == LW_OK; i++) {
        struct lw_exchange exchange;
        status = lw_scan_ask(scan, address, &request, &exchange);
        if (status == LW_OK) {
            lw_scan_note_late(scan, &exchange);
            lw_scan_count(&scan->plain[address], &exchange);
        }
    }
    return status;
}

// Two like nodes at one address answer in step, bit for bit, until they are asked for something in
// which they differ: serials and the low bits of a live value. Damage there, and none in what they
// answer alike, tells them from a disturbed line.
enum lw_status lw_scan_look_for_double(struct lw_scan_now *scan, struct lw_scan_node *node)
{
    int address = node->address;
    const struct lw_profile *profile = lw_scan_profile(scan, address);
    uint32_t roles = LW_ROLE_BIT(LW_ROLE_SERIAL) | LW_ROLE_BIT(LW_ROLE_READING) |
                     LW_ROLE_BIT(LW_ROLE_SAMPLE_COUNTER);
    struct lw_block blocks[LW_BLOCKS_MAX];
    size_t block_count = profile != NULL ? lw_registers_plan(profile, roles, blocks) : 0;
    if (block_count == 0) {
        blocks[0] = (struct lw_block){.function = LW_READ_INPUT_REGISTERS, .at = 0, .count = 4};
        block_count = 1;
    }
    for (size_t i = 0; i < block_count * DOUBLE_LOOKS; i++) {
        struct lw_pdu request = lw_block_request(&blocks[i % block_count]);
        struct lw_exchange exchange;
        enum lw_status status = lw_scan_ask(scan, address, &request, &exchange);
        if (status != LW_OK) {
            return status;
        }
        lw_scan_note_late(scan, &exchange);
        lw_scan_count(&scan->telling[address], &exchange);
    }
    return scan->telling[address].damaged > 0 ? control_looks(scan, address) : LW_OK;
}
