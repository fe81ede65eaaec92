// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reading an earlier visit: nothing in it is written.
#include "earlier.h"

#include "base/file.h"
#include "base/text.h"

enum lw_status lw_earlier_open(const char *folder, const struct lw_clock *clock,
                               struct lw_visit *visit, struct lw_list *records,
                               struct lw_error *error)
{
    char file[LW_PATH], shown[200];
    struct lw_error broken_says = {0};
    int broken = 0;
    lw_text_clean(shown, sizeof shown, folder, strlen(folder));
    if (!lw_path_join(file, sizeof file, folder, "visit.json") || !lw_file_exists(file)) {
        return lw_fail(error, LW_USAGE, "'%s' is no visit", shown);
    }
    enum lw_status status = lw_visit_open(folder, NULL, clock, visit, error);
    if (status == LW_OK) {
        status = lw_visit_records(visit, records, &broken, &broken_says);
    }
    if (status == LW_OK && broken > 0) {
        status = lw_fail(error, LW_BAD_FILE,
                         "'%s' was changed since it was recorded: record %d does not fit", shown,
                         broken);
    }
    return status;
}

enum lw_status lw_earlier_result(const struct lw_list *records, const char *check,
                                 const struct lw_shape *shape, void *result, bool *has,
                                 struct lw_error *error)
{
    const struct lw_record *record = lw_records_last(records, check, true);
    *has = record != NULL && record->complete && record->result != NULL;
    if (!*has) {
        return LW_OK;
    }
    lw_json_free(shape, result);
    return lw_json_read(shape, record->result, strlen(record->result), result, error);
}
