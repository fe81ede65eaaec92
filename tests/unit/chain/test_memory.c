// SPDX-License-Identifier: GPL-3.0-or-later
//
// Chains and recorded nodes with the first allocation refused, then the second, and so on until the
// call succeeds: a clean error each time, and under the address sanitizer nothing leaked.
#include "chain/recorded.h"

#include "fixture.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *block, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *block, size_t size);

static int allocations_left = -1; // negative: none is refused

static bool refused(void)
{
    if (allocations_left > 0) {
        allocations_left--;
    }
    return allocations_left == 0;
}

void *__wrap_malloc(size_t size)
{
    return refused() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return refused() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *block, size_t size)
{
    return refused() ? NULL : __real_realloc(block, size);
}

static const struct fixture_plan wanted = {
    .probes = 3, .loops = 1, .virtually = ", \"faults\": [{\"kind\": \"foreign_controller\"}]"};

static void a_chain_is_built_whole_or_not_at_all(void **state)
{
    (void)state;
    struct fixture fixture;
    fixture_open(&fixture, &wanted, NULL);
    int refusals = 0;
    struct lw_chain *chain = NULL;
    struct lw_error error = {0};
    enum lw_status status = LW_MEMORY;
    while (status != LW_OK) {
        allocations_left = ++refusals;
        status = lw_chain_new(&fixture.plan, NULL, &chain, &error);
        allocations_left = -1;
        if (status != LW_OK) {
            assert_int_equal(status, LW_MEMORY);
            assert_int_equal(error.status, LW_MEMORY);
            assert_null(chain);
        }
    }
    assert_true(refusals > 20);
    lw_chain_free(chain);
    fixture_close(&fixture);
}

static void a_port_is_opened_or_not_and_a_send_says_when_it_cannot(void **state)
{
    (void)state;
    struct fixture fixture;
    struct lw_line *line = NULL;
    const uint8_t bytes[] = {1, 2, 3};
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    for (int i = 1; i <= 2; i++) {
        allocations_left = i;
        enum lw_status status = lw_chain_port(fixture.chain, NULL, &line, NULL);
        allocations_left = -1;
        assert_int_equal(status, LW_MEMORY);
        assert_null(line);
    }
    allocations_left = 1;
    enum lw_status status = lw_line_send(fixture.line, bytes, sizeof bytes, NULL, NULL, NULL);
    allocations_left = -1;
    assert_int_equal(status, LW_MEMORY);
    fixture_close(&fixture);
}

static void a_node_without_memory_is_silent_and_answers_later(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_piece piece;
    const uint8_t request[] = {1, 4, 0, 0, 0, 2, 0x71, 0xCB};
    uint8_t heard[16];
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    lw_line_send(fixture.line, request, sizeof request, NULL, NULL, NULL);
    allocations_left = 1;
    enum lw_status status =
        lw_line_receive(fixture.line, 200000000, heard, sizeof heard, &piece, NULL);
    allocations_left = -1;
    assert_int_equal(status, LW_OK);
    assert_int_equal(piece.count, 0);
    ask_registers(fixture.line, 1, 4, 0, 2, &answer);
    assert_true(answer.whole);
    fixture_close(&fixture);
}

static void recorded_nodes_are_built_whole_or_not_at_all(void **state)
{
    (void)state;
    struct lw_exchange exchanges[8] = {0};
    const struct lw_recorded_options options = {.framing = {19200, 8, 'E', 1}};
    struct lw_recorded *recorded = NULL;
    for (uint8_t i = 0; i < 8; i++) {
        exchanges[i] = (struct lw_exchange){.address = 1 + i % 2,
                                            .outcome = LW_ANSWERED,
                                            .request = {5, {4, 0, i, 0, 1}},
                                            .reply = {4, {4, 2, 0, i}}};
    }
    int refusals = 0;
    enum lw_status status = LW_MEMORY;
    while (status != LW_OK) {
        allocations_left = ++refusals;
        status = lw_recorded_new(exchanges, 8, &options, &recorded, NULL);
        allocations_left = -1;
        assert_true(status == LW_OK || (status == LW_MEMORY && recorded == NULL));
    }
    assert_true(refusals > 10);
    lw_recorded_free(recorded);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_chain_is_built_whole_or_not_at_all),
        cmocka_unit_test(a_port_is_opened_or_not_and_a_send_says_when_it_cannot),
        cmocka_unit_test(a_node_without_memory_is_silent_and_answers_later),
        cmocka_unit_test(recorded_nodes_are_built_whole_or_not_at_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
