// SPDX-License-Identifier: GPL-3.0-or-later
//
// Pictures without what stands beside them. Lengths in a file are never believed beyond its end.
#include "check/photo.h"

#include <stdint.h>
#include <string.h>

enum {
    TEM = 0x01,
    SOF0 = 0xC0,
    SOF2 = 0xC2,
    DHT = 0xC4,
    JPG = 0xC8,
    DAC = 0xCC,
    SOF15 = 0xCF,
    RST0 = 0xD0,
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

// Markers without a length (T.81, table B.1).
static bool stands_alone(int marker)
{
    return marker == TEM || (marker >= RST0 && marker <= SOI);
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
        if (marker == 0xFF) {
            at++; // any number of them may stand before a marker (T.81, B.1.1.2)
            continue;
        }
        if (stands_alone(marker)) {
            at += 2; // nothing of the picture before its first scan
            continue;
        }
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

static const unsigned char png[] = {0x89, 'P', 'N', 'G', 0x0D, 0x0A, 0x1A, 0x0A};

static bool is_jpeg(const unsigned char *own, size_t length)
{
    return length > 2 && own[0] == 0xFF && own[1] == SOI;
}

static bool is_png(const unsigned char *own, size_t length)
{
    return length > sizeof png && memcmp(own, png, sizeof png) == 0;
}

enum lw_status lw_photo_clean(const char *bytes, size_t length, const char *name,
                              struct lw_photo *photo, struct lw_error *error)
{
    const unsigned char *own = (const unsigned char *)bytes;
    enum lw_status status = LW_OK;
    *photo = (struct lw_photo){0};
    if (is_jpeg(own, length)) {
        status = clean_jpeg(own, length, name, photo, error);
    } else if (is_png(own, length)) {
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

// A picture on its way into a report.
struct looked_at {
    const char *name;
    struct bytes file;
    struct lw_photo_frame *frame;
    struct lw_error *error;
};

static enum lw_status damaged(const struct looked_at *own, const char *what)
{
    return lw_fail(own->error, LW_BAD_FILE, "'%s': the picture is damaged: %s", own->name, what);
}

static bool is_frame(int marker)
{
    return marker >= SOF0 && marker <= SOF15 && marker != DHT && marker != JPG && marker != DAC;
}

// A frame header: length, bits, height, width, number of components, three bytes for each.
static enum lw_status read_frame(const struct looked_at *own, size_t at, size_t size, int marker)
{
    struct lw_photo_frame *frame = own->frame;
    if (frame->components != 0) {
        return damaged(own, "two frames");
    }
    frame->height_px = (int)number(&own->file, at + 3, 2);
    frame->width_px = (int)number(&own->file, at + 5, 2);
    frame->components = (int)number(&own->file, at + 7, 1);
    if (size != 8 + 3 * (size_t)frame->components || frame->components == 0) {
        return damaged(own, "a frame header of the wrong length");
    }
    bool common = marker <= SOF2 && number(&own->file, at + 2, 1) == 8 &&
                  (frame->components == 1 || frame->components == 3);
    if (!common) {
        return lw_fail(own->error, LW_BAD_FILE,
                       "'%s': coded in a way that not all readers show: save it as an ordinary "
                       "JPEG",
                       own->name);
    }
    return frame->width_px > 0 && frame->height_px > 0 ? LW_OK : damaged(own, "a size of nothing");
}

// The segment of a marker that has one.
static enum lw_status read_segment(const struct looked_at *own, size_t at, size_t size, int marker)
{
    struct lw_photo beside = {0};
    if (is_frame(marker)) {
        return read_frame(own, at, size, marker);
    }
    if (marker == APP1 && own->frame->orientation == 0) {
        own->frame->orientation = read_exif(own->file.at + at + 2, size - 2, &beside);
    }
    return LW_OK;
}

// What stands before the first scan, marker by marker.
static enum lw_status measure_jpeg(const struct looked_at *own)
{
    const unsigned char *bytes = own->file.at;
    size_t length = own->file.length;
    enum lw_status status = LW_OK;
    if (bytes[length - 2] != 0xFF || bytes[length - 1] != EOI) {
        return damaged(own, "it has no end");
    }
    for (size_t at = 2; status == LW_OK;) {
        if (number(&own->file, at, 1) != 0xFF) {
            return damaged(own, "no marker where one must stand");
        }
        while (at < length && bytes[at] == 0xFF) {
            at++;
        }
        int marker = (int)number(&own->file, at++, 1);
        if (marker == SOS) {
            return own->frame->components > 0 ? LW_OK : damaged(own, "no frame before its scan");
        }
        if (stands_alone(marker)) {
            continue;
        }
        size_t size = number(&own->file, at, 2);
        if (marker == EOI || size < 2 || at > length || size > length - at) {
            return damaged(own, "it ends before its first scan");
        }
        status = read_segment(own, at, size, marker);
        at += size;
    }
    return status;
}

// The check sum of a chunk's kind and content (W3C PNG, annex D).
static uint32_t check_sum(const unsigned char *bytes, size_t count)
{
    uint32_t sum = UINT32_MAX;
    for (size_t i = 0; i < count; i++) {
        sum ^= bytes[i];
        for (int bit = 0; bit < 8; bit++) {
            sum = sum & 1 ? UINT32_C(0xEDB88320) ^ sum >> 1 : sum >> 1;
        }
    }
    return ~sum;
}

static enum lw_status read_png_sides(const struct looked_at *own)
{
    uint32_t width = number(&own->file, sizeof png + 8, 4);
    uint32_t height = number(&own->file, sizeof png + 12, 4);
    if (width == 0 || height == 0 || width > INT32_MAX || height > INT32_MAX) {
        return damaged(own, "a size of nothing");
    }
    own->frame->png = true;
    own->frame->width_px = (int)width;
    own->frame->height_px = (int)height;
    return LW_OK;
}

// Chunk by chunk: length, kind, content, check sum of kind and content.
static enum lw_status measure_png(const struct looked_at *own)
{
    enum { HEAD_SIZE = 13, AROUND = 12 };
    const struct bytes *file = &own->file;
    bool has_data = false, ended = false;
    for (size_t at = sizeof png; !ended;) {
        size_t size = number(file, at, 4), left = file->length - at;
        const char *kind = (const char *)file->at + at + 4;
        if (left < AROUND || size > left - AROUND) {
            return damaged(own, "it ends too early");
        }
        if (check_sum(file->at + at + 4, size + 4) != number(file, at + 8 + size, 4)) {
            return damaged(own, "a check sum is wrong");
        }
        bool is_head = memcmp(kind, "IHDR", 4) == 0;
        if (is_head != (at == sizeof png) || (is_head && size != HEAD_SIZE)) {
            return damaged(own, "its header is not where it must stand");
        }
        has_data = has_data || memcmp(kind, "IDAT", 4) == 0;
        ended = memcmp(kind, "IEND", 4) == 0;
        at += size + AROUND;
    }
    return has_data ? read_png_sides(own) : damaged(own, "nothing is in it");
}

enum lw_status lw_photo_measure(const char *bytes, size_t length, const char *name,
                                struct lw_photo_frame *frame, struct lw_error *error)
{
    const struct looked_at own = {
        name, {(const unsigned char *)bytes, length, false}, frame, error};
    enum lw_status status;
    *frame = (struct lw_photo_frame){0};
    if (is_jpeg(own.file.at, length)) {
        status = measure_jpeg(&own);
    } else if (is_png(own.file.at, length)) {
        status = measure_png(&own);
    } else {
        status = lw_fail(error, LW_BAD_FILE, "'%s': neither a JPEG nor a PNG picture", name);
    }
    if (frame->orientation < 1 || frame->orientation > 8) {
        frame->orientation = 1;
    }
    return status;
}
