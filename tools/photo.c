// SPDX-License-Identifier: GPL-3.0-or-later
//
// Pictures into the visit.
#include "photo.h"

#include "base/clock.h"

#include <stdio.h>
#include <time.h>

enum { MOST_PICTURE_BYTES = 64 * 1024 * 1024 };

enum lw_status lw_photo_read(const char *path, struct lw_photo *photo, struct lw_error *error)
{
    struct lw_text bytes = {0};
    struct lw_photo_frame frame;
    char name[200];
    const char *slash = strrchr(path, '/');
    *photo = (struct lw_photo){0};
    lw_text_clean(name, sizeof name, slash != NULL ? slash + 1 : path,
                  strlen(slash != NULL ? slash + 1 : path));
    enum lw_status status = lw_file_read(path, MOST_PICTURE_BYTES, &bytes, error);
    if (status == LW_OK) {
        status = lw_photo_clean(bytes.bytes != NULL ? bytes.bytes : "", bytes.length, name, photo,
                                error);
    }
    if (status == LW_OK) {
        status = lw_photo_measure(photo->bytes.bytes, photo->bytes.length, name, &frame, error);
        if (status != LW_OK) {
            lw_text_finish(&photo->bytes);
        }
    }
    lw_text_finish(&bytes);
    return status;
}

bool lw_photo_utc_ns(const struct lw_photo *photo, int64_t *utc_ns)
{
    char text[LW_TIME_TEXT];
    if (photo->taken[0] == '\0') {
        return false;
    }
    lw_print(text, sizeof text, "%.10sT%.8s%s", photo->taken, photo->taken + 11,
             photo->offset[0] != '\0' ? photo->offset : "Z");
    if (lw_time_parse(text, utc_ns) != 0) {
        return false;
    }
    if (photo->offset[0] == '\0') {
        time_t as_utc = (time_t)(*utc_ns / 1000000000);
        struct tm local;
        gmtime_r(&as_utc, &local);
        local.tm_isdst = -1;
        *utc_ns = (int64_t)mktime(&local) * 1000000000;
    }
    return true;
}

enum lw_status lw_photo_keep(struct lw_session *session, struct lw_step *step, const char *path,
                             const char *mark, const struct lw_record_file **kept,
                             struct lw_error *error)
{
    struct lw_photo photo;
    char ending[64];
    enum lw_status status = lw_photo_read(path, &photo, error);
    if (status == LW_OK) {
        lw_print(ending, sizeof ending, "%s%s%s", mark, mark[0] != '\0' ? "." : "", photo.ending);
        status = lw_step_write(session, step, ending, photo.bytes.bytes, photo.bytes.length, kept,
                               error);
    }
    lw_text_finish(&photo.bytes);
    return status;
}
