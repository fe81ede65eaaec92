// SPDX-License-Identifier: GPL-3.0-or-later
//
// The report from a visit: reads the results of the records that count and has them told.
#include "report/build.h"
#include "base/file.h"
#include "check/note.h"
#include "report/report.h"
#include "report/units.h"

struct kind {
    const char *check;
    const struct lw_shape *shape;
};

static const struct lw_shape *shape_of(const char *check)
{
    const struct kind kinds[] = {
        {"scan", &lw_scan_shape},       {"roster", &lw_roster_shape},
        {"link", &lw_link_shape},       {"supply", &lw_supply_shape},
        {"noise", &lw_noise_shape},     {"note", &lw_note_shape},
        {"meter", &lw_meter_shape},     {"checklist", &lw_checklist_shape},
        {"compare", &lw_compare_shape}, {"watch", &lw_live_shape},
        {"touch", &lw_touch_shape},     {"restart", &lw_restart_shape},
    };
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        if (strcmp(kinds[i].check, check) == 0) {
            return kinds[i].shape;
        }
    }
    return NULL;
}

// A result that does not read leaves NULL: its section says so.
static enum lw_status read_result(struct lw_report_counted *counted, struct lw_error *error)
{
    const struct lw_shape *shape = shape_of(counted->record->check);
    if (shape == NULL || counted->record->result == NULL) {
        return LW_OK;
    }
    void *result = calloc(1, shape->size);
    if (result == NULL) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    const char *json = counted->record->result;
    enum lw_status status = lw_json_read(shape, json, strlen(json), result, error);
    if (status != LW_OK) {
        free(result);
        return status == LW_MEMORY ? status : LW_OK;
    }
    counted->result = result;
    return LW_OK;
}

static void free_counting(struct lw_list *counting)
{
    struct lw_report_counted *counted = counting->items;
    for (size_t i = 0; i < counting->count; i++) {
        if (counted[i].result != NULL) {
            lw_json_free(shape_of(counted[i].record->check), counted[i].result);
            free(counted[i].result);
        }
    }
    free(counting->items);
}

static enum lw_status read_counting(const struct lw_list *records, struct lw_list *counting,
                                    struct lw_error *error)
{
    if (!lw_report_choose(records, counting)) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    struct lw_report_counted *counted = counting->items;
    for (size_t i = 0; i < counting->count; i++) {
        enum lw_status status = read_result(&counted[i], error);
        if (status != LW_OK) {
            return status;
        }
    }
    return LW_OK;
}

static const char *last_digest(const struct lw_visit *visit, const struct lw_list *records,
                               char digest[LW_DIGEST])
{
    char path[LW_PATH];
    if (records->count == 0) {
        return NULL;
    }
    const struct lw_record *last = lw_report_record_at(records, records->count - 1);
    bool known = lw_visit_path(visit, last->number, last->check, "json", path, sizeof path) &&
                 lw_file_digest(path, digest, NULL) == LW_OK;
    return known ? digest : NULL;
}

static enum lw_status look_at_signatures(const struct lw_list *records, struct lw_anchor *anchor,
                                         struct lw_list *signatures, struct lw_error *error)
{
    for (size_t i = 0; i < records->count; i++) {
        const struct lw_record *record = lw_report_record_at(records, i);
        if (strcmp(record->check, "signature") != 0) {
            continue;
        }
        struct lw_signature_state *state = lw_list_add(signatures, sizeof *state);
        if (state == NULL) {
            return lw_fail(error, LW_MEMORY, "out of memory");
        }
        enum lw_status status = lw_signature_look(record, anchor, state, error);
        if (status != LW_OK) {
            return status;
        }
        if (state->good) {
            lw_copy(anchor->fingerprint, sizeof anchor->fingerprint, state->fingerprint);
        }
    }
    return LW_OK;
}

static enum lw_status change_lengths(struct lw_list *records, struct lw_list *counting,
                                     const char *unit, struct lw_error *error)
{
    enum lw_status status = lw_units_findings(records, unit, error);
    struct lw_report_counted *counted = counting->items;
    for (size_t i = 0; i < counting->count && status == LW_OK; i++) {
        if (strcmp(counted[i].record->check, "noise") == 0 && counted[i].result != NULL) {
            status = lw_units_noise(counted[i].result, unit, error);
        }
    }
    return status;
}

static enum lw_status take_note(struct lw_list *album, const struct lw_visit *visit,
                                const struct lw_list *records, const struct lw_note *note,
                                struct lw_error *error)
{
    return note->photo == NULL ? LW_OK
                               : lw_album_take(album, visit->folder, records, note->photo,
                                               note->photo_sha256, error);
}

static enum lw_status take_checklist(struct lw_list *album, const struct lw_visit *visit,
                                     const struct lw_list *records,
                                     const struct lw_checklist_result *result,
                                     struct lw_error *error)
{
    const struct lw_checklist_answer *answers = result->answers.items;
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < result->answers.count && status == LW_OK; i++) {
        if (answers[i].photo != NULL) {
            status = lw_album_take(album, visit->folder, records, answers[i].photo,
                                   answers[i].photo_sha256, error);
        }
    }
    return status;
}

// Where not all find room, what the checklist found wrong goes before the notes.
static enum lw_status take_pictures(const struct lw_visit *visit, const struct lw_list *records,
                                    const struct lw_list *counting, struct lw_list *album,
                                    struct lw_error *error)
{
    static const char *const checks[] = {"checklist", "note"};
    const struct lw_report_counted *counted = counting->items;
    enum lw_status status = LW_OK;
    for (int turn = 0; turn < 2; turn++) {
        for (size_t i = 0; i < counting->count && status == LW_OK; i++) {
            if (counted[i].result == NULL || strcmp(counted[i].record->check, checks[turn]) != 0) {
                continue;
            }
            status = turn == 0 ? take_checklist(album, visit, records, counted[i].result, error)
                               : take_note(album, visit, records, counted[i].result, error);
        }
    }
    return status;
}

static void put_anchor(struct lw_document *document, const struct lw_anchor *anchor)
{
    struct lw_text text = {0};
    lw_anchor_text(anchor, &text);
    document->failed = document->failed || text.failed;
    lw_document_anchor(document, text.bytes);
    lw_text_finish(&text);
}

enum lw_status lw_report_build(const struct lw_visit *visit, const struct lw_plan *plan,
                               struct lw_list *records, int broken,
                               const struct lw_report_making *making, struct lw_document *document,
                               struct lw_error *error)
{
    struct lw_list counting = {0}, signatures = {0}, album = {0};
    struct lw_acceptance acceptance;
    struct lw_anchor anchor = {0};
    char digest[LW_DIGEST];
    *document = (struct lw_document){0};
    enum lw_status status = read_counting(records, &counting, error);
    if (status == LW_OK) {
        status = lw_anchor_of_visit(visit, &anchor, error);
    }
    if (status == LW_OK) {
        status = look_at_signatures(records, &anchor, &signatures, error);
    }
    if (status == LW_OK) {
        status = take_pictures(visit, records, &counting, &album, error);
    }
    if (status == LW_OK) {
        status = lw_sentences_apply(making->sentences, records, error);
    }
    if (status == LW_OK && making->length_unit != NULL) {
        status = change_lengths(records, &counting, making->length_unit, error);
    }
    if (status == LW_OK) {
        lw_acceptance_judge(plan, records, broken, &acceptance);
        struct lw_report_view view = {
            .facts = &visit->facts,
            .plan = plan,
            .records = records,
            .counting = &counting,
            .acceptance = &acceptance,
            .broken = broken,
            .last_digest = last_digest(visit, records, digest),
            .anchor = &anchor,
            .signatures = &signatures,
            .album = &album,
            .now_utc_ns = making->now_utc_ns,
            .version = making->version,
            .language = making->language,
            .sentences = making->sentences,
        };
        lw_report_tell(document, &view);
        document->bad_pictures = lw_album_count_bad(&album);
        put_anchor(document, &anchor);
        status = document->failed ? lw_fail(error, LW_MEMORY, "out of memory") : LW_OK;
    }
    if (status != LW_OK) {
        lw_document_finish(document);
    }
    lw_album_finish(&album);
    free_counting(&counting);
    free(signatures.items);
    lw_anchor_free(&anchor);
    return status;
}
