// SPDX-License-Identifier: GPL-3.0-or-later
//
// A visit's folder: opened, found, written to, and looked through for what does not fit.
#include "base/list.h"
#include "site/visit.h"
#include "site_test.h"

#include <errno.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static const char *folder;
static struct lw_clock the_clock;

static int set_up(void **state)
{
    (void)state;
    int64_t utc_ns = 0;
    lw_file_fail_after(-1, 0);
    lw_time_parse("2026-11-25T08:05:00Z", &utc_ns);
    lw_clock_virtual(&the_clock, utc_ns);
    folder = site_folder_make();
    return rmdir(site_path(folder, "profiles"));
}

static int tear_down(void **state)
{
    (void)state;
    lw_file_fail_after(-1, 0);
    site_folder_remove(folder);
    return 0;
}

static void open_visit(struct lw_visit *visit)
{
    struct lw_error error = {0};
    if (lw_visit_open(folder, NULL, &the_clock, visit, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
}

static void fill_record(struct lw_record *record, const char *check)
{
    lw_json_init(&lw_record_shape, record);
    record->format = lw_duplicate("linewalk/record/1");
    record->check = lw_duplicate(check);
    record->tool.name = lw_duplicate("linewalk");
    record->tool.version = lw_duplicate("0");
    record->started = lw_duplicate("2026-11-25T08:31:02.118Z");
    record->finished = lw_duplicate("2026-11-25T08:31:03Z");
    record->complete = true;
}

static int append(struct lw_visit *visit, const char *check, const char *result)
{
    struct lw_record record;
    struct lw_error error = {0};
    int number = 0;
    fill_record(&record, check);
    record.result = lw_duplicate(result);
    if (lw_visit_begin(visit, check, &number, &error) != LW_OK ||
        lw_visit_append(visit, &record, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    assert_int_equal(record.number, number);
    lw_json_free(&lw_record_shape, &record);
    return number;
}

// The first record that does not fit, and why.
static int broken(const struct lw_visit *visit, char *says, size_t size)
{
    struct lw_list records;
    struct lw_error error = {0};
    int number = -1;
    assert_int_equal(lw_visit_records(visit, &records, &number, &error), LW_OK);
    lw_error_text(&error, says, size);
    lw_records_free(&records);
    return number;
}

static void opening_an_empty_folder_makes_a_visit(void **state)
{
    (void)state;
    struct lw_visit visit;
    open_visit(&visit);
    assert_string_equal(visit.facts.opened, "2026-11-25T08:05:00Z");
    assert_null(visit.facts.engineer);
    lw_visit_close(&visit);
    the_clock.fixed_ns = INT64_C(3600000000000);
    open_visit(&visit); // and again: never rewritten
    assert_string_equal(visit.facts.opened, "2026-11-25T08:05:00Z");
    lw_visit_close(&visit);
}

static void opening_makes_the_folder_and_keeps_what_is_known(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_visit_facts facts;
    char engineer[] = "E. Example";
    lw_json_init(&lw_visit_shape, &facts);
    facts.engineer = engineer;
    const char *path = site_path(folder, "new/one");
    assert_int_equal(lw_visit_open(path, &facts, &the_clock, &visit, NULL), LW_OK);
    assert_string_equal(visit.facts.engineer, "E. Example");
    lw_visit_close(&visit);
}

static void folder_with_other_files_is_no_visit(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_error error = {0};
    site_put(folder, "holiday.jpg", "x");
    assert_int_equal(lw_visit_open(folder, NULL, &the_clock, &visit, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "is no visit"));
}

static void example_visit_reads(void **state)
{
    (void)state;
    struct lw_visit visit;
    char *text = site_data("visit.json");
    site_put(folder, "visit.json", text);
    open_visit(&visit);
    assert_string_equal(visit.facts.company, "Example Field Service");
    assert_int_equal(visit.facts.instruments.count, 1);
    assert_true(((struct lw_instrument *)visit.facts.instruments.items)->u == 0.005);
    lw_visit_close(&visit);
    free(text);
}

static void wrong_visit_is_refused_with_its_pointer(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_error error = {0};
    char *text = site_data("visit.json");
    char *changed = site_changed(text, "2027-03-01", "soon");
    site_put(folder, "visit.json", changed);
    assert_int_equal(lw_visit_open(folder, NULL, &the_clock, &visit, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "/instruments/0/due_on: must be a date"));
    free(text);
    free(changed);
}

static void visit_is_found_from_a_folder_inside_it(void **state)
{
    (void)state;
    struct lw_visit visit;
    bool found = false;
    open_visit(&visit);
    lw_visit_close(&visit);
    assert_int_equal(lw_folder_make(site_path(folder, "inputs/deep"), NULL), LW_OK);
    assert_int_equal(lw_visit_find(site_path(folder, "inputs/deep"), &visit, &found, NULL), LW_OK);
    assert_true(found);
    assert_string_equal(visit.folder, folder);
    lw_visit_close(&visit);
    assert_int_equal(lw_visit_find("/", &visit, &found, NULL), LW_OK);
    assert_false(found);
    lw_visit_close(&visit);
}

static void records_are_chained_by_the_digest_of_the_file_before(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_list records;
    int number = -1;
    char digest[LW_DIGEST];
    open_visit(&visit);
    assert_int_equal(append(&visit, "scan", "{}"), 1);
    assert_int_equal(append(&visit, "link", "{}"), 2);
    lw_visit_end(&visit);
    assert_int_equal(lw_visit_records(&visit, &records, &number, NULL), LW_OK);
    assert_int_equal(number, 0);
    assert_int_equal(records.count, 2);
    const struct lw_record *items = records.items;
    lw_file_digest(site_path(folder, "visit.json"), digest, NULL);
    assert_string_equal(items[0].previous_sha256, digest);
    lw_file_digest(site_path(folder, "0001-scan.json"), digest, NULL);
    assert_string_equal(items[1].previous_sha256, digest);
    lw_records_free(&records);
    lw_visit_close(&visit);
}

static void another_command_goes_on_where_the_last_one_ended(void **state)
{
    (void)state;
    struct lw_visit visit;
    char says[600];
    open_visit(&visit);
    append(&visit, "scan", "{}");
    lw_visit_close(&visit);
    open_visit(&visit);
    assert_int_equal(append(&visit, "roster", "{}"), 2);
    assert_int_equal(broken(&visit, says, sizeof says), 0);
    lw_visit_close(&visit);
}

static void number_of_a_command_that_left_only_a_capture_is_not_used_again(void **state)
{
    (void)state;
    struct lw_visit visit;
    char says[600];
    open_visit(&visit);
    append(&visit, "scan", "{}");
    site_put(folder, "0007-link.pcapng", "x");
    site_put(folder, "notes.txt", "x");
    assert_int_equal(append(&visit, "link", "{}"), 8);
    assert_int_equal(broken(&visit, says, sizeof says), 0);
    lw_visit_close(&visit);
}

static void number_taken_and_not_used_is_not_given_again(void **state)
{
    (void)state;
    struct lw_visit visit;
    int number = 0;
    open_visit(&visit);
    assert_int_equal(lw_visit_begin(&visit, "scan", &number, NULL), LW_OK);
    assert_int_equal(number, 1);
    assert_int_equal(append(&visit, "scan", "{}"), 2);
    lw_visit_close(&visit);
}

static void second_command_at_once_is_refused(void **state)
{
    (void)state;
    struct lw_visit first, second;
    struct lw_error error = {0};
    char says[600];
    int number = 0;
    open_visit(&first);
    open_visit(&second);
    assert_int_equal(lw_visit_begin(&first, "scan", &number, NULL), LW_OK);
    assert_int_equal(lw_visit_begin(&second, "scan", &number, &error), LW_SYSTEM);
    lw_error_text(&error, says, sizeof says);
    assert_non_null(strstr(says, "visit '"));
    assert_non_null(strstr(says, "is in use"));
    lw_visit_end(&first);
    assert_int_equal(lw_visit_begin(&second, "scan", &number, NULL), LW_OK);
    lw_visit_close(&first);
    lw_visit_close(&second);
}

static void changed_record_is_found_by_the_one_after_it(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_text text = {0};
    char says[600];
    open_visit(&visit);
    append(&visit, "scan", "{\"asked\": 247}");
    append(&visit, "link", "{}");
    append(&visit, "noise", "{}");
    assert_int_equal(lw_file_read(site_path(folder, "0001-scan.json"), 1 << 20, &text, NULL),
                     LW_OK);
    char *changed = site_changed(text.bytes, "247", "246");
    site_put(folder, "0001-scan.json", changed);
    assert_int_equal(broken(&visit, says, sizeof says), 2);
    assert_non_null(strstr(says, "record 2: '0002-link.json' does not follow the file before it"));
    free(changed);
    lw_text_finish(&text);
    lw_visit_close(&visit);
}

static void removed_record_is_found(void **state)
{
    (void)state;
    struct lw_visit visit;
    char says[600];
    open_visit(&visit);
    append(&visit, "scan", "{}");
    append(&visit, "link", "{}");
    append(&visit, "noise", "{}");
    assert_int_equal(unlink(site_path(folder, "0002-link.json")), 0);
    assert_int_equal(broken(&visit, says, sizeof says), 3);
    lw_visit_close(&visit);
}

static void spoilt_record_is_named_and_the_others_still_read(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_list records;
    struct lw_error error = {0};
    int number = 0;
    open_visit(&visit);
    append(&visit, "scan", "{}");
    append(&visit, "link", "{}");
    site_put(folder, "0001-scan.json", "{");
    assert_int_equal(lw_visit_records(&visit, &records, &number, &error), LW_OK);
    assert_int_equal(number, 1);
    assert_int_equal(records.count, 1);
    lw_records_free(&records);
    lw_visit_close(&visit);
}

static void file_beside_a_record_that_was_changed_is_found(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_record record;
    char says[600], digest[LW_DIGEST];
    int number = 0;
    open_visit(&visit);
    assert_int_equal(lw_visit_begin(&visit, "scan", &number, NULL), LW_OK);
    site_put(folder, "0001-noise.csv", "time_s,node,value\n");
    lw_file_digest(site_path(folder, "0001-noise.csv"), digest, NULL);
    fill_record(&record, "noise");
    struct lw_record_file *file = lw_list_add(&record.files, sizeof *file);
    file->name = lw_duplicate("0001-noise.csv");
    file->sha256 = lw_duplicate(digest);
    assert_int_equal(lw_visit_append(&visit, &record, NULL), LW_OK);
    lw_json_free(&lw_record_shape, &record);
    assert_int_equal(broken(&visit, says, sizeof says), 0);
    site_put(folder, "0001-noise.csv", "time_s,node,value\n1,P01,2\n");
    assert_int_equal(broken(&visit, says, sizeof says), 1);
    assert_non_null(strstr(says, "'0001-noise.csv' was changed after it was written"));
    lw_visit_close(&visit);
}

static void name_that_leads_out_of_the_visit_is_not_followed(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_record record;
    char says[600];
    int number = 0;
    open_visit(&visit);
    assert_int_equal(lw_visit_begin(&visit, "scan", &number, NULL), LW_OK);
    fill_record(&record, "noise");
    struct lw_record_file *file = lw_list_add(&record.files, sizeof *file);
    file->name = lw_duplicate("../elsewhere.csv");
    file->sha256 = lw_duplicate("0");
    assert_int_equal(lw_visit_append(&visit, &record, NULL), LW_OK);
    lw_json_free(&lw_record_shape, &record);
    assert_int_equal(broken(&visit, says, sizeof says), 1);
    assert_non_null(strstr(says, "'../elsewhere.csv' does not lie in the visit"));
    lw_visit_close(&visit);
}

static void record_added_by_hand_is_found(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_text text = {0};
    char says[600];
    open_visit(&visit);
    append(&visit, "scan", "{}");
    assert_int_equal(lw_file_read(site_path(folder, "0001-scan.json"), 1 << 20, &text, NULL),
                     LW_OK);
    site_put(folder, "0001-link.json", text.bytes); // sorts before it
    assert_int_equal(broken(&visit, says, sizeof says), 1);
    lw_text_finish(&text);
    lw_visit_close(&visit);
}

static void inputs_are_kept_once_under_their_digest(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_input input;
    char name[LW_PATH], again[LW_PATH];
    struct lw_error error = {0};
    open_visit(&visit);
    const char *from = TEST_DATA "/site/plan.json";
    lw_copy(input.path, sizeof input.path, from);
    assert_int_equal(lw_file_digest(from, input.digest, NULL), LW_OK);
    assert_int_equal(lw_visit_keep_input(&visit, &input, name, NULL), LW_OK);
    assert_int_equal(strncmp(name, "inputs/", 7), 0);
    assert_int_equal(strncmp(name + 7, input.digest, 8), 0);
    assert_string_equal(name + 15, "-plan.json");
    char digest[LW_DIGEST];
    assert_int_equal(lw_file_digest(site_path(folder, name), digest, NULL), LW_OK);
    assert_string_equal(digest, input.digest);
    assert_int_equal(lw_visit_keep_input(&visit, &input, again, NULL), LW_OK);
    assert_string_equal(name, again);
    site_put(folder, name, "{}");
    assert_int_equal(lw_visit_keep_input(&visit, &input, again, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "was changed after it was kept"));
    lw_visit_close(&visit);
}

static void input_that_changes_while_it_is_used_is_refused(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_input input = {.digest = "0000"};
    char name[LW_PATH];
    struct lw_error error = {0};
    open_visit(&visit);
    lw_copy(input.path, sizeof input.path, TEST_DATA "/site/plan.json");
    assert_int_equal(lw_visit_keep_input(&visit, &input, name, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "was changed while it was used"));
    lw_visit_close(&visit);
}

// Keeps a file and adds it to the record's inputs.
static void keep(struct lw_visit *visit, struct lw_record *record, const char *path)
{
    struct lw_input input;
    char name[LW_PATH];
    lw_copy(input.path, sizeof input.path, path);
    assert_int_equal(lw_file_digest(path, input.digest, NULL), LW_OK);
    assert_int_equal(lw_visit_keep_input(visit, &input, name, NULL), LW_OK);
    struct lw_record_file *file = lw_list_add(&record->inputs, sizeof *file);
    file->name = lw_duplicate(name);
    file->sha256 = lw_duplicate(input.digest);
}

static void plan_of_a_visit_comes_from_its_own_copies(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_record record;
    struct lw_list records;
    struct lw_plan plan;
    struct lw_inputs inputs = {0};
    struct lw_error error = {0};
    char name[LW_PATH];
    int number = 0;
    bool found = false;
    open_visit(&visit);
    assert_int_equal(lw_visit_begin(&visit, "scan", &number, NULL), LW_OK);
    fill_record(&record, "supply");
    keep(&visit, &record, TEST_DATA "/site/profiles/example-probe.json");
    keep(&visit, &record, TEST_DATA "/site/plan.json");
    assert_int_equal(lw_visit_append(&visit, &record, NULL), LW_OK);
    lw_json_free(&lw_record_shape, &record);
    append(&visit, "note", "{}");

    assert_int_equal(lw_visit_records(&visit, &records, &number, NULL), LW_OK);
    if (lw_visit_plan(&visit, &records, &plan, &inputs, &found, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    assert_true(found);
    assert_int_equal(lw_plan_nodes(&plan), 4);
    assert_string_equal(lw_plan_tap(&plan, 1)->is->name, "example-probe");
    assert_int_equal(inputs.count, 2);
    // What is used again from there is not copied under a second name.
    assert_int_equal(lw_visit_keep_input(&visit, &inputs.items[0], name, NULL), LW_OK);
    const struct lw_record_file *kept = ((struct lw_record *)records.items)[0].inputs.items;
    assert_string_equal(name, kept[1].name);
    lw_plan_free(&plan);
    lw_inputs_free(&inputs);
    lw_records_free(&records);
    lw_visit_close(&visit);
}

static void visit_without_a_plan_says_so(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_list records;
    struct lw_plan plan;
    int number = 0;
    bool found = true;
    open_visit(&visit);
    append(&visit, "scan", "{}");
    assert_int_equal(lw_visit_records(&visit, &records, &number, NULL), LW_OK);
    assert_int_equal(lw_visit_plan(&visit, &records, &plan, NULL, &found, NULL), LW_OK);
    assert_false(found);
    lw_records_free(&records);
    lw_visit_close(&visit);
}

static void later_visit_records_override_what_was_said_at_the_opening(void **state)
{
    (void)state;
    struct lw_visit visit;
    char *text = site_data("visit.json");
    site_put(folder, "visit.json", text);
    open_visit(&visit);
    append(&visit, "visit", "{\"on\": \"/dev/ttyUSB0\"}");
    append(&visit, "visit",
           "{\"on\": \"/dev/ttyUSB1\", \"engineer\": \"A. Sample\", \"instruments\": "
           "[{\"id\": \"DMM-3\", \"due_on\": \"2028-01-01\"}, {\"id\": \"DMM-4\"}]}");
    lw_visit_close(&visit);
    open_visit(&visit);
    assert_string_equal(visit.facts.on, "/dev/ttyUSB1");
    assert_string_equal(visit.facts.engineer, "A. Sample");
    assert_string_equal(visit.facts.company, "Example Field Service");
    assert_int_equal(visit.facts.instruments.count, 2);
    const struct lw_instrument *items = visit.facts.instruments.items;
    assert_string_equal(items[0].due_on, "2028-01-01");
    assert_string_equal(items[1].id, "DMM-4");
    lw_visit_close(&visit);
    free(text);
}

static void last_record_of_a_check_prefers_a_whole_one_when_asked(void **state)
{
    (void)state;
    struct lw_record items[3] = {{.check = (char[]){"link"}, .number = 1, .complete = true},
                                 {.check = (char[]){"scan"}, .number = 2, .complete = true},
                                 {.check = (char[]){"link"}, .number = 3}};
    struct lw_list records = {items, 3};
    assert_int_equal(lw_records_last(&records, "link", false)->number, 3);
    assert_int_equal(lw_records_last(&records, "link", true)->number, 1);
    assert_null(lw_records_last(&records, "noise", true));
}

// Every system call made to fail in turn, as on a full disk: a clear line, no half record, and the
// visit goes on afterwards.
static void full_disk_leaves_the_visit_whole(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_record record;
    struct lw_error error = {0};
    char says[600];
    int number = 0, calls = 0;
    open_visit(&visit);
    append(&visit, "scan", "{}");
    assert_int_equal(lw_visit_begin(&visit, "scan", &number, NULL), LW_OK);
    fill_record(&record, "link");
    for (bool done = false; !done; calls++) {
        lw_file_fail_after(calls, ENOSPC);
        enum lw_status status = lw_visit_append(&visit, &record, &error);
        lw_file_fail_after(-1, 0);
        done = status == LW_OK;
        if (!done) {
            assert_int_equal(status, LW_SYSTEM);
            lw_error_text(&error, says, sizeof says);
            assert_non_null(strstr(says, "No space left on device"));
            assert_false(lw_file_exists(site_path(folder, "0002-link.json")));
            assert_int_equal(broken(&visit, says, sizeof says), 0);
        }
    }
    assert_true(calls > 2);
    assert_int_equal(broken(&visit, says, sizeof says), 0);
    lw_json_free(&lw_record_shape, &record);
    lw_visit_close(&visit);
}

static void full_disk_at_the_opening_says_so(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_error error = {0};
    enum lw_status status = LW_SYSTEM;
    for (int calls = 0; status != LW_OK; calls++) {
        lw_file_fail_after(calls, EACCES);
        status = lw_visit_open(folder, NULL, &the_clock, &visit, &error);
        lw_file_fail_after(-1, 0);
        assert_true(status == LW_OK || status == LW_SYSTEM);
        assert_true(status == LW_OK || strstr(error.says, "Permission denied") != NULL);
    }
    lw_visit_close(&visit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(opening_an_empty_folder_makes_a_visit, set_up, tear_down),
        cmocka_unit_test_setup_teardown(opening_makes_the_folder_and_keeps_what_is_known, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(folder_with_other_files_is_no_visit, set_up, tear_down),
        cmocka_unit_test_setup_teardown(example_visit_reads, set_up, tear_down),
        cmocka_unit_test_setup_teardown(wrong_visit_is_refused_with_its_pointer, set_up, tear_down),
        cmocka_unit_test_setup_teardown(visit_is_found_from_a_folder_inside_it, set_up, tear_down),
        cmocka_unit_test_setup_teardown(records_are_chained_by_the_digest_of_the_file_before,
                                        set_up, tear_down),
        cmocka_unit_test_setup_teardown(another_command_goes_on_where_the_last_one_ended, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(
            number_of_a_command_that_left_only_a_capture_is_not_used_again, set_up, tear_down),
        cmocka_unit_test_setup_teardown(number_taken_and_not_used_is_not_given_again, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(second_command_at_once_is_refused, set_up, tear_down),
        cmocka_unit_test_setup_teardown(changed_record_is_found_by_the_one_after_it, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(removed_record_is_found, set_up, tear_down),
        cmocka_unit_test_setup_teardown(spoilt_record_is_named_and_the_others_still_read, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(file_beside_a_record_that_was_changed_is_found, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(name_that_leads_out_of_the_visit_is_not_followed, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(record_added_by_hand_is_found, set_up, tear_down),
        cmocka_unit_test_setup_teardown(inputs_are_kept_once_under_their_digest, set_up, tear_down),
        cmocka_unit_test_setup_teardown(input_that_changes_while_it_is_used_is_refused, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(plan_of_a_visit_comes_from_its_own_copies, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(visit_without_a_plan_says_so, set_up, tear_down),
        cmocka_unit_test_setup_teardown(later_visit_records_override_what_was_said_at_the_opening,
                                        set_up, tear_down),
        cmocka_unit_test(last_record_of_a_check_prefers_a_whole_one_when_asked),
        cmocka_unit_test_setup_teardown(full_disk_leaves_the_visit_whole, set_up, tear_down),
        cmocka_unit_test_setup_teardown(full_disk_at_the_opening_says_so, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
