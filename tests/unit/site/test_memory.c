// SPDX-License-Identifier: GPL-3.0-or-later
//
// Memory runs out at the first, the second, the third allocation, and so on until the call goes
// through: each time one clear status, and nothing leaked (the sanitizer build looks).
#include "base/list.h"
#include "site/visit.h"
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);

static int left = -1; // allocations that still succeed; negative: all

static bool refused(void)
{
    if (left > 0) {
        left--;
        return false;
    }
    return left == 0;
}

void *__wrap_malloc(size_t size)
{
    return refused() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return refused() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *old, size_t size)
{
    return refused() ? NULL : __real_realloc(old, size);
}

// Calls `step` with ever more memory until it succeeds; it may fail with LW_MEMORY alone.
static void until_it_succeeds(enum lw_status (*step)(struct lw_error *error))
{
    enum lw_status status = LW_MEMORY;
    int allocations = 0;
    for (; status != LW_OK; allocations++) {
        struct lw_error error = {0};
        left = allocations;
        status = step(&error);
        left = -1;
        if (status != LW_OK && status != LW_MEMORY) {
            fail_msg("%s: %s", lw_status_word(status), error.says);
        }
    }
    assert_true(allocations > 1);
}

static enum lw_status load_a_plan(struct lw_error *error)
{
    struct lw_plan plan;
    struct lw_inputs inputs = {0};
    enum lw_status status =
        lw_plan_load(TEST_DATA "/site/plan.json", NULL, NULL, &plan, &inputs, error);
    lw_inputs_free(&inputs);
    lw_plan_free(&plan);
    return status;
}

static void loading_a_plan_survives_without_memory(void **state)
{
    (void)state;
    until_it_succeeds(load_a_plan);
}

static enum lw_status load_profiles(struct lw_error *error)
{
    struct lw_list profiles;
    enum lw_status status = lw_profiles_load(TEST_DATA "/site/profiles", &profiles, NULL, error);
    lw_profiles_free(&profiles);
    return status;
}

static void loading_profiles_survives_without_memory(void **state)
{
    (void)state;
    until_it_succeeds(load_profiles);
}

static enum lw_status find_something(struct lw_error *error)
{
    struct lw_findings findings = {0};
    struct lw_finding *finding = lw_findings_add(&findings, "scan_missing", LW_FAIL, "missing");
    lw_finding_node(&findings, finding, "P01", 1, 1);
    lw_finding_because(&findings, finding, "it did not answer");
    lw_finding_span(&findings, finding, 1);
    enum lw_status status = lw_findings_check(&findings, error);
    lw_findings_free(&findings);
    return status;
}

static void findings_remember_that_something_was_lost(void **state)
{
    (void)state;
    until_it_succeeds(find_something);
}

static struct lw_plan the_plan;

static enum lw_status build_a_ladder(struct lw_error *error)
{
    struct lw_ladder ladder;
    enum lw_status status = lw_plan_ladder(&the_plan, LW_LADDER_WORST, &ladder, error);
    lw_ladder_free(&ladder);
    return status;
}

static void building_a_ladder_survives_without_memory(void **state)
{
    (void)state;
    struct lw_error error = {0};
    assert_int_equal(lw_plan_load(TEST_DATA "/site/plan.json", NULL, NULL, &the_plan, NULL, &error),
                     LW_OK);
    until_it_succeeds(build_a_ladder);
    lw_plan_free(&the_plan);
}

static const char *folder;

// A fresh folder for each try, since a try may leave a record.
static void start_afresh(void)
{
    int allocations = left;
    left = -1;
    if (folder != NULL) {
        site_folder_remove(folder);
    }
    folder = site_folder_make();
    assert_int_equal(remove(site_path(folder, "profiles")), 0);
    left = allocations;
}

// Opens the visit, keeps an input, adds a record and reads all back.
static enum lw_status use_a_visit(struct lw_error *error)
{
    struct lw_clock clock;
    struct lw_visit visit;
    struct lw_list records;
    struct lw_record record = {.format = (char[]){"linewalk/record/1"},
                               .check = (char[]){"visit"},
                               .tool = {(char[]){"linewalk"}, (char[]){"0"}},
                               .started = (char[]){"2026-11-25T08:31:02Z"},
                               .finished = (char[]){"2026-11-25T08:31:03Z"},
                               .result = (char[]){"{\"on\": \"x\", \"instruments\": [{\"id\": "
                                                  "\"DMM-3\"}]}"}};
    struct lw_input input = {.path = TEST_DATA "/site/plan.json"};
    char name[LW_PATH];
    int number = 0;
    start_afresh();
    lw_clock_virtual(&clock, 0);
    enum lw_status status = lw_file_digest(input.path, input.digest, error);
    if (status != LW_OK) {
        return status;
    }
    status = lw_visit_open(folder, NULL, &clock, &visit, error);
    if (status == LW_OK) {
        status = lw_visit_keep_input(&visit, &input, name, error);
    }
    if (status == LW_OK) {
        status = lw_visit_begin(&visit, "scan", &number, error);
    }
    if (status == LW_OK) {
        status = lw_visit_append(&visit, &record, error);
    }
    if (status == LW_OK) {
        status = lw_visit_records(&visit, &records, &number, error);
        lw_records_free(&records);
    }
    free(record.previous_sha256);
    lw_visit_close(&visit);
    return status;
}

static void using_a_visit_survives_without_memory(void **state)
{
    (void)state;
    until_it_succeeds(use_a_visit);
    site_folder_remove(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(loading_a_plan_survives_without_memory),
        cmocka_unit_test(loading_profiles_survives_without_memory),
        cmocka_unit_test(findings_remember_that_something_was_lost),
        cmocka_unit_test(building_a_ladder_survives_without_memory),
        cmocka_unit_test(using_a_visit_survives_without_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
