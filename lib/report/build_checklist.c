// SPDX-License-Identifier: GPL-3.0-or-later
//
// What was looked at, item by item, with remarks, and the pictures below.
#include "report/build.h"
#include "report/words.h"

static const char *said(int answer)
{
    static const char *const words[] = {N_("open"), N_("yes"), N_("no"), N_("not applicable")};
    return _(words[answer]);
}

static enum lw_verdict mark_of(const struct lw_checklist_answer *answer)
{
    switch ((enum lw_checklist_said)answer->said) {
    case LW_CHECK_NO:
        return answer->required ? LW_FAIL : LW_ATTENTION;
    case LW_CHECK_OPEN:
        return answer->required ? LW_UNDECIDED : LW_NOT_TESTED;
    case LW_CHECK_YES:
    case LW_CHECK_NOT_APPLICABLE:
        break;
    }
    return LW_PASS;
}

static void picture(struct lw_document *document, const struct lw_report_view *view,
                    const struct lw_checklist_answer *answer, const char *text)
{
    char caption[LW_DOCUMENT_SENTENCE];
    lw_print(caption, sizeof caption, "%s \xe2\x80\x93 %s%s%s", text, said(answer->said),
             answer->remark != NULL ? ": " : "", answer->remark != NULL ? answer->remark : "");
    lw_album_show(document, view->album, answer->photo, caption);
}

// The item in the reader's language; to free, NULL when memory is out.
static char *text_of(const struct lw_report_view *view, const struct lw_checklist_answer *answer)
{
    char *text = lw_sentences_say(view->sentences, answer->text);
    return text != NULL ? text : lw_duplicate(answer->text);
}

static void pictures(struct lw_document *document, const struct lw_report_view *view,
                     const struct lw_list *list)
{
    const struct lw_checklist_answer *answers = list->items;
    for (size_t i = 0; i < list->count; i++) {
        char *text = text_of(view, &answers[i]);
        picture(document, view, &answers[i], text != NULL ? text : answers[i].id);
        free(text);
    }
    for (size_t i = 0; i < list->count; i++) {
        lw_album_excuse(document, view->album, answers[i].photo);
    }
}

void lw_report_checklist(struct lw_document *document, const struct lw_report_view *view,
                         const struct lw_record *record, const struct lw_checklist_result *result)
{
    const struct lw_column columns[] = {
        {_("Item"), NULL, false},   {_("Needed"), NULL, false},  {_("Answer"), NULL, false},
        {_("Remark"), NULL, false}, {_("Picture"), NULL, false},
    };
    const struct lw_checklist_answer *answers = result->answers.items;
    lw_report_section(document, _("Checklist"), record);
    lw_document_table(document, result->title != NULL ? result->title : _("What was looked at"),
                      columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->answers.count; i++) {
        char *text = text_of(view, &answers[i]);
        lw_document_cell(document, text);
        lw_document_cell(document, answers[i].required ? _("required") : _("beyond"));
        lw_document_cell(document, said(answers[i].said));
        lw_document_cell(document, answers[i].remark);
        lw_document_cell(document, answers[i].photo);
        lw_document_mark(document, mark_of(&answers[i]));
        free(text);
    }
    pictures(document, view, &result->answers);
}
