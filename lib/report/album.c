// SPDX-License-Identifier: GPL-3.0-or-later
//
// The bytes that are digested are those that are shown: a file is read once, so that nothing can be
// put in its place in between.
#include "report/album.h"

#include "base/file.h"
#include "base/list.h"
#include "report/words.h"

static struct lw_album_picture *picture_at(const struct lw_list *album, size_t index)
{
    return &((struct lw_album_picture *)album->items)[index];
}

const struct lw_album_picture *lw_album_find(const struct lw_list *album, const char *name)
{
    for (size_t i = 0; album != NULL && name != NULL && i < album->count; i++) {
        if (strcmp(picture_at(album, i)->name, name) == 0) {
            return picture_at(album, i);
        }
    }
    return NULL;
}

// A result may name any file; a picture is what a record holds the digest of.
static bool is_kept(const struct lw_list *records, const char *name, const char *sha256)
{
    for (size_t i = 0; i < records->count; i++) {
        const struct lw_list *list = &((const struct lw_record *)records->items)[i].files;
        const struct lw_record_file *files = list->items;
        for (size_t k = 0; k < list->count; k++) {
            if (strcmp(files[k].name, name) == 0 && strcmp(files[k].sha256, sha256) == 0) {
                return strchr(name, '/') == NULL;
            }
        }
    }
    return false;
}

static bool has_room(const struct lw_list *album, const struct lw_album_picture *picture)
{
    size_t count = 0, bytes = picture->bytes.length;
    for (size_t i = 0; i < album->count; i++) {
        count += picture_at(album, i)->state == LW_ALBUM_SHOWN;
        bytes += picture_at(album, i)->bytes.length;
    }
    const struct lw_photo_frame *frame = &picture->frame;
    return count < LW_ALBUM_PICTURES && bytes <= LW_ALBUM_BYTES &&
           frame->width_px <= LW_ALBUM_SIDE_PX && frame->height_px <= LW_ALBUM_SIDE_PX &&
           (int64_t)frame->width_px * frame->height_px <= LW_ALBUM_PICTURE_PX;
}

static enum lw_album_state judge_bytes(const struct lw_list *album,
                                       struct lw_album_picture *picture)
{
    const char *bytes = picture->bytes.bytes != NULL ? picture->bytes.bytes : "";
    char digest[LW_DIGEST];
    lw_digest(bytes, picture->bytes.length, digest);
    if (strcmp(digest, picture->sha256) != 0) {
        return LW_ALBUM_CHANGED;
    }
    if (lw_photo_measure(bytes, picture->bytes.length, picture->name, &picture->frame, NULL) !=
        LW_OK) {
        return LW_ALBUM_DAMAGED;
    }
    return has_room(album, picture) ? LW_ALBUM_SHOWN : LW_ALBUM_BEYOND;
}

// One that is too long to be taken in is digested all the same.
static enum lw_album_state judge_long(const char *path, const struct lw_album_picture *picture)
{
    char digest[LW_DIGEST];
    if (lw_file_digest(path, digest, NULL) != LW_OK) {
        return LW_ALBUM_MISSING;
    }
    return strcmp(digest, picture->sha256) == 0 ? LW_ALBUM_BEYOND : LW_ALBUM_CHANGED;
}

static enum lw_status look_at(const struct lw_list *album, const char *folder,
                              struct lw_album_picture *picture, struct lw_error *error)
{
    char path[LW_PATH];
    if (!lw_path_join(path, sizeof path, folder, picture->name)) {
        picture->state = LW_ALBUM_MISSING;
        return LW_OK;
    }
    enum lw_status status = lw_file_read(path, LW_ALBUM_PICTURE_BYTES, &picture->bytes, error);
    if (status == LW_OK) {
        picture->state = judge_bytes(album, picture);
    } else if (status == LW_BAD_FILE) {
        picture->state = judge_long(path, picture);
    } else if (status == LW_MEMORY) {
        return status;
    } else {
        picture->state = LW_ALBUM_MISSING;
    }
    return LW_OK;
}

enum lw_status lw_album_take(struct lw_list *album, const char *folder,
                             const struct lw_list *records, const char *name, const char *sha256,
                             struct lw_error *error)
{
    struct lw_album_picture picture = {.name = name, .sha256 = sha256 != NULL ? sha256 : ""};
    enum lw_status status = LW_OK;
    if (lw_album_find(album, name) != NULL) {
        return LW_OK;
    }
    if (is_kept(records, name, picture.sha256)) {
        status = look_at(album, folder, &picture, error);
    } else {
        picture.state = LW_ALBUM_CHANGED;
    }
    if (status != LW_OK || picture.state != LW_ALBUM_SHOWN) {
        lw_text_finish(&picture.bytes);
    }
    if (status != LW_OK) {
        return status;
    }
    struct lw_album_picture *added = lw_list_add(album, sizeof *added);
    if (added == NULL) {
        lw_text_finish(&picture.bytes);
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    *added = picture;
    return LW_OK;
}

void lw_album_finish(struct lw_list *album)
{
    for (size_t i = 0; i < album->count; i++) {
        lw_text_finish(&picture_at(album, i)->bytes);
    }
    free(album->items);
    *album = (struct lw_list){0};
}

size_t lw_album_count_bad(const struct lw_list *album)
{
    size_t count = 0;
    for (size_t i = 0; i < album->count; i++) {
        enum lw_album_state state = picture_at(album, i)->state;
        count += state != LW_ALBUM_SHOWN && state != LW_ALBUM_BEYOND;
    }
    return count;
}

void lw_album_show(struct lw_document *document, const struct lw_list *album, const char *name,
                   const char *caption)
{
    const struct lw_album_picture *picture = lw_album_find(album, name);
    char digits[40], source[LW_DOCUMENT_CELL];
    if (picture == NULL || picture->state != LW_ALBUM_SHOWN) {
        return;
    }
    const struct lw_photo_frame *frame = &picture->frame;
    lw_digest_shown(picture->sha256, 4, digits, sizeof digits);
    lw_print(source, sizeof source, "%s, SHA-256 %s \xe2\x80\xa6", name, digits);
    lw_document_picture(document, &(struct lw_picture){.bytes = picture->bytes.bytes,
                                                       .length = picture->bytes.length,
                                                       .png = frame->png,
                                                       .width_px = frame->width_px,
                                                       .height_px = frame->height_px,
                                                       .orientation = frame->orientation,
                                                       .caption = caption,
                                                       .source = source});
}

void lw_album_excuse(struct lw_document *document, const struct lw_list *album, const char *name)
{
    const struct lw_album_picture *picture = lw_album_find(album, name);
    if (picture == NULL) {
        return;
    }
    switch (picture->state) {
    case LW_ALBUM_SHOWN:
        break;
    case LW_ALBUM_MISSING:
        lw_document_paragraph(document, _("Picture %s is not shown: the file is missing."), name);
        break;
    case LW_ALBUM_CHANGED:
        lw_document_paragraph(
            document, _("Picture %s is not shown: it is not the one that was recorded."), name);
        break;
    case LW_ALBUM_DAMAGED:
        lw_document_paragraph(document,
                              _("Picture %s is not shown: it is damaged, or coded in a way that "
                                "not all readers show."),
                              name);
        break;
    case LW_ALBUM_BEYOND:
        lw_document_paragraph(document,
                              _("Picture %s lies beside this report, which takes in at most %d "
                                "pictures of %d MiB and %d million points each, %d MiB together."),
                              name, LW_ALBUM_PICTURES, LW_ALBUM_PICTURE_BYTES >> 20,
                              LW_ALBUM_PICTURE_PX / 1000000, LW_ALBUM_BYTES >> 20);
        break;
    }
}
