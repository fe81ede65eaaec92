// SPDX-License-Identifier: GPL-3.0-or-later
//
// Source tests: the dialog with its measurements, and the readings of two records.
#include "noise_switch.h"

#include "base/csv.h"
#include "base/number.h"
#include "base/text.h"
#include "check/noise_switch.h"
#include "cli/dialog.h"

enum { MOST_BYTES = 256 * 1024 * 1024 };

static const char caution[] =
    N_("Keep clear of the machine while the source is on; do not reach in. Keep magnets and other "
       "drives away from inductive probes meanwhile.");

static enum lw_status measure_stretch(struct lw_session *session, struct lw_switch *dialog,
                                      const struct lw_noise_options *options,
                                      struct lw_series *series, struct lw_noise_facts *facts,
                                      struct lw_error *error)
{
    struct lw_client *client = NULL;
    struct lw_noise_options own = *options;
    struct lw_noise_facts further = {0};
    bool first = facts->taps.count == 0;
    enum lw_status status = lw_session_client(session, &client, error);
    if (status != LW_OK) {
        return status;
    }
    const struct lw_clock *clock = session->line->clock;
    own.at_s = first ? 0 : (double)(lw_clock_now_ns(clock) - facts->start_ns) / 1e9;
    status = lw_noise_measure(&session->run, client, &session->plan, &own, series,
                              first ? facts : &further, error);
    lw_noise_facts_finish(&further);
    double to_s = (double)(lw_clock_now_ns(clock) - facts->start_ns) / 1e9;
    return status == LW_OK ? lw_switch_measured(dialog, own.at_s, to_s, error) : status;
}

static enum lw_status walk_dialog(struct lw_session *session, struct lw_talk *talk,
                                  struct lw_switch *dialog, const struct lw_noise_options *options,
                                  struct lw_series *series, struct lw_noise_facts *facts,
                                  struct lw_error *error)
{
    enum lw_dialog_next next = LW_DIALOG_ACT;
    enum lw_status status = LW_OK;
    while (status == LW_OK && next == LW_DIALOG_ACT) {
        status = lw_talk_on(talk, &dialog->dialog, &next, error);
        if (status == LW_OK && next == LW_DIALOG_ACT) {
            status = measure_stretch(session, dialog, options, series, facts, error);
        }
    }
    return status;
}

enum lw_status lw_noise_switch(struct lw_session *session, const struct lw_noise_request *request,
                               const struct lw_noise_options *options, struct lw_series *series,
                               struct lw_noise_facts *facts, struct lw_list *stretches,
                               struct lw_error *error)
{
    struct lw_talk *talk = NULL;
    struct lw_switch dialog;
    char source[80];
    lw_text_clean(source, sizeof source, request->source, strlen(request->source));
    lw_switch_init(&dialog, source);
    enum lw_status status = lw_talk_open(session, session->step, &request->talk, &talk, error);
    if (status == LW_OK) {
        lw_talk_say(talk, caution);
        status = walk_dialog(session, talk, &dialog, options, series, facts, error);
    }
    lw_talk_close(talk);
    *stretches = dialog.stretches;
    dialog.stretches = (struct lw_list){0};
    lw_switch_finish(&dialog);
    return status;
}

static enum lw_status find_record(const struct lw_session *session, const char *text,
                                  const struct lw_record **record, struct lw_error *error)
{
    int64_t number;
    enum lw_status status = lw_number_integer(text, 1, 9999, &number, error);
    if (status != LW_OK) {
        lw_error_within(error, "--between");
        return status;
    }
    const struct lw_record *records = session->records.items;
    for (size_t i = 0; i < session->records.count; i++) {
        if (records[i].number == number && strcmp(records[i].check, "noise") == 0) {
            *record = &records[i];
            return LW_OK;
        }
    }
    return lw_fail(error, LW_USAGE, "the visit has no noise record %d", (int)number);
}

static bool is_simulated(const struct lw_record *record)
{
    return record->line != NULL && record->line->simulated;
}

static double started_s(const struct lw_record *record)
{
    int64_t utc_ns = 0;
    return record->started != NULL && lw_time_parse(record->started, &utc_ns) == 0
               ? (double)utc_ns / 1e9
               : 0;
}

static enum lw_status add_record(const struct lw_session *session, const struct lw_record *record,
                                 double at_s, bool on, struct lw_series *series,
                                 struct lw_list *stretches, struct lw_error *error)
{
    char path[LW_PATH];
    struct lw_text bytes = {0};
    struct lw_series own = {0};
    lw_visit_path(&session->visit, record->number, "noise", "csv", path, sizeof path);
    enum lw_status status = lw_file_read(path, MOST_BYTES, &bytes, error);
    if (status == LW_OK) {
        status = lw_csv_readings(bytes.bytes, bytes.length, path, NULL, &own, error);
    }
    lw_text_finish(&bytes);
    struct lw_noise_stretch span = {.from_s = INFINITY, .to_s = -INFINITY, .on = on};
    for (size_t i = 0; i < own.count && status == LW_OK; i++) {
        const struct lw_series_name *name = &own.names[own.node[i]];
        struct lw_reading reading = {.time_s = at_s + own.time_s[i],
                                     .node = name->node,
                                     .unit = name->unit,
                                     .value = own.value[i]};
        span.from_s = fmin(span.from_s, reading.time_s);
        span.to_s = fmax(span.to_s, nextafter(reading.time_s, INFINITY));
        status = lw_series_add(series, &reading, error);
    }
    lw_series_finish(&own);
    if (status == LW_OK) {
        struct lw_noise_stretch *stretch = lw_list_add(stretches, sizeof *stretch);
        status = stretch != NULL ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for a stretch");
        if (stretch != NULL) {
            *stretch = span;
        }
    }
    return status;
}

enum lw_status lw_noise_between(struct lw_session *session, const struct lw_noise_request *request,
                                struct lw_series *series, struct lw_list *stretches,
                                struct lw_error *error)
{
    const struct lw_record *off = NULL, *on = NULL;
    enum lw_status status = find_record(session, request->between, &off, error);
    if (status == LW_OK) {
        status = find_record(session, request->and_record, &on, error);
    }
    if (status == LW_OK) {
        lw_cli_say(session->cli, "record %d (%s) counts as off, record %d (%s) as on", off->number,
                   off->state != NULL ? off->state : "state not stated", on->number,
                   on->state != NULL ? on->state : "state not stated");
        session->step->of_simulated = is_simulated(off) || is_simulated(on);
        status = add_record(session, off, 0, false, series, stretches, error);
    }
    return status == LW_OK ? add_record(session, on, started_s(on) - started_s(off), true, series,
                                        stretches, error)
                           : status;
}
