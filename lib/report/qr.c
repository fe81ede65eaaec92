// SPDX-License-Identifier: GPL-3.0-or-later
//
// A QR code (ISO/IEC 18004) as a display list. Modules that touch in a row are one rectangle, so
// that no renderer leaves hairlines between them.
#include "report/qr.h"

#include "base/file.h"
#include "base/list.h"
#include "base/text.h"

#include <ctype.h>
#include <errno.h>
#include <qrencode.h>

enum { QUIET = 4 }; // modules of paper on every side that the standard asks for

static bool add_run(struct lw_display_list *list, int x, int x2, int y)
{
    struct lw_op *op = lw_list_add(&list->ops, sizeof *op);
    if (op == NULL) {
        return false;
    }
    *op = (struct lw_op){.kind = LW_OP_RECT,
                         .ink = LW_INK_TEXT,
                         .x = (QUIET + x) * LW_QR_MODULE_MM,
                         .y = (QUIET + y) * LW_QR_MODULE_MM,
                         .x2 = (QUIET + x2) * LW_QR_MODULE_MM,
                         .y2 = (QUIET + y + 1) * LW_QR_MODULE_MM};
    return true;
}

static bool add_row(struct lw_display_list *list, const unsigned char *row, int width, int y)
{
    for (int x = 0; x < width;) {
        int x2 = x;
        while (x2 < width && (row[x2] & 1) != 0) {
            x2++;
        }
        if (x2 > x && !add_run(list, x, x2, y)) {
            return false;
        }
        x = x2 > x ? x2 : x + 1;
    }
    return true;
}

enum lw_status lw_qr(const char *text, struct lw_display_list *list, struct lw_error *error)
{
    *list = (struct lw_display_list){0};
    QRcode *code = QRcode_encodeString(text, 0, QR_ECLEVEL_M, QR_MODE_8, 1);
    if (code == NULL) {
        return errno == ENOMEM ? lw_fail(error, LW_MEMORY, "out of memory")
                               : lw_fail(error, LW_USAGE, "the text is too long for a QR code");
    }
    bool fits = true;
    for (int y = 0; y < code->width && fits; y++) {
        fits = add_row(list, code->data + y * code->width, code->width, y);
    }
    list->width_mm = list->height_mm = (code->width + 2 * QUIET) * LW_QR_MODULE_MM;
    QRcode_free(code);
    if (!fits) {
        lw_display_list_finish(list);
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    return LW_OK;
}

enum lw_status lw_qr_of_digest(const char *digest, struct lw_display_list *list,
                               struct lw_error *error)
{
    char text[LW_DIGEST + 24];
    lw_print(text, sizeof text, "LINEWALK SHA-256 %s", digest);
    for (char *at = text; *at != '\0'; at++) {
        *at = (char)toupper((unsigned char)*at); // letters in capitals take fewer modules
    }
    return lw_qr(text, list, error);
}
