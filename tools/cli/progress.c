// SPDX-License-Identifier: GPL-3.0-or-later
//
// Progress for who waits, readings for the record.
#include "cli/progress.h"

#include "base/csv.h"
#include "base/number.h"
#include "base/text.h"

static void time_left(double eta_s, char *text, size_t size)
{
    if (!isfinite(eta_s)) {
        text[0] = '\0';
    } else if (eta_s < 90) {
        lw_print(text, size, ", %.0f s left", ceil(eta_s));
    } else {
        lw_print(text, size, ", %.0f min left", ceil(eta_s / 60));
    }
}

void lw_session_progress(void *user, const struct lw_progress *progress)
{
    struct lw_session *session = user;
    const struct lw_settings *settings = &session->cli->settings;
    const int64_t interval_ns = 200000000;
    int64_t now_ns = lw_clock_now_ns(&session->system);
    double run_s = (double)(now_ns - session->opened_ns) / 1e9 +
                   (isfinite(progress->eta_s) ? progress->eta_s : 0);
    if (run_s > LW_LONG_S) {
        lw_session_stay_awake(session);
    }
    if (settings->quiet || !lw_cli_progress_terminal() ||
        now_ns - session->progress_ns < interval_ns) {
        return;
    }
    char left[40];
    time_left(progress->eta_s, left, sizeof left);
    fprintf(stderr, "\r\033[K%s: %.0f of %.0f %s%s", progress->phase, floor(progress->done),
            progress->total, progress->unit, left);
    fflush(stderr);
    session->progress_ns = now_ns;
    session->progress_shown = true;
}

void lw_progress_clear(struct lw_session *session)
{
    if (session->progress_shown) {
        fputs("\r\033[K", stderr);
        session->progress_shown = false;
    }
}

static enum lw_status write_reading(struct lw_step *step, const struct lw_reading *reading)
{
    struct lw_text row = {0};
    const char *unit = reading->unit != NULL ? reading->unit : "1";
    if (strcmp(unit, step->readings_unit) != 0) {
        lw_text_add(&row, "# unit: %s\n", unit);
        if (step->readings_unit[0] == '\0') {
            lw_text_add(&row, "time_s,node,value\n");
        }
        lw_copy(step->readings_unit, sizeof step->readings_unit, unit);
    }
    char value[LW_NUMBER_TEXT];
    lw_number_exact(reading->value, value);
    lw_text_add(&row, "%.6f", reading->time_s);
    lw_csv_field(&row, reading->node, 1);
    lw_text_add(&row, ",%s\n", value);
    enum lw_status status = lw_text_check(&row, NULL);
    if (status == LW_OK) {
        status = lw_file_append(step->readings, row.bytes, row.length, NULL);
    }
    lw_text_finish(&row);
    return status;
}

void lw_session_reading(void *user, const struct lw_reading *reading)
{
    struct lw_session *session = user;
    struct lw_step *step = session->step;
    if (step != NULL && step->readings != NULL && step->readings_status == LW_OK) {
        step->readings_status = write_reading(step, reading);
    }
}
