// SPDX-License-Identifier: GPL-3.0-or-later
//
// Text into markup. The one way by which text reaches a page. Private to this room.
#ifndef LW_REPORT_MARKUP_H
#define LW_REPORT_MARKUP_H

#include "base/text.h"
#include "report/chart.h"

// Adds text so that it stands in element content and in quoted attributes alike: & < > " ' become
// references.
void lw_markup_text(struct lw_text *out, const char *text);

// Adds a display list as an SVG element of a class: classes for inks, no style, no script. `number`
// makes its ids unique in the page.
void lw_svg(struct lw_text *out, const struct lw_display_list *list, const char *class,
            const char *title, const char *alternative, int number);

// Adds the style sheet of a page. The running title stands at the foot of every printed page, the
// mark (NULL: none) at its head; both may hold any text.
void lw_style(struct lw_text *out, const char *running_title, const char *page_mark);

#endif
