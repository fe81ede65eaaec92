// SPDX-License-Identifier: GPL-3.0-or-later
//
// Pictures without what stands beside them. Lengths in a file are never believed beyond its end.
#include "check/photo.h"

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

enum {
    SOI = 0xD8,
    EOI = 0xD9,
    SOS = 0xDA,
    APP0 = 0xE0,
    APP1 = 0xE1,
    APP2 = 0xE2,
    APP14 = 0xEE,
    APP15 = 0xEF,
    COM = 0xFE,
    TAG_ORIENTATION = 0x0112,
    TAG_DATE = 0x0132,
    TAG_EXIF = 0x8769,
    TAG_ORIGINAL = 0x9003,
    TAG_OFFSET = 0x9011,
    ENTRY = 12,
    DATE = 19,
    OFFSET = 6,
};

struct bytes {
    const unsigned char *at;
    size_t length;
    bool little;
};

static uint32_t number(const struct bytes *tiff, size_t at, int size)
{
    uint32_t value = 0;
    for (int i = 0; i < size; i++) {
        size_t place = tiff->little ? at + (size_t)(size - 1 - i) : at + (size_t)i;
        value = value << 8 | (place < tiff->length ? tiff->at[place] : 0u);
    }
    return value;
}

// Text of `count` bytes that an entry points to; false when it lies outside.
static bool take_text(const struct bytes *tiff, size_t entry, size_t count, char *text)
{
    size_t at = number(tiff, entry + 8, 4);
    if (at > tiff->length || tiff->length - at < count) {
        return false;
    }
    memcpy(text, tiff->at + at, count);
    text[count] = '\0';
    return true;
}

// "2026:11:25 09:12:00" becomes "2026-11-25 09:12:00".
static void take_date(const struct bytes *tiff, size_t entry, struct lw_photo *photo)
{
    char text[DATE + 1];
    if (take_text(tiff, entry, DATE, text) && text[4] == ':' && text[7] == ':' &&
        strspn(text, "0123456789: ") == DATE) {
        text[4] = text[7] = '-';
        memcpy(photo->taken, text, sizeof text);
    }
}

struct found {
    int orientation;
    size_t exif; // 0: no such directory
};

// One directory of entries: tag, type, count, value or where it stands.
static void read_directory(const struct bytes *tiff, size_t at, struct lw_photo *photo,
                           struct found *found)
{
    size_t count = number(tiff, at, 2);
    for (size_t i = 0; i < count && at + 2 + (i + 1) * ENTRY <= tiff->length; i++) {
        size_t entry = at + 2 + i * ENTRY;
        switch (number(tiff, entry, 2)) {
        case TAG_ORIENTATION:
            found->orientation = (int)number(tiff, entry + 8, 2);
            break;
        case TAG_EXIF:
            found->exif = number(tiff, entry + 8, 4);
            break;
        case TAG_DATE:
            if (photo->taken[0] == '\0') {
                take_date(tiff, entry, photo);
            }
            break;
        case TAG_ORIGINAL:
            take_date(tiff, entry, photo);
            break;
        case TAG_OFFSET:
            if (!take_text(tiff, entry, OFFSET, photo->offset) ||
                strspn(photo->offset, "+-0123456789:") != OFFSET) {
                photo->offset[0] = '\0';
            }
            break;
        default:
            break;
        }
    }
}

static int read_exif(const unsigned char *segment, size_t length, struct lw_photo *photo)
{
    static const char mark[] = "Exif\0"; // six bytes with the one that ends it
    struct found found = {.orientation = 1};
    if (length < 14 || memcmp(segment, mark, 6) != 0) {
        return 0;
    }
    struct bytes tiff = {segment + 6, length - 6, segment[6] == 'I'};
    read_directory(&tiff, number(&tiff, 4, 4), photo, &found);
    if (found.exif > 0 && found.exif < tiff.length) {
        read_directory(&tiff, found.exif, photo, &found);
    }
    return found.orientation;
}

// An Exif segment that says which way up and nothing else.
static void put_orientation(struct lw_text *out, int orientation)
{
    const unsigned char segment[] = {
        0xFF, APP1, 0, 34, 'E', 'x', 'i',  'f', 0, 0, 'M', 'M', 0, 42, 0,
        0,    0,    8, 0,  1,   1,   0x12, 0,   3, 0, 0,   0,   1, 0,  (unsigned char)orientation,
        0,    0,    0, 0,  0,   0};
    lw_text_put(out, (const char *)segment, sizeof segment);
}

// APP2 holds a colour profile, or pictures more, with dates and places of their own.
static bool is_kept(int marker, const unsigned char *content, size_t length)
{
    static const char profile[] = "ICC_PROFILE";
    bool beside = (marker >= APP0 && marker <= APP15) || marker == COM;
    bool colour =
        marker == APP2 && length >= sizeof profile && memcmp(content, profile, sizeof profile) == 0;
    return !beside || colour || marker == APP0 || marker == APP14;
}

// Segments up to the first scan; from there on all is picture, up to what ends it.
static enum lw_status clean_jpeg(const unsigned char *bytes, size_t length, const char *name,
                                 struct lw_photo *photo, struct lw_error *error)
{
    size_t at = 2;
    int orientation = 0;
    struct lw_text rest = {0};
    while (at + 4 <= length && bytes[at] == 0xFF && bytes[at + 1] != SOS) {
        int marker = bytes[at + 1];
        size_t size = 2 + ((size_t)bytes[at + 2] << 8 | bytes[at + 3]);
        if (size < 4 || at + size > length) {
            break;
        }
        if (marker == APP1 && orientation == 0) {
            orientation = read_exif(bytes + at + 4, size - 4, photo);
        }
        if (is_kept(marker, bytes + at + 4, size - 4)) {
            lw_text_put(&rest, (const char *)bytes + at, size);
        }
        at += size;
    }
    size_t end = length;
    while (end > at + 2 && !(bytes[end - 2] == 0xFF && bytes[end - 1] == EOI)) {
        end--; // what a camera hangs behind the picture goes, too
    }
    bool whole = at + 4 <= length && bytes[at] == 0xFF && bytes[at + 1] == SOS && end > at + 2;
    lw_text_put(&photo->bytes, (const char *)bytes, 2);
    if (orientation > 1 && orientation <= 8) {
        put_orientation(&photo->bytes, orientation);
    }
    lw_text_put(&photo->bytes, rest.bytes != NULL ? rest.bytes : "", rest.length);
    lw_text_put(&photo->bytes, (const char *)bytes + at, whole ? end - at : 0);
    photo->bytes.failed = photo->bytes.failed || rest.failed;
    lw_text_finish(&rest);
    photo->ending = "jpg";
    return whole ? LW_OK : lw_fail(error, LW_BAD_FILE, "'%s': the picture ends too early", name);
}

static enum lw_status clean_png(const unsigned char *bytes, size_t length, const char *name,
                                struct lw_photo *photo, struct lw_error *error)
{
    static const char *const gone[] = {"eXIf", "tEXt", "iTXt", "zTXt", "tIME"};
    size_t at = 8;
    bool ended = false;
    lw_text_put(&photo->bytes, (const char *)bytes, at);
    while (!ended && at + 12 <= length) {
        const struct bytes file = {bytes, length, false};
        size_t size = 12 + (size_t)number(&file, at, 4);
        const char *kind = (const char *)bytes + at + 4;
        bool kept = true;
        if (size > length - at) {
            break;
        }
        for (size_t i = 0; i < sizeof gone / sizeof *gone; i++) {
            kept = kept && memcmp(kind, gone[i], 4) != 0;
        }
        if (kept) {
            lw_text_put(&photo->bytes, (const char *)bytes + at, size);
        }
        ended = memcmp(kind, "IEND", 4) == 0;
        at += size;
    }
    photo->ending = "png";
    return ended ? LW_OK : lw_fail(error, LW_BAD_FILE, "'%s': the picture ends too early", name);
}

enum lw_status lw_photo_clean(const char *bytes, size_t length, const char *name,
                              struct lw_photo *photo, struct lw_error *error)
{
    static const unsigned char png[] = {0x89, 'P', 'N', 'G', 0x0D, 0x0A, 0x1A, 0x0A};
    const unsigned char *own = (const unsigned char *)bytes;
    enum lw_status status = LW_OK;
    *photo = (struct lw_photo){0};
    if (length > 2 && own[0] == 0xFF && own[1] == SOI) {
        status = clean_jpeg(own, length, name, photo, error);
    } else if (length > sizeof png && memcmp(own, png, sizeof png) == 0) {
        status = clean_png(own, length, name, photo, error);
    } else if (length > 12 && memcmp(own + 4, "ftyp", 4) == 0) {
        status = lw_fail(error, LW_BAD_FILE,
                         "'%s': HEIC and AVIF pictures cannot be freed of their position: save it "
                         "as JPEG",
                         name);
    } else {
        status = lw_fail(error, LW_BAD_FILE, "'%s': neither a JPEG nor a PNG picture", name);
    }
    if (status == LW_OK) {
        status = lw_text_check(&photo->bytes, error);
    }
    if (status != LW_OK) {
        lw_text_finish(&photo->bytes);
    }
    return status;
}
