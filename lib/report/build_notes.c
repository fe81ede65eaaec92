// SPDX-License-Identifier: GPL-3.0-or-later
//
// Notes and open points. Open points stand on the first page too, with room for who settles them
// and by when: a report with remarks is signed on them.
#include "check/note.h"
#include "report/build.h"
#include "report/words.h"

enum { FRONT_POINTS = 5 };

// A place to be filled in by hand; an empty cell would become a dash.
static const char by_hand[] = " ";

static const struct lw_note *note_of(const struct lw_report_view *view, size_t index)
{
    const struct lw_report_counted *counted = lw_report_counted_at(view, index);
    return strcmp(counted->record->check, "note") == 0 ? counted->result : NULL;
}

static size_t count_notes(const struct lw_report_view *view, bool only_open)
{
    size_t count = 0;
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_note *note = note_of(view, i);
        count += note != NULL && (note->open || !only_open);
    }
    return count;
}

static void point_row(struct lw_document *document, const struct lw_record *record,
                      const struct lw_note *note)
{
    lw_document_number(document, record->number, 0);
    lw_document_cell(document, note->node);
    lw_document_cell(document, note->text);
    lw_document_cell(document, by_hand);
    lw_document_cell(document, by_hand);
    lw_document_cell(document, by_hand);
    lw_document_mark(document, LW_ATTENTION);
}

void lw_report_open_points(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_column columns[] = {{_("Record"), NULL, true}, {_("Node"), NULL, false},
                                        {_("Point"), NULL, false}, {_("Owner"), NULL, false},
                                        {_("Due"), NULL, false},   {_("Closed by"), NULL, false}};
    size_t open = count_notes(view, true), told = 0;
    if (open == 0) {
        return;
    }
    lw_document_table(document, _("Open points"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < view->counting->count && told < FRONT_POINTS; i++) {
        const struct lw_note *note = note_of(view, i);
        if (note != NULL && note->open) {
            point_row(document, lw_report_counted_at(view, i)->record, note);
            told++;
        }
    }
    if (open > told) {
        lw_document_paragraph(document, _("%zu more open points stand among the notes."),
                              open - told);
    }
}

static void note_row(struct lw_document *document, const struct lw_record *record,
                     const struct lw_note *note)
{
    char time[64];
    lw_report_time(record->started, time, sizeof time);
    lw_document_number(document, record->number, 0);
    lw_document_cell(document, time);
    lw_document_cell(document, note->node);
    lw_document_cell(document, note->text);
    lw_document_cell(document, note->photo);
    lw_document_cell(document, note->open ? _("open") : NULL);
    lw_document_mark(document, note->open ? LW_ATTENTION : LW_PASS);
}

// "Note 7, P03: the clamp is loose".
static void picture(struct lw_document *document, const struct lw_report_view *view,
                    const struct lw_record *record, const struct lw_note *note)
{
    char caption[LW_DOCUMENT_SENTENCE];
    lw_print(caption, sizeof caption, _("Note %d%s%s: %s"), record->number,
             note->node != NULL ? ", " : "", note->node != NULL ? note->node : "",
             note->text != NULL ? note->text : "-");
    lw_album_show(document, view->album, note->photo, caption);
}

static void pictures(struct lw_document *document, const struct lw_report_view *view)
{
    for (size_t i = 0; i < view->counting->count; i++) {
        if (note_of(view, i) != NULL) {
            picture(document, view, lw_report_counted_at(view, i)->record, note_of(view, i));
        }
    }
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_note *note = note_of(view, i);
        lw_album_excuse(document, view->album, note != NULL ? note->photo : NULL);
    }
}

void lw_report_notes(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_column columns[] = {{_("Record"), NULL, true},   {_("Time"), NULL, false},
                                        {_("Node"), NULL, false},    {_("Note"), NULL, false},
                                        {_("Picture"), NULL, false}, {_("State"), NULL, false}};
    if (count_notes(view, false) == 0) {
        return;
    }
    lw_document_heading(document, 1, _("Notes and open points"));
    lw_document_table(document, _("Notes of this visit"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < view->counting->count; i++) {
        if (note_of(view, i) != NULL) {
            note_row(document, lw_report_counted_at(view, i)->record, note_of(view, i));
        }
    }
    pictures(document, view);
}
