// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk meter: guided steps with a hand meter.
#include "commands.h"

#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "check/meter_dialog.h"
#include "cli/dialog.h"
#include "cli/output.h"
#include "cli/session.h"

struct request {
    struct lw_talk_request talk;
    const char *only; // "off", "on"; NULL: both
};

static enum lw_status part_of(const struct request *request, enum lw_meter_part *part,
                              struct lw_error *error)
{
    *part = LW_METER_BOTH;
    if (request->only == NULL) {
        return LW_OK;
    }
    bool off = strcmp(request->only, "off") == 0;
    *part = off ? LW_METER_ONLY_OFF : LW_METER_ONLY_ON;
    return off || strcmp(request->only, "on") == 0
               ? LW_OK
               : lw_fail(error, LW_USAGE, "--only takes off or on");
}

static enum lw_status talk_through(struct lw_session *session, struct lw_step *step,
                                   const struct request *request, struct lw_meter_dialog *dialog,
                                   struct lw_error *error)
{
    struct lw_talk *talk = NULL;
    enum lw_dialog_next next = LW_DIALOG_ASK;
    char made_sure_by[LW_ANSWER_SIZE];
    enum lw_status status = lw_talk_open(session, step, &request->talk, &talk, error);
    if (status == LW_OK) {
        status = lw_talk_safety(talk, made_sure_by, error);
    }
    if (status == LW_OK) {
        dialog->result.made_sure_by = lw_duplicate(made_sure_by);
        status = lw_talk_on(talk, &dialog->dialog, &next, error);
    }
    lw_talk_close(talk);
    return status;
}

static enum lw_status keep_values(struct lw_session *session, struct lw_step *step,
                                  const struct lw_meter_result *result, struct lw_error *error)
{
    struct lw_text text = {0};
    if (!session->has_visit || result->readings.count == 0) {
        return LW_OK;
    }
    lw_meter_csv(result, &text);
    enum lw_status status = lw_text_check(&text, error);
    if (status == LW_OK) {
        status = lw_step_write(session, step, "csv", text.bytes, text.length, NULL, error);
    }
    lw_text_finish(&text);
    return status;
}

static const char *band_cell(double low, double high, char *text, size_t size)
{
    char from[LW_NUMBER_TEXT], to[LW_NUMBER_TEXT];
    lw_number_for_people(low, NAN, from);
    lw_number_for_people(high, NAN, to);
    if (isnan(low) && isnan(high)) {
        return "-";
    }
    lw_print(text, size, "%s .. %s", isnan(low) ? "" : from, isnan(high) ? "" : to);
    return text;
}

static void print_values(const struct lw_meter_result *result)
{
    static const char *const heads[] = {"at", "red", "black", "value|", "", "allowed", "", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_meter_reading *readings = result->readings.items;
    for (size_t i = 0; i < result->readings.count; i++) {
        const struct lw_meter_reading *reading = &readings[i];
        char value[LW_NUMBER_TEXT], band[2 * LW_NUMBER_TEXT + 8];
        lw_number_for_people(reading->value, reading->uncertainty, value);
        bool none = isnan(reading->low) && isnan(reading->high);
        const char *const cells[] = {
            lw_cell_text(reading->at),
            lw_cell_text(reading->from),
            lw_cell_text(reading->to),
            reading->open   ? "OL"
            : reading->left ? "-"
                            : value,
            lw_unit_shown(reading->unit, lw_cli_utf8()),
            none ? "-" : band_cell(reading->low, reading->high, band, sizeof band),
            reading->left ? "left out" : lw_verdict_shown((enum lw_verdict)reading->verdict)};
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
}

static int do_meter(struct lw_session *session, const struct request *request,
                    enum lw_meter_part part)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_list steps = {0};
    struct lw_meter_dialog dialog = {0};
    enum lw_status status = lw_step_begin(session, &step, "meter", false, &error);
    if (status == LW_OK) {
        status = lw_meter_steps(&session->plan, session->selected, &steps, &error);
    }
    if (status == LW_OK) {
        status = lw_meter_dialog_init(&dialog, &session->plan, &steps, part, &error);
    }
    if (status == LW_OK) {
        status = talk_through(session, &step, request, &dialog, &error);
    }
    if (status == LW_OK || status == LW_CANCELLED) {
        lw_meter_findings(&session->plan, &steps, &dialog.result, session->run.today_days,
                          &step.findings);
        enum lw_status kept = keep_values(session, &step, &dialog.result, &error);
        status = kept != LW_OK ? kept : status;
    }
    step.shape = dialog.plan != NULL ? &lw_meter_shape : NULL;
    step.result = &dialog.result;
    step.judged_nothing = dialog.result.readings.count == 0;
    int exit_status = lw_step_end(session, &step, status, &error, true);
    if (!session->cli->settings.json && !step.refused && dialog.result.readings.count > 0) {
        print_values(&dialog.result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_meter_dialog_finish(&dialog);
    lw_json_free(&lw_meter_shape, &dialog.result);
    free(steps.items);
    return exit_status;
}

int lw_cmd_meter(struct lw_cli *cli)
{
    struct request request = {0};
    enum lw_meter_part part;
    struct lw_option own[LW_TALK_OPTIONS + 2] = {
        [LW_TALK_OPTIONS] = {"only", 0, "off|on", LW_OPTION_TEXT, &request.only, 0, 0,
                             "only the values with the power off, or with it on"}};
    lw_talk_options(&request.talk, own);
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    struct lw_session session;
    enum lw_status status = part_of(&request, &part, &error);
    if (status == LW_OK) {
        status = lw_session_open(&session, cli, LW_NEEDS_PLAN, &error);
    }
    if (status != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = do_meter(&session, &request, part);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_meter = {
    "meter", "a hand meter's values, step by step", "",
    "Says where the tips go, takes what the meter shows (a decimal comma and a unit will do, OL "
    "for "
    "open) and holds it against what the plan allows, with the meter's own uncertainty. Power off "
    "first: short, polarity, terminators, bonds of 0 V, fuses; then power on: supplies, far end, "
    "idle voltage. --nodes adds taps. Testing the protective conductor is left to a qualified "
    "person. The values stand beside the record as a file that linewalk supply takes.",
    lw_cmd_meter};
