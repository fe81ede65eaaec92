// SPDX-License-Identifier: GPL-3.0-or-later
//
// Every public call of the floor that takes memory, with the first allocation refused, then the
// second, and so on until the call succeeds. The linker puts the allocations of the library in the
// hands of this test; the JSON parser's are reached through its own hook. Under the address
// sanitizer this also proves that nothing leaks on the way out.
#include "base/csv.h"
#include "base/file.h"
#include "base/list.h"
#include "sample.h"

#include <cjson/cJSON.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <unistd.h>

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

// Runs the call with the n-th and all later allocations refused, n counting up, and checks that it
// fails as it should at least `least` times before it succeeds.
static void fail_each(enum lw_status (*call)(struct lw_error *error), int least)
{
    enum lw_status status = LW_MEMORY;
    int n = 0;
    while (status != LW_OK) {
        struct lw_error error = {0};
        allocations_left = ++n;
        status = call(&error);
        allocations_left = -1;
        if (status != LW_OK) {
            assert_int_equal(status, LW_MEMORY);
            assert_int_equal(error.status, LW_MEMORY);
            assert_non_null(strstr(error.says, "out of memory"));
        }
    }
    assert_true(n > least);
}

static enum lw_status read_sample(struct lw_error *error)
{
    struct sample sample, zero;
    memset(&zero, 0, sizeof zero);
    enum lw_status status =
        lw_json_read(&sample_shape, sample_full, sizeof sample_full - 1, &sample, error);
    if (status != LW_OK) {
        assert_memory_equal(&sample, &zero, sizeof sample);
    }
    lw_json_free(&sample_shape, &sample);
    return status;
}

static struct sample kept;

static enum lw_status write_sample(struct lw_error *error)
{
    struct lw_text text = {0};
    enum lw_status status = lw_json_write(&sample_shape, &kept, true, &text, error);
    lw_text_finish(&text);
    return status;
}

static enum lw_status write_schema(struct lw_error *error)
{
    struct lw_text text = {0};
    enum lw_status status = lw_json_schema(&sample_shape, "sample", &text, error);
    lw_text_finish(&text);
    return status;
}

static enum lw_status read_readings(struct lw_error *error)
{
    static const char file[] = "# unit: mm\ntime_s,node,value\n0,P01,1\n0,P02,2\n";
    struct lw_series series;
    enum lw_status status = lw_csv_readings(file, sizeof file - 1, "a", NULL, &series, error);
    assert_true(status == LW_OK || series.names == NULL);
    lw_series_finish(&series);
    return status;
}

static enum lw_status add_readings(struct lw_error *error)
{
    struct lw_series series = {0};
    enum lw_status status = LW_OK;
    for (int i = 0; i < 600 && status == LW_OK; i++) {
        char name[8];
        lw_print(name, sizeof name, "%d", i % 100);
        struct lw_reading reading = {.time_s = i, .node = name, .value = i};
        status = lw_series_add(&series, &reading, error);
    }
    lw_series_finish(&series);
    return status;
}

static enum lw_status read_file(struct lw_error *error)
{
    struct lw_text text = {0};
    enum lw_status status = lw_file_read("/proc/self/exe", 100000000, &text, error);
    lw_text_finish(&text);
    return status;
}

static enum lw_status create_file(struct lw_error *error)
{
    struct lw_file *file = NULL;
    enum lw_status status = lw_file_create("/dev/null", &file, error);
    lw_file_close(file, NULL, NULL);
    return status;
}

static enum lw_status list_names(struct lw_error *error)
{
    struct lw_list names;
    enum lw_status status = lw_folder_names("/", &names, error);
    assert_true(status == LW_OK || names.items == NULL);
    lw_names_free(&names);
    return status;
}

static void reading_json_survives(void **state)
{
    (void)state;
    cJSON_Hooks ours = {__wrap_malloc, free};
    cJSON_InitHooks(&ours);
    fail_each(read_sample, 40);
    cJSON_InitHooks(NULL);
}

static void writing_json_survives(void **state)
{
    (void)state;
    assert_int_equal(lw_json_read(&sample_shape, sample_full, sizeof sample_full - 1, &kept, NULL),
                     LW_OK);
    fail_each(write_sample, 5);
    lw_json_free(&sample_shape, &kept);
    fail_each(write_schema, 5);
}

static void readings_survive(void **state)
{
    (void)state;
    fail_each(read_readings, 5);
    fail_each(add_readings, 100);
}

static void files_and_folders_survive(void **state)
{
    (void)state;
    fail_each(read_file, 1);
    fail_each(create_file, 1);
    fail_each(list_names, 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reading_json_survives),
        cmocka_unit_test(writing_json_survives),
        cmocka_unit_test(readings_survive),
        cmocka_unit_test(files_and_folders_survive),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
