// SPDX-License-Identifier: GPL-3.0-or-later
//
// Pictures lose what stands beside them and nothing else, and say how large they are. The pictures
// are made here, byte by byte, after ITU-T T.81 annex B, CIPA DC-008 and W3C PNG.
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

// ---- how large a picture is

#define FRAME(marker, bits, height, width)                                                         \
    0xFF, marker, 0, 17, bits, (height) >> 8, (height)&255, (width) >> 8, (width)&255, 3, 1, 0x22, \
        0, 2, 0x11, 1, 3, 0x11, 1
#define BEGIN 0xFF, 0xD8
#define END   0xFF, 0xDA, 0, 12, 3, 1, 0, 2, 0x11, 3, 0x11, 0, 63, 0, 0x2A, 0xFF, 0xD9

static enum lw_status measure(const unsigned char *bytes, size_t length,
                              struct lw_photo_frame *frame, const char *says)
{
    struct lw_error error = {0};
    enum lw_status status = lw_photo_measure((const char *)bytes, length, "a.jpg", frame, &error);
    if (says != NULL) {
        assert_non_null(strstr(error.says, says));
    }
    return status;
}

static void refuse(const unsigned char *bytes, size_t length, const char *says)
{
    struct lw_photo_frame frame;
    assert_int_equal(measure(bytes, length, &frame, says), LW_BAD_FILE);
}

static void baseline_and_progressive_pictures_say_their_sides(void **state)
{
    (void)state;
    for (int marker = 0xC0; marker <= 0xC2; marker++) {
        const unsigned char file[] = {BEGIN, FRAME((unsigned char)marker, 8, 600, 4000), END};
        struct lw_photo_frame frame;
        assert_int_equal(measure(file, sizeof file, &frame, NULL), LW_OK);
        assert_false(frame.png);
        assert_int_equal(frame.width_px, 4000);
        assert_int_equal(frame.height_px, 600);
        assert_int_equal(frame.components, 3);
        assert_int_equal(frame.orientation, 1);
    }
}

static void a_small_copy_among_the_segments_is_not_taken_for_the_picture(void **state)
{
    (void)state;
    struct lw_text file = {0};
    struct lw_photo_frame frame;
    static const unsigned char thumb[] = {
        0xFF, 0xE1, 0,  40, 'E', 'x', 'i', 'f', 0, 0,     'M',
        'M',  0,    42, 0,  0,   0,   8,   0,   0, BEGIN, FRAME(0xC0, 8, 120, 160),
        0xFF};
    static const unsigned char rest[] = {FRAME(0xC0, 8, 3000, 4000), END};
    put(&file, begins, 2);
    put(&file, exif, sizeof exif);
    put(&file, thumb, sizeof thumb);
    put(&file, rest, sizeof rest);
    assert_int_equal(measure((unsigned char *)file.bytes, file.length, &frame, NULL), LW_OK);
    assert_int_equal(frame.width_px, 4000);
    assert_int_equal(frame.orientation, 6);
    lw_text_finish(&file);
}

static void filling_and_markers_without_length_are_passed_over(void **state)
{
    (void)state;
    static const unsigned char file[] = {BEGIN, 0xFF, 0xFF, 0xFF, 0xFE, 0,    3,
                                         'x',   0xFF, 0x01, 0xFF, 0xD3, 0xFF, FRAME(0xC2, 8, 8, 16),
                                         0xFF,  END};
    struct lw_photo_frame frame;
    struct lw_photo photo;
    struct lw_error error = {0};
    assert_int_equal(measure(file, sizeof file, &frame, NULL), LW_OK);
    assert_int_equal(frame.width_px, 16);
    static const unsigned char filled[] = {
        BEGIN, 0xFF, 0xFF, 0xFF, 0xFE, 0, 3, 'x', 0xFF, FRAME(0xC2, 8, 8, 16), 0xFF, END};
    assert_int_equal(lw_photo_clean((const char *)filled, sizeof filled, "a.jpg", &photo, &error),
                     LW_OK);
    assert_int_equal(measure((unsigned char *)photo.bytes.bytes, photo.bytes.length, &frame, NULL),
                     LW_OK);
    assert_int_equal(photo.bytes.length, sizeof filled - 9);
    lw_text_finish(&photo.bytes);
}

static void every_cut_of_a_picture_is_refused(void **state)
{
    (void)state;
    static const unsigned char file[] = {
        BEGIN, 0xFF, 0xFE, 0, 4, 'x', 'y', FRAME(0xC0, 8, 600, 800), END};
    struct lw_photo_frame frame;
    assert_int_equal(measure(file, sizeof file, &frame, NULL), LW_OK);
    for (size_t length = 0; length < sizeof file; length++) {
        refuse(file, length, "'a.jpg'");
        if (length < sizeof file - 16) {
            // with an end put on, there is still no scan
            unsigned char ended[sizeof file + 2];
            memcpy(ended, file, length);
            memcpy(ended + length, "\xFF\xD9", 2);
            refuse(ended, length + 2, NULL);
        }
    }
}

static void what_not_all_readers_show_alike_is_refused(void **state)
{
    (void)state;
    static const unsigned char lossless[] = {BEGIN, FRAME(0xC3, 8, 8, 8), END};
    static const unsigned char arithmetic[] = {BEGIN, FRAME(0xC9, 8, 8, 8), END};
    static const unsigned char twelve_bits[] = {BEGIN, FRAME(0xC1, 12, 8, 8), END};
    static const unsigned char print_colours[] = {BEGIN, 0xFF, 0xC0, 0, 20,   8,    0, 8,
                                                  0,     8,    4,    1, 0x11, 0,    2, 0x11,
                                                  0,     3,    0x11, 0, 4,    0x11, 0, END};
    static const unsigned char two_parts[] = {BEGIN, 0xFF, 0xC0, 0,    14, 8, 0,    8, 0,
                                              8,     2,    1,    0x11, 0,  2, 0x11, 0, END};
    static const char says[] = "not all readers show";
    refuse(lossless, sizeof lossless, says);
    refuse(arithmetic, sizeof arithmetic, says);
    refuse(twelve_bits, sizeof twelve_bits, says);
    refuse(print_colours, sizeof print_colours, says);
    refuse(two_parts, sizeof two_parts, says);
}

static void a_damaged_picture_is_refused(void **state)
{
    (void)state;
    static const unsigned char no_frame[] = {BEGIN, 0xFF, 0xFE, 0, 3, 'x', END};
    static const unsigned char twice[] = {BEGIN, FRAME(0xC0, 8, 8, 8), FRAME(0xC0, 8, 9, 9), END};
    static const unsigned char no_height[] = {BEGIN, FRAME(0xC0, 8, 0, 8), END};
    static const unsigned char too_short[] = {BEGIN, 0xFF, 0xC0, 0, 8, 8, 0, 8, 0, 8, 3, END};
    static const unsigned char no_marker[] = {BEGIN, 0xFF, 0xFE, 0, 3, 'x', 'y', END};
    static const unsigned char no_length[] = {BEGIN, 0xFF, 0xFE, 0, 1, END};
    refuse(no_frame, sizeof no_frame, "no frame");
    refuse(twice, sizeof twice, "two frames");
    refuse(no_height, sizeof no_height, "a size of nothing");
    refuse(too_short, sizeof too_short, "a frame header of the wrong length");
    refuse(no_marker, sizeof no_marker, "no marker");
    refuse(no_length, sizeof no_length, "before its first scan");
}

// Made with zlib's crc32 and compress (from Python), not with the code under test.
static const unsigned char small_png[] = {
    0x89, 'P', 'N', 'G', 13, 10, 26,  10,  0,   0,  0,   13, 73,  72, 68,  82,  0,
    0,    0,   3,   0,   0,  0,  2,   8,   2,   0,  0,   0,  18,  22, 241, 77,  0,
    0,    0,   25,  73,  68, 65, 84,  120, 156, 99, 56,  33, 39,  7,  68,  114, 11,
    52,   24,  228, 140, 78, 0,  209, 157, 19,  26, 0,   62, 218, 6,  235, 128, 105,
    79,   124, 0,   0,   0,  0,  73,  69,  78,  68, 174, 66, 96,  130};

static void a_png_says_its_sides_and_each_changed_bit_is_seen(void **state)
{
    (void)state;
    struct lw_photo_frame frame;
    assert_int_equal(measure(small_png, sizeof small_png, &frame, NULL), LW_OK);
    assert_true(frame.png);
    assert_int_equal(frame.width_px, 3);
    assert_int_equal(frame.height_px, 2);
    assert_int_equal(frame.orientation, 1);
    for (size_t i = 0; i < sizeof small_png; i++) {
        unsigned char changed[sizeof small_png];
        memcpy(changed, small_png, sizeof changed);
        changed[i] ^= 0x10;
        refuse(changed, sizeof changed, NULL);
        refuse(small_png, i, NULL);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_jpeg_keeps_its_picture_and_loses_the_rest),
        cmocka_unit_test(every_cut_is_an_error_or_a_picture),
        cmocka_unit_test(a_png_loses_its_texts),
        cmocka_unit_test(heic_is_refused_with_the_way_out),
        cmocka_unit_test(baseline_and_progressive_pictures_say_their_sides),
        cmocka_unit_test(a_small_copy_among_the_segments_is_not_taken_for_the_picture),
        cmocka_unit_test(filling_and_markers_without_length_are_passed_over),
        cmocka_unit_test(every_cut_of_a_picture_is_refused),
        cmocka_unit_test(what_not_all_readers_show_alike_is_refused),
        cmocka_unit_test(a_damaged_picture_is_refused),
        cmocka_unit_test(a_png_says_its_sides_and_each_changed_bit_is_seen),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
