// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which pictures a report shows: those that are what the record says, and as many as it takes in.
#include "report/album.h"

#include "base/file.h"
#include "base/list.h"
#include "report/report.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

enum { HEIGHT_AT = 7, WIDTH_AT = 9, FILES_MOST = 64 };

// 16 by 8 points in grey: what ITU-T T.81, annex B asks for before a scan.
static const unsigned char frame[] = {0xFF, 0xD8, 0xFF, 0xC0, 0, 11, 8, 0, 8, 0, 16, 1, 1,
                                      0x11, 0,    0xFF, 0xDA, 0, 8,  1, 1, 0, 0, 63, 0};

struct bench {
    char folder[40];
    struct lw_list album, records;
    struct lw_record record;
    struct lw_record_file files[FILES_MOST];
    char names[FILES_MOST][32], digests[FILES_MOST][LW_DIGEST];
};

static int set_up(void **state)
{
    struct bench *bench = calloc(1, sizeof *bench);
    if (bench == NULL) {
        return -1;
    }
    lw_copy(bench->folder, sizeof bench->folder, "/tmp/linewalk-test-XXXXXX");
    bench->record.files = (struct lw_list){bench->files, 0};
    bench->records = (struct lw_list){&bench->record, 1};
    *state = bench;
    return mkdtemp(bench->folder) != NULL ? 0 : -1;
}

static int tear_down(void **state)
{
    struct bench *bench = *state;
    for (size_t i = 0; i < bench->record.files.count; i++) {
        char path[LW_PATH];
        lw_path_join(path, sizeof path, bench->folder, bench->names[i]);
        unlink(path);
    }
    rmdir(bench->folder);
    lw_album_finish(&bench->album);
    free(bench);
    return 0;
}

static void write_file(struct bench *bench, size_t index, const struct lw_text *bytes)
{
    char path[LW_PATH];
    struct lw_error error = {0};
    lw_path_join(path, sizeof path, bench->folder, bench->names[index]);
    assert_int_equal(lw_file_write(path, bytes->bytes, bytes->length, &error), LW_OK);
}

static void make_picture(struct lw_text *bytes, size_t length, int width, int height)
{
    lw_text_put(bytes, (const char *)frame, sizeof frame);
    while (bytes->length + 2 < length) {
        lw_text_put(bytes, "*", 1);
    }
    lw_text_put(bytes, "\xFF\xD9", 2);
    bytes->bytes[HEIGHT_AT] = (char)(height >> 8);
    bytes->bytes[HEIGHT_AT + 1] = (char)height;
    bytes->bytes[WIDTH_AT] = (char)(width >> 8);
    bytes->bytes[WIDTH_AT + 1] = (char)width;
}

// A picture that a record keeps; the bytes are freed.
static size_t keep(struct bench *bench, struct lw_text *bytes)
{
    size_t index = bench->record.files.count++;
    lw_print(bench->names[index], sizeof bench->names[index], "%04zu-note.jpg", index);
    lw_digest(bytes->bytes, bytes->length, bench->digests[index]);
    bench->files[index] = (struct lw_record_file){bench->names[index], bench->digests[index]};
    write_file(bench, index, bytes);
    lw_text_finish(bytes);
    return index;
}

static size_t keep_picture(struct bench *bench, size_t length, int width, int height)
{
    struct lw_text bytes = {0};
    make_picture(&bytes, length, width, height);
    return keep(bench, &bytes);
}

static enum lw_album_state take(struct bench *bench, size_t index)
{
    struct lw_error error = {0};
    assert_int_equal(lw_album_take(&bench->album, bench->folder, &bench->records,
                                   bench->names[index], bench->digests[index], &error),
                     LW_OK);
    return lw_album_find(&bench->album, bench->names[index])->state;
}

static void a_recorded_picture_is_held_byte_by_byte(void **state)
{
    struct bench *bench = *state;
    size_t index = keep_picture(bench, 100, 16, 8);
    assert_int_equal(take(bench, index), LW_ALBUM_SHOWN);
    const struct lw_album_picture *held = lw_album_find(&bench->album, bench->names[index]);
    char digest[LW_DIGEST];
    lw_digest(held->bytes.bytes, held->bytes.length, digest);
    assert_string_equal(digest, bench->digests[index]);
    assert_int_equal(held->frame.width_px, 16);
    assert_int_equal(held->frame.height_px, 8);
    assert_int_equal(lw_album_count_bad(&bench->album), 0);
    assert_null(lw_album_find(&bench->album, "other.jpg"));
    assert_null(lw_album_find(&bench->album, NULL));
}

static void a_changed_a_missing_and_a_damaged_picture_are_told_apart(void **state)
{
    struct bench *bench = *state;
    struct lw_text bytes = {0};
    size_t changed = keep_picture(bench, 100, 16, 8);
    make_picture(&bytes, 101, 16, 8);
    write_file(bench, changed, &bytes);
    lw_text_finish(&bytes);
    assert_int_equal(take(bench, changed), LW_ALBUM_CHANGED);

    size_t missing = keep_picture(bench, 100, 16, 8);
    char path[LW_PATH];
    lw_path_join(path, sizeof path, bench->folder, bench->names[missing]);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(take(bench, missing), LW_ALBUM_MISSING);

    lw_text_put(&bytes, "no picture", 10);
    assert_int_equal(take(bench, keep(bench, &bytes)), LW_ALBUM_DAMAGED);
    assert_int_equal(lw_album_count_bad(&bench->album), 3);
}

static void a_file_that_no_record_keeps_is_not_read(void **state)
{
    struct bench *bench = *state;
    struct lw_error error = {0};
    size_t index = keep_picture(bench, 100, 16, 8);
    const char *names[] = {"other.jpg", bench->names[index]};
    const char *digests[] = {bench->digests[index], "00"};
    for (size_t i = 0; i < 2; i++) {
        struct lw_list album = {0};
        assert_int_equal(
            lw_album_take(&album, bench->folder, &bench->records, names[i], digests[i], &error),
            LW_OK);
        assert_int_equal(lw_album_find(&album, names[i])->state, LW_ALBUM_CHANGED);
        lw_album_finish(&album);
    }
}

static void a_picture_outside_the_visit_is_not_read(void **state)
{
    struct bench *bench = *state;
    size_t index = keep_picture(bench, 100, 16, 8);
    struct lw_error error = {0};
    struct lw_list album = {0};
    char outside[LW_PATH];
    lw_print(outside, sizeof outside, "%s/%s", bench->folder, bench->names[index]);
    bench->files[index].name = outside;
    assert_int_equal(lw_album_take(&album, bench->folder, &bench->records, outside,
                                   bench->digests[index], &error),
                     LW_OK);
    assert_int_equal(lw_album_find(&album, outside)->state, LW_ALBUM_CHANGED);
    lw_album_finish(&album);
}

static void a_picture_too_large_for_a_report_lies_beside_it(void **state)
{
    struct bench *bench = *state;
    assert_int_equal(take(bench, keep_picture(bench, LW_ALBUM_PICTURE_BYTES, 16, 8)),
                     LW_ALBUM_SHOWN);
    size_t index = keep_picture(bench, LW_ALBUM_PICTURE_BYTES + 1, 16, 8);
    assert_int_equal(take(bench, index), LW_ALBUM_BEYOND);
    assert_int_equal(take(bench, keep_picture(bench, 100, 10000, 5000)), LW_ALBUM_SHOWN);
    assert_int_equal(take(bench, keep_picture(bench, 101, 10000, 5001)), LW_ALBUM_BEYOND);
    assert_int_equal(take(bench, keep_picture(bench, 102, 30001, 1)), LW_ALBUM_BEYOND);
    assert_int_equal(lw_album_count_bad(&bench->album), 0);

    struct lw_text bytes = {0};
    size_t changed = keep_picture(bench, LW_ALBUM_PICTURE_BYTES + 2, 16, 8);
    make_picture(&bytes, LW_ALBUM_PICTURE_BYTES + 3, 16, 8);
    write_file(bench, changed, &bytes);
    lw_text_finish(&bytes);
    assert_int_equal(take(bench, changed), LW_ALBUM_CHANGED);
}

static void pictures_beyond_the_number_or_the_sum_lie_beside_the_report(void **state)
{
    struct bench *bench = *state;
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(take(bench, keep_picture(bench, LW_ALBUM_PICTURE_BYTES - i * 100, 16, 8)),
                         LW_ALBUM_SHOWN);
    }
    // 300 bytes are left
    assert_int_equal(take(bench, keep_picture(bench, 301, 16, 8)), LW_ALBUM_BEYOND);
    assert_int_equal(take(bench, keep_picture(bench, 300, 16, 8)), LW_ALBUM_SHOWN);
    lw_album_finish(&bench->album);
    for (size_t i = 0; i < LW_ALBUM_PICTURES; i++) {
        assert_int_equal(take(bench, keep_picture(bench, 400 + i, 16, 8)), LW_ALBUM_SHOWN);
    }
    assert_int_equal(take(bench, keep_picture(bench, 500, 16, 8)), LW_ALBUM_BEYOND);
}

static void the_page_says_in_one_line_why_a_picture_is_not_there(void **state)
{
    struct bench *bench = *state;
    struct lw_document document = {0};
    struct lw_text html = {0};
    struct lw_error error = {0};
    size_t shown = keep_picture(bench, 100, 16, 8), missing = keep_picture(bench, 101, 16, 8);
    char path[LW_PATH];
    lw_path_join(path, sizeof path, bench->folder, bench->names[missing]);
    assert_int_equal(unlink(path), 0);
    lw_document_begin(&document, "Report", "Cell", "en");
    for (size_t i = shown; i <= missing; i++) {
        take(bench, i);
        lw_album_show(&document, &bench->album, bench->names[i], "a <loose> clamp");
        lw_album_excuse(&document, &bench->album, bench->names[i]);
    }
    assert_int_equal(lw_report_html(&document, &html, &error), LW_OK);
    assert_non_null(strstr(html.bytes, "form-action 'none'; img-src data:; style-src 'sha256-"));
    assert_non_null(strstr(html.bytes,
                           "<img alt=\"Photograph: a &#60;loose&#62; clamp\" "
                           "width=\"16\" height=\"8\" src=\"data:image/jpeg;base64,/9"));
    assert_non_null(strstr(html.bytes, "0000-note.jpg, SHA-256 "));
    assert_non_null(
        strstr(html.bytes, "<p>Picture 0001-note.jpg is not shown: the file is missing.</p>"));
    lw_text_finish(&html);
    lw_document_finish(&document);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_recorded_picture_is_held_byte_by_byte, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_changed_a_missing_and_a_damaged_picture_are_told_apart,
                                        set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_file_that_no_record_keeps_is_not_read, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_picture_outside_the_visit_is_not_read, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_picture_too_large_for_a_report_lies_beside_it, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(pictures_beyond_the_number_or_the_sum_lie_beside_the_report,
                                        set_up, tear_down),
        cmocka_unit_test_setup_teardown(the_page_says_in_one_line_why_a_picture_is_not_there,
                                        set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
