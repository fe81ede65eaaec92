// SPDX-License-Identifier: GPL-3.0-or-later
//
// A finding in words, the same for every renderer: where it is and by which figures.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "report/document.h"
#include "report/words.h"

void lw_finding_where(const struct lw_finding *finding, struct lw_text *text)
{
    const char *between = "";
    if (finding->node != NULL) {
        lw_text_add(text, "%s", finding->node);
        between = ", ";
    }
    if (finding->tap > 0) {
        lw_text_add(text, _("%stap %d"), between, finding->tap);
        between = ", ";
    }
    if (finding->address > 0) {
        lw_text_add(text, _("%saddress %d"), between, finding->address);
        between = ", ";
    }
    if (finding->span > 0) {
        lw_text_add(text, _("%sspan %d"), between, finding->span);
    }
}

static void figure(struct lw_text *text, const char *label, const char *number, const char *unit)
{
    bool plain = unit == NULL || strcmp(unit, "1") == 0;
    lw_text_add(text, "%s%s %s%s%s", text->length == 0 ? "" : ", ", label, number, plain ? "" : " ",
                plain ? "" : lw_unit_shown(unit, true));
}

// A limit stands as it was set, a value as far as its uncertainty carries.
void lw_finding_figures(const struct lw_finding *finding, struct lw_text *text)
{
    char number[LW_NUMBER_TEXT];
    if (isfinite(finding->value)) {
        lw_number_for_people(finding->value, finding->uncertainty, number);
        figure(text, _("value"), number, finding->unit);
    }
    if (isfinite(finding->limit)) {
        lw_print(number, sizeof number, "%.6g", finding->limit);
        figure(text, _("limit"), number, finding->unit);
    }
    if (isfinite(finding->uncertainty)) {
        lw_print(number, sizeof number, "%.2g", finding->uncertainty);
        figure(text, _("standard uncertainty"), number, finding->unit);
    }
    if (finding->instrument != NULL) {
        lw_text_add(text, _("%smeasured with %s"), text->length == 0 ? "" : ", ",
                    finding->instrument);
    }
}
