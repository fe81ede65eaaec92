// SPDX-License-Identifier: GPL-3.0-or-later
//
// A checklist: what only eyes can see. A list that comes with linewalk, or one's own as JSON
// ("linewalk/checklist/1"); each item is yes, no or not applicable, with a remark and a picture.
#ifndef LW_CHECK_CHECKLIST_H
#define LW_CHECK_CHECKLIST_H

#include "check/dialog.h"
#include "site/record.h"

struct lw_checklist_item {
    char *id, *text, *help;
    bool required; // absent: true
};
struct lw_checklist {
    char *format, *title;
    struct lw_list items; // of struct lw_checklist_item
};
extern const struct lw_shape lw_checklist_file_shape;

// Reads one's own list; `bytes` NULL: the list that comes with linewalk. LW_BAD_FILE for a list
// without items or with an id twice, LW_MEMORY. Free with lw_json_free().
enum lw_status lw_checklist_read(const char *bytes, size_t length, struct lw_checklist *list,
                                 struct lw_error *error);

enum lw_checklist_said { LW_CHECK_OPEN, LW_CHECK_YES, LW_CHECK_NO, LW_CHECK_NOT_APPLICABLE };
struct lw_checklist_answer {
    char *id, *text;
    bool required;
    int said; // enum lw_checklist_said
    char *remark, *photo, *photo_sha256;
};
struct lw_checklist_result {
    char *title;
    struct lw_list answers; // of struct lw_checklist_answer, one for each item
};
extern const struct lw_shape lw_checklist_shape;

// Asks item by item; LW_DIALOG_ACT after a picture was named: lw_checklist_photo() says what became
// of it. The list is borrowed, the result the caller's to free with lw_json_free().
struct lw_checklist_dialog {
    struct lw_dialog dialog;
    const struct lw_checklist *list;
    size_t item;
    int part;                   // of the item: 0 it, 1 remark, 2 picture, 3 picture to be taken in
    char photo[LW_ANSWER_SIZE]; // the file that was named
    struct lw_checklist_result result;
};
enum lw_status lw_checklist_init(struct lw_checklist_dialog *dialog,
                                 const struct lw_checklist *list, struct lw_error *error);
// The picture is in the visit by that name; NULL: it was not taken, ask again. LW_MEMORY.
enum lw_status lw_checklist_photo(struct lw_checklist_dialog *dialog, const char *name,
                                  const char *sha256, struct lw_error *error);

// A "no" fails where the item is required, else it is a remark; a required item that was not
// answered leaves the check undecided.
void lw_checklist_findings(const struct lw_checklist_result *result, struct lw_findings *findings);

#endif
