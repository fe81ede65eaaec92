// SPDX-License-Identifier: GPL-3.0-or-later
//
// Keys, signatures, what stands for a visit, and what is said when something was changed.
#include "base/list.h"
#include "site/verify.h"
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

static const char phrase[] = "a phrase for tests";
static const char *folder;
static struct lw_clock the_clock;
static struct lw_key key; // made once: sealing takes its time on purpose

static int make_key(void **state)
{
    (void)state;
    const char *place = site_folder_make();
    char path[LW_PATH];
    struct lw_error error = {0};
    lw_path_join(path, sizeof path, place, "key.json");
    if (lw_key_make(path, "E. Example", phrase, &error) != LW_OK ||
        lw_key_open(path, phrase, &key, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    assert_int_equal(lw_key_make(path, "E. Example", phrase, &error), LW_USAGE);
    struct lw_key other;
    assert_int_equal(lw_key_open(path, "another phrase", &other, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "wrong pass phrase"));
    site_folder_remove(place);
    return 0;
}

static int set_up(void **state)
{
    (void)state;
    int64_t utc_ns = 0;
    lw_time_parse("2026-11-25T08:05:00Z", &utc_ns);
    lw_clock_virtual(&the_clock, utc_ns);
    folder = site_folder_make();
    return rmdir(site_path(folder, "profiles"));
}

static int tear_down(void **state)
{
    (void)state;
    site_folder_remove(folder);
    return 0;
}

// For the number that was taken last.
static void append(struct lw_visit *visit, const char *check, char *result, bool simulated)
{
    struct lw_record record;
    struct lw_error error = {0};
    lw_json_init(&lw_record_shape, &record);
    record.format = lw_duplicate("linewalk/record/1");
    record.check = lw_duplicate(check);
    record.tool.name = lw_duplicate("linewalk");
    record.tool.version = lw_duplicate("0");
    record.started = lw_duplicate("2026-11-25T08:31:02Z");
    record.finished = lw_duplicate("2026-11-25T08:31:03Z");
    record.complete = true;
    record.result = result;
    if (simulated) {
        record.line = calloc(1, sizeof *record.line);
        record.line->on = lw_duplicate("sim:plan.json");
        record.line->simulated = true;
        record.line->listened_s = NAN;
    }
    if (lw_visit_append(visit, &record, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    lw_json_free(&lw_record_shape, &record);
}

static void add_record(struct lw_visit *visit, const char *check, char *result, bool simulated)
{
    struct lw_error error = {0};
    int number = 0;
    if (lw_visit_begin(visit, check, &number, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    append(visit, check, result, simulated);
}

static enum lw_status try_to_sign(struct lw_visit *visit, struct lw_error *error)
{
    struct lw_list records;
    struct lw_signature signature;
    struct lw_text json = {0};
    int broken = 0, number = 0;
    assert_int_equal(lw_visit_begin(visit, "signature", &number, error), LW_OK);
    assert_int_equal(lw_visit_records(visit, &records, &broken, error), LW_OK);
    enum lw_status status =
        lw_signature_make(visit, &records, broken, &key, "2026-11-25T09:00:00Z", &signature, error);
    if (status == LW_OK) {
        assert_int_equal(lw_json_write(&lw_signature_shape, &signature, false, &json, error),
                         LW_OK);
        lw_json_free(&lw_signature_shape, &signature);
        append(visit, "signature", json.bytes, false);
    }
    lw_records_free(&records);
    return status;
}

// A visit with three records, signed, and closed.
static void make_signed(struct lw_anchor *anchor)
{
    struct lw_visit visit;
    struct lw_error error = {0};
    assert_int_equal(lw_visit_open(folder, NULL, &the_clock, &visit, &error), LW_OK);
    add_record(&visit, "scan", lw_duplicate("{\"n\":1}"), false);
    add_record(&visit, "link", lw_duplicate("{\"n\":2}"), false);
    add_record(&visit, "noise", lw_duplicate("{\"n\":3}"), false);
    if (try_to_sign(&visit, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    if (anchor) {
        assert_int_equal(lw_anchor_of_visit(&visit, anchor, &error), LW_OK);
        lw_key_fingerprint(key.public_key, anchor->fingerprint);
    }
    lw_visit_close(&visit);
}

// All that verifying says, one thing a line; empty when nothing was changed.
static const char *verified(const struct lw_anchor *before)
{
    static char says[4000];
    struct lw_visit visit = {.lock.descriptor = -1};
    struct lw_verification verification;
    struct lw_error error = {0};
    size_t length = 0;
    lw_copy(visit.folder, sizeof visit.folder, folder);
    assert_int_equal(lw_visit_verify(&visit, before, &verification, &error), LW_OK);
    says[0] = '\0';
    const struct lw_change *changes = verification.changes.items;
    for (size_t i = 0; i < verification.changes.count; i++) {
        length += (size_t)snprintf(says + length, sizeof says - length, "%s\n", changes[i].what);
    }
    lw_verification_free(&verification);
    return says;
}

// Changes the first `from` in a file of the visit into `to`, of the same length.
static void spoil(const char *name, const char *from, const char *to)
{
    struct lw_text text = {0};
    assert_int_equal(lw_file_read(site_path(folder, name), 1 << 20, &text, NULL), LW_OK);
    char *at = strstr(text.bytes, from);
    assert_non_null(at);
    memcpy(at, to, strlen(to));
    assert_int_equal(lw_file_write(site_path(folder, name), text.bytes, text.length, NULL), LW_OK);
    lw_text_finish(&text);
}

static void a_signed_visit_that_nobody_touched_is_good(void **state)
{
    (void)state;
    struct lw_anchor anchor;
    make_signed(&anchor);
    assert_string_equal(verified(NULL), "");
    assert_string_equal(verified(&anchor), "");
    lw_anchor_free(&anchor);
}

static void a_changed_record_is_named(void **state)
{
    (void)state;
    make_signed(NULL);
    spoil("0002-link.json", "\"n\": 2", "\"n\": 7");
    assert_non_null(strstr(verified(NULL), "'0002-link.json' was changed after it was signed"));
    assert_non_null(strstr(verified(NULL), "signature of record 4"));
}

static void the_last_record_is_covered_too(void **state)
{
    (void)state;
    make_signed(NULL);
    spoil("0003-noise.json", "\"n\": 3", "\"n\": 4");
    assert_non_null(strstr(verified(NULL), "'0003-noise.json' was changed after it was signed"));
}

static void a_changed_opening_is_named(void **state)
{
    (void)state;
    make_signed(NULL);
    spoil("visit.json", "08:05:00", "08:06:00");
    assert_non_null(strstr(verified(NULL), "'visit.json' was changed after it was signed"));
}

static void a_removed_record_is_named(void **state)
{
    (void)state;
    make_signed(NULL);
    assert_int_equal(unlink(site_path(folder, "0001-scan.json")), 0);
    assert_non_null(strstr(verified(NULL), "'0001-scan.json' was removed after it was signed"));
}

static void records_in_another_order_are_named(void **state)
{
    (void)state;
    make_signed(NULL);
    assert_int_equal(rename(site_path(folder, "0001-scan.json"), site_path(folder, "x")), 0);
    char to[LW_PATH];
    lw_copy(to, sizeof to, site_path(folder, "0001-link.json"));
    assert_int_equal(rename(site_path(folder, "0002-link.json"), to), 0);
    lw_copy(to, sizeof to, site_path(folder, "0002-scan.json"));
    assert_int_equal(rename(site_path(folder, "x"), to), 0);
    const char *says = verified(NULL);
    assert_non_null(strstr(says, "does not hold the record that its name says"));
    assert_non_null(strstr(says, "'0001-link.json' was added"));
}

static void a_signature_is_good_for_nothing_with_another_signer_or_time_in_it(void **state)
{
    (void)state;
    make_signed(NULL);
    spoil("0004-signature.json", "E. Example", "F. Example");
    assert_non_null(strstr(verified(NULL), "does not fit its key"));
    spoil("0004-signature.json", "F. Example", "E. Example");
    assert_string_equal(verified(NULL), "");
    spoil("0004-signature.json", "09:00:00", "08:00:00");
    assert_non_null(strstr(verified(NULL), "does not fit its key"));
}

static void a_report_of_another_key_is_told(void **state)
{
    (void)state;
    struct lw_anchor anchor;
    make_signed(&anchor);
    memset(anchor.fingerprint, '0', 4);
    assert_non_null(strstr(verified(&anchor), "no signature here is of that key"));
    lw_anchor_free(&anchor);
}

static void a_chain_made_to_fit_again_is_told_by_the_report(void **state)
{
    (void)state;
    struct lw_anchor anchor;
    make_signed(&anchor);
    // The records again from the start, with another value and all digests right, not signed.
    const char *const names[] = {"0001-scan.json", "0002-link.json", "0003-noise.json",
                                 "0004-signature.json"};
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(unlink(site_path(folder, names[i])), 0);
    }
    struct lw_visit visit;
    assert_int_equal(lw_visit_open(folder, NULL, &the_clock, &visit, NULL), LW_OK);
    add_record(&visit, "scan", lw_duplicate("{\"n\":1}"), false);
    add_record(&visit, "link", lw_duplicate("{\"n\":8}"), false);
    add_record(&visit, "noise", lw_duplicate("{\"n\":3}"), false);
    lw_visit_close(&visit);
    assert_string_equal(verified(NULL), "");
    const char *says = verified(&anchor);
    assert_non_null(strstr(says, "'0002-link.json' was changed after the report was made"));
    assert_null(strstr(says, "'0001-scan.json'"));
    assert_non_null(strstr(says, "no signature here is of that key"));
    lw_anchor_free(&anchor);
}

static void a_signed_visit_takes_only_what_seals_it_again(void **state)
{
    (void)state;
    make_signed(NULL);
    struct lw_visit visit;
    struct lw_error error = {0};
    int number = 0;
    assert_int_equal(lw_visit_open(folder, NULL, &the_clock, &visit, &error), LW_OK);
    assert_int_equal(lw_visit_begin(&visit, "note", &number, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "signed (record 4)"));
    assert_non_null(strstr(error.says, "open a follow-up with linewalk visit"));
    add_record(&visit, "paper", lw_duplicate("{}"), false);
    assert_int_equal(try_to_sign(&visit, &error), LW_OK);
    lw_visit_close(&visit);
    assert_string_equal(verified(NULL), "");
}

static void what_proves_nothing_cannot_be_signed(void **state)
{
    (void)state;
    struct lw_visit visit;
    struct lw_error error = {0};
    assert_int_equal(lw_visit_open(folder, NULL, &the_clock, &visit, &error), LW_OK);
    assert_int_equal(try_to_sign(&visit, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "no records"));
    add_record(&visit, "scan", NULL, false);
    add_record(&visit, "link", NULL, true);
    assert_int_equal(try_to_sign(&visit, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "was made on a simulated line"));
    spoil("0002-scan.json", "\"0\"", "\"9\"");
    assert_int_equal(try_to_sign(&visit, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "do not fit together"));
    lw_visit_close(&visit);
}

static void an_anchor_reads_back_from_among_other_bytes(void **state)
{
    (void)state;
    struct lw_anchor anchor, found;
    struct lw_text text = {0};
    make_signed(&anchor);
    lw_text_add(&text, "%%PDF-1.5 linewalk-digest=no /Keywords (");
    lw_anchor_text(&anchor, &text);
    lw_text_add(&text, ") /Creator");
    assert_true(lw_anchor_find(text.bytes, text.length, &found));
    assert_string_equal(found.digest, anchor.digest);
    assert_string_equal(found.fingerprint, anchor.fingerprint);
    assert_int_equal(found.number, 3);
    assert_int_equal(found.files.count, 4);
    lw_anchor_free(&found);
    for (size_t cut = 0; cut < text.length; cut++) {
        if (lw_anchor_find(text.bytes, cut, &found)) {
            assert_string_equal(found.digest, anchor.digest);
            lw_anchor_free(&found);
        }
    }
    lw_text_finish(&text);
    lw_anchor_free(&anchor);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_signed_visit_that_nobody_touched_is_good, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(a_changed_record_is_named, set_up, tear_down),
        cmocka_unit_test_setup_teardown(the_last_record_is_covered_too, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_changed_opening_is_named, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_removed_record_is_named, set_up, tear_down),
        cmocka_unit_test_setup_teardown(records_in_another_order_are_named, set_up, tear_down),
        cmocka_unit_test_setup_teardown(
            a_signature_is_good_for_nothing_with_another_signer_or_time_in_it, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_report_of_another_key_is_told, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_chain_made_to_fit_again_is_told_by_the_report, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(a_signed_visit_takes_only_what_seals_it_again, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(what_proves_nothing_cannot_be_signed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(an_anchor_reads_back_from_among_other_bytes, set_up,
                                        tear_down),
    };
    return cmocka_run_group_tests(tests, make_key, NULL);
}
