// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fuzz target: any bytes as a picture. Properties: what was cleaned has nothing left to lose, and
// is as large as before and stands the same way up.
#include "fuzz.h"

#include "check/photo.h"

#include <string.h>

static void stays_clean(const struct lw_photo *photo)
{
    struct lw_photo again;
    MUST(lw_photo_clean(photo->bytes.bytes, photo->bytes.length, "again", &again, NULL) == LW_OK);
    MUST(again.bytes.length == photo->bytes.length);
    MUST(memcmp(again.bytes.bytes, photo->bytes.bytes, photo->bytes.length) == 0);
    MUST(again.taken[0] == '\0' && again.offset[0] == '\0');
    lw_text_finish(&again.bytes);
}

static void stays_as_large(const struct lw_photo *photo, const struct lw_photo_frame *before)
{
    struct lw_photo_frame after;
    MUST(lw_photo_measure(photo->bytes.bytes, photo->bytes.length, "after", &after, NULL) == LW_OK);
    MUST(after.png == before->png && after.components == before->components);
    MUST(after.width_px == before->width_px && after.height_px == before->height_px);
    MUST(after.orientation == before->orientation);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t count)
{
    struct lw_photo photo;
    struct lw_photo_frame frame;
    const char *file = (const char *)bytes;
    bool measured = lw_photo_measure(file, count, "before", &frame, NULL) == LW_OK;
    if (measured) {
        MUST(frame.width_px > 0 && frame.height_px > 0);
        MUST(frame.orientation >= 1 && frame.orientation <= 8);
    }
    if (lw_photo_clean(file, count, "picture", &photo, NULL) == LW_OK) {
        stays_clean(&photo);
        if (measured) {
            stays_as_large(&photo, &frame);
        }
        lw_text_finish(&photo.bytes);
    }
    return 0;
}
