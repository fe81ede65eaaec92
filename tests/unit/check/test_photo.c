// SPDX-License-Identifier: GPL-3.0-or-later
//
// Pictures lose what stands beside them and nothing else. The pictures are made here, byte by byte,
// after ITU-T T.81 annex B, CIPA DC-008 and W3C PNG.
#include "check/photo.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

// Little-endian Exif: Orientation 6, a directory with DateTimeOriginal and OffsetTimeOriginal, and
// a GPS directory's entry.
static const unsigned char exif[] = {
    0xFF, 0xE1, 0,   122, 'E',  'x',  'i', 'f', 0,   0,   'I',  'I',  42,   0,    8,    0,
    0,    0,    3,   0,   0x12, 0x01, 3,   0,   1,   0,   0,    0,    6,    0,    0,    0,
    0x69, 0x87, 4,   0,   1,    0,    0,   0,   50,  0,   0,    0,    0x25, 0x88, 4,    0,
    1,    0,    0,   0,   50,   0,    0,   0,   0,   0,   0,    0,    2,    0,    0x03, 0x90,
    2,    0,    20,  0,   0,    0,    80,  0,   0,   0,   0x11, 0x90, 2,    0,    7,    0,
    0,    0,    100, 0,   0,    0,    0,   0,   0,   0,   '2',  '0',  '2',  '6',  ':',  '1',
    '1',  ':',  '2', '5', ' ',  '0',  '9', ':', '1', '2', ':',  '0',  '0',  0,    '+',  '0',
    '1',  ':',  '0', '0', 0,    'G',  'P', 'S', 'x', 'y', 'z',  '!'};
static const unsigned char begins[] = {0xFF, 0xD8, 0xFF, 0xE0, 0, 4, 'J', 'F'};
static const unsigned char comment[] = {0xFF, 0xFE, 0, 7, 'O', 'w', 'n', 'e', 'r'};
static const unsigned char scan[] = {0xFF, 0xDB, 0, 3, 1, 0xFF, 0xDA, 0, 3, 9, 1, 2, 3, 0xFF, 0xD9};

static void put(struct lw_text *text, const void *bytes, size_t count)
{
    lw_text_put(text, bytes, count);
}

static bool holds(const struct lw_text *text, const char *word)
{
    for (size_t i = 0; i + strlen(word) <= text->length; i++) {
        if (memcmp(text->bytes + i, word, strlen(word)) == 0) {
            return true;
        }
    }
    return false;
}

static void jpeg(struct lw_text *text)
{
    put(text, begins, sizeof begins);
    put(text, exif, sizeof exif);
    put(text, comment, sizeof comment);
    put(text, scan, sizeof scan);
    put(text, "GPS behind", 10);
}

static void a_jpeg_keeps_its_picture_and_loses_the_rest(void **state)
{
    (void)state;
    struct lw_text file = {0};
    struct lw_photo photo;
    struct lw_error error = {0};
    jpeg(&file);
    assert_int_equal(lw_photo_clean(file.bytes, file.length, "a.jpg", &photo, &error), LW_OK);
    assert_string_equal(photo.taken, "2026-11-25 09:12:00");
    assert_string_equal(photo.offset, "+01:00");
    assert_string_equal(photo.ending, "jpg");
    assert_false(holds(&photo.bytes, "GPS"));
    assert_false(holds(&photo.bytes, "Owner"));
    assert_false(holds(&photo.bytes, "2026"));
    assert_memory_equal(photo.bytes.bytes + photo.bytes.length - sizeof scan, scan, sizeof scan);
    // Once more: nothing is left to lose, and it stands as it stood.
    struct lw_photo again;
    assert_int_equal(lw_photo_clean(photo.bytes.bytes, photo.bytes.length, "a.jpg", &again, &error),
                     LW_OK);
    assert_int_equal(again.bytes.length, photo.bytes.length);
    assert_memory_equal(again.bytes.bytes, photo.bytes.bytes, photo.bytes.length);
    lw_text_finish(&again.bytes);
    lw_text_finish(&photo.bytes);
    lw_text_finish(&file);
}

static void every_cut_is_an_error_or_a_picture(void **state)
{
    (void)state;
    struct lw_text file = {0};
    jpeg(&file);
    size_t whole = file.length - 10;
    for (size_t length = 0; length < whole; length++) {
        struct lw_photo photo;
        struct lw_error error = {0};
        assert_int_equal(lw_photo_clean(file.bytes, length, "a.jpg", &photo, &error), LW_BAD_FILE);
    }
    lw_text_finish(&file);
}

static void a_png_loses_its_texts(void **state)
{
    (void)state;
    static const unsigned char png[] = {0x89, 'P', 'N', 'G', 13,  10,  26,  10,  0, 0, 0, 1,
                                        'I',  'D', 'A', 'T', 7,   0,   0,   0,   0, 0, 0, 0,
                                        3,    't', 'E', 'X', 't', 'G', 'P', 'S', 0, 0, 0, 0,
                                        0,    0,   0,   0,   'I', 'E', 'N', 'D', 0, 0, 0, 0};
    struct lw_photo photo;
    struct lw_error error = {0};
    assert_int_equal(lw_photo_clean((const char *)png, sizeof png, "a.png", &photo, &error), LW_OK);
    assert_false(holds(&photo.bytes, "GPS"));
    assert_int_equal(photo.bytes.length, sizeof png - 15);
    assert_string_equal(photo.taken, "");
    lw_text_finish(&photo.bytes);
    assert_int_equal(lw_photo_clean((const char *)png, sizeof png - 1, "a.png", &photo, &error),
                     LW_BAD_FILE);
}

static void heic_is_refused_with_the_way_out(void **state)
{
    (void)state;
    static const char heic[] = "\0\0\0\030ftypheic\0\0\0\0";
    struct lw_photo photo;
    struct lw_error error = {0};
    assert_int_equal(lw_photo_clean(heic, sizeof heic, "a.heic", &photo, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "save it as JPEG"));
    assert_int_equal(lw_photo_clean("hello", 5, "a.txt", &photo, &error), LW_BAD_FILE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_jpeg_keeps_its_picture_and_loses_the_rest),
        cmocka_unit_test(every_cut_is_an_error_or_a_picture),
        cmocka_unit_test(a_png_loses_its_texts),
        cmocka_unit_test(heic_is_refused_with_the_way_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
