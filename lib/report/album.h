// SPDX-License-Identifier: GPL-3.0-or-later
//
// The pictures of a visit that its report shows: read once, held against the digests of the
// records, measured, and counted, so that a report stays a file that can be sent and opened.
// Private to this room.
#ifndef LW_REPORT_ALBUM_H
#define LW_REPORT_ALBUM_H

#include "check/photo.h"
#include "report/document.h"

// What one report takes in. A picture beyond it is named like the others and lies beside the
// report.
enum {
    LW_ALBUM_PICTURES = 40,
    LW_ALBUM_PICTURE_BYTES = 8 * 1024 * 1024,
    LW_ALBUM_BYTES = 24 * 1024 * 1024, // of all pictures
    LW_ALBUM_PICTURE_PX = 50000000,
    LW_ALBUM_SIDE_PX = 30000, // less than what cairo takes (32767)
};

enum lw_album_state {
    LW_ALBUM_SHOWN,
    LW_ALBUM_MISSING, // or not to be read
    LW_ALBUM_CHANGED, // not what the record says, or no record holds it
    LW_ALBUM_DAMAGED, // as recorded, but no picture that readers show
    LW_ALBUM_BEYOND,  // of what one report takes in
};

// Name and digest are borrowed from the record, bytes are held for those that are shown only.
struct lw_album_picture {
    const char *name, *sha256;
    enum lw_album_state state;
    struct lw_text bytes;
    struct lw_photo_frame frame;
};

// Reads the picture `name` of the visit in `folder` and adds it to the album (of struct
// lw_album_picture). `records` (of struct lw_record): one of them must have kept a file of that
// name and digest. A name that stands there already is not read again. LW_MEMORY.
enum lw_status lw_album_take(struct lw_list *album, const char *folder,
                             const struct lw_list *records, const char *name, const char *sha256,
                             struct lw_error *error);
void lw_album_finish(struct lw_list *album);

// NULL: the album does not have it.
const struct lw_album_picture *lw_album_find(const struct lw_list *album, const char *name);
// Pictures that are missing, changed or damaged.
size_t lw_album_count_bad(const struct lw_list *album);
// Adds the picture with its caption to the document, where it is shown.
void lw_album_show(struct lw_document *document, const struct lw_list *album, const char *name,
                   const char *caption);
// Says in one line why the picture is not shown; nothing where it is.
void lw_album_excuse(struct lw_document *document, const struct lw_list *album, const char *name);

#endif
