// SPDX-License-Identifier: GPL-3.0-or-later
//
// Plans from a few numbers, and a master that knows nothing but how to ask.
#include "fixture.h"

#include "base/text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <unistd.h>

#include <cmocka.h>

static const char strong_supply[] =
    "[{\"name\": \"PS1\", \"nominal_v\": 24.0, \"output_ohm\": 0.02, \"limit_a\": 20, "
    "\"feeds_tap\": 1}]";
static const char short_span[] = "{\"length_m\": 0.5, \"conductor\": {\"area_mm2\": 0.5}}";

static const char *kind_at(const struct fixture_plan *wanted, size_t index)
{
    if (index < wanted->probes) {
        return "probe";
    }
    return index < wanted->probes + wanted->loops ? "loop" : "air";
}

static void write_plan(const struct fixture_plan *wanted, struct lw_text *text)
{
    lw_text_add(text, "{\"format\": \"linewalk/plan/1\", \"line\": {\"framing\": \"%s\"%s},",
                wanted->framing ? wanted->framing : "19200/8E1", wanted->line ? wanted->line : "");
    lw_text_add(text, "\"supplies\": %s,", wanted->supplies ? wanted->supplies : strong_supply);
    lw_text_add(text, "\"span_default\": %s, \"chain\": [",
                wanted->span ? wanted->span : short_span);
    for (size_t i = 0; i < wanted->probes + wanted->loops + wanted->airs; i++) {
        lw_text_add(text,
                    "%s{\"node\": \"P%02zu\", \"profile\": \"example-%s\", \"address\": %zu, "
                    "\"serial\": \"%zu\"}",
                    i > 0 ? "," : "", i + 1, kind_at(wanted, i), i + 1, 100001 + i);
    }
    lw_text_add(text, "], \"virtual\": {\"seed\": 7%s}}",
                wanted->virtually ? wanted->virtually : "");
}

void fixture_open(struct fixture *fixture, const struct fixture_plan *wanted,
                  const struct lw_chain_options *options)
{
    char path[] = "/tmp/linewalk-chain-XXXXXX";
    struct lw_text text = {0};
    struct lw_error error = {0};
    *fixture = (struct fixture){0};
    write_plan(wanted, &text);
    int descriptor = mkstemp(path);
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, text.bytes, text.length), (ssize_t)text.length);
    close(descriptor);
    lw_text_finish(&text);
    enum lw_status status = lw_plan_load(path, CHAIN_PROFILES, NULL, &fixture->plan, NULL, &error);
    unlink(path);
    if (status != LW_OK) {
        fail_msg("plan: %s", error.says);
    }
    if (lw_chain_new(&fixture->plan, options, &fixture->chain, &error) != LW_OK) {
        fail_msg("chain: %s", error.says);
    }
    assert_int_equal(lw_chain_port(fixture->chain, NULL, &fixture->line, &error), LW_OK);
}

void fixture_close(struct fixture *fixture)
{
    lw_chain_free(fixture->chain);
    lw_plan_free(&fixture->plan);
}

static void collect(struct lw_line *line, int64_t deadline_ns, struct answer *answer)
{
    struct lw_piece piece;
    do {
        assert_int_equal(lw_line_receive(line, deadline_ns, answer->bytes + answer->count,
                                         sizeof answer->bytes - answer->count, &piece, NULL),
                         LW_OK);
        if (piece.count > 0) {
            answer->first_ns = answer->count == 0 ? piece.first_ns : answer->first_ns;
            answer->last_ns = piece.last_ns;
            answer->flags |= piece.flags;
            answer->count += piece.count;
            deadline_ns = piece.last_ns + lw_framing_t35_ns(&line->framing);
        }
    } while (piece.count > 0 && answer->count < sizeof answer->bytes);
    answer->whole = lw_rtu_unwrap(answer->bytes, answer->count, &answer->address, &answer->pdu);
}

void listen_ms(struct lw_line *line, double ms, struct answer *answer)
{
    *answer = (struct answer){0};
    collect(line, lw_clock_now_ns(line->clock) + (int64_t)(ms * 1e6), answer);
}

void ask(struct lw_line *line, uint8_t address, const struct lw_pdu *request, double wait_ms,
         struct answer *answer)
{
    uint8_t frame[LW_RTU_MAX];
    struct answer before;
    listen_ms(line, 2.1, &before);
    *answer = (struct answer){0};
    size_t count = lw_rtu_wrap(address, request, frame);
    assert_int_equal(lw_line_send(line, frame, count, NULL, &answer->sent_last_ns, NULL), LW_OK);
    collect(line, answer->sent_last_ns + (int64_t)(wait_ms * 1e6), answer);
}

void ask_registers(struct lw_line *line, uint8_t address, uint8_t function, uint16_t at,
                   uint16_t count, struct answer *answer)
{
    struct lw_pdu pdu;
    struct lw_request request = {.function = function, .start = at, .count = count};
    assert_true(lw_request_build(&request, &pdu));
    ask(line, address, &pdu, 100, answer);
}

uint16_t word_of(const struct answer *answer, size_t index)
{
    assert_true(answer->whole && answer->pdu.count >= 2 + 2 * (index + 1));
    const uint8_t *at = answer->pdu.bytes + 2 + 2 * index;
    return (uint16_t)(at[0] << 8 | at[1]);
}

double float_of(const struct answer *answer, size_t index)
{
    uint32_t bits = (uint32_t)word_of(answer, index) << 16 | word_of(answer, index + 1);
    float value;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}
