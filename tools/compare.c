// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk compare: this visit against an earlier one.
#include "check/compare.h"

#include "base/number.h"
#include "base/text.h"
#include "cli/output.h"
#include "cli/session.h"
#include "commands.h"
#include "earlier.h"

#include <math.h>

// What one visit holds of the checks that are compared.
struct side {
    struct lw_compare_side side;
    struct lw_roster_result roster;
    struct lw_supply_result supply;
    struct lw_noise_result noise;
    struct lw_link_result link;
};

static void begin_side(struct side *side)
{
    *side = (struct side){0};
    lw_json_init(&lw_roster_shape, &side->roster);
    lw_json_init(&lw_supply_shape, &side->supply);
    lw_json_init(&lw_noise_shape, &side->noise);
    lw_json_init(&lw_link_shape, &side->link);
}

static void free_side(struct side *side)
{
    lw_json_free(&lw_roster_shape, &side->roster);
    lw_json_free(&lw_supply_shape, &side->supply);
    lw_json_free(&lw_noise_shape, &side->noise);
    lw_json_free(&lw_link_shape, &side->link);
}

static enum lw_status read_side(struct side *side, const struct lw_list *records,
                                const char *opened, struct lw_error *error)
{
    bool has[4] = {0};
    side->side.opened = opened;
    enum lw_status status =
        lw_earlier_result(records, "roster", &lw_roster_shape, &side->roster, &has[0], error);
    if (status == LW_OK) {
        status =
            lw_earlier_result(records, "supply", &lw_supply_shape, &side->supply, &has[1], error);
    }
    if (status == LW_OK) {
        status = lw_earlier_result(records, "noise", &lw_noise_shape, &side->noise, &has[2], error);
    }
    if (status == LW_OK) {
        status = lw_earlier_result(records, "link", &lw_link_shape, &side->link, &has[3], error);
    }
    side->side.roster = has[0] ? &side->roster : NULL;
    side->side.supply = has[1] ? &side->supply : NULL;
    side->side.noise = has[2] ? &side->noise : NULL;
    side->side.link = has[3] ? &side->link : NULL;
    return status;
}

static void print_row(struct lw_cli_table *table, const struct lw_compare_row *row)
{
    static const char *const outcomes[] = {"-", "moved", "worse"};
    char before[LW_NUMBER_TEXT], now[LW_NUMBER_TEXT], low[LW_NUMBER_TEXT], high[LW_NUMBER_TEXT];
    double resolution = (row->change_high - row->change_low) / 4;
    lw_number_for_people(row->before, resolution, before);
    lw_number_for_people(row->now, resolution, now);
    lw_number_for_people(row->change_low, resolution, low);
    lw_number_for_people(row->change_high, resolution, high);
    const char *const cells[] = {
        lw_cell_text(row->node),
        lw_compare_word((enum lw_compare_what)row->what),
        before,
        now,
        low,
        high,
        strcmp(row->unit, "1") == 0 ? "a poll" : row->unit,
        outcomes[row->outcome],
        row->other_serial ? "exchanged" : "",
    };
    lw_cli_table_row(table, cells);
}

static void print_result(const struct lw_compare_result *result)
{
    static const char *const heads[] = {"node", "what", "before|", "now|",   "change from|",
                                        "to|",  "unit", "proved",  "serial", NULL};
    const struct lw_compare_row *rows = result->rows.items;
    char *const *reasons = result->not_compared.items;
    size_t moved = 0;
    struct lw_cli_table *table = lw_cli_table_new(heads);
    for (size_t i = 0; i < result->rows.count; i++) {
        if (rows[i].outcome != LW_COMPARE_SAME || rows[i].other_serial) {
            print_row(table, &rows[i]);
        }
        moved += rows[i].outcome != LW_COMPARE_SAME;
    }
    printf("against the visit opened %s\n", lw_cell_text(result->earlier_opened));
    lw_cli_table_print(table);
    printf("%zu of %zu values have moved beyond their uncertainty; the others are in the record\n",
           moved, result->rows.count);
    for (size_t i = 0; i < result->not_compared.count; i++) {
        lw_print_wrapped("", 0, 4, reasons[i]);
    }
}

static enum lw_status compare(struct lw_session *session, const char *folder,
                              struct lw_compare_result *result, struct lw_step *step,
                              struct lw_error *error)
{
    struct side before, now;
    struct lw_visit earlier = {.lock = {-1}};
    struct lw_list records = {0};
    begin_side(&before);
    begin_side(&now);
    enum lw_status status = lw_earlier_open(folder, session->clock, &earlier, &records, error);
    if (status == LW_OK) {
        status = read_side(&before, &records, earlier.facts.opened, error);
    }
    if (status == LW_OK) {
        status = read_side(&now, &session->records, session->visit.facts.opened, error);
    }
    if (status == LW_OK) {
        status = lw_compare(session->has_plan ? &session->plan : NULL, &before.side, &now.side,
                            result, &step->rule, error);
        result->earlier_folder = lw_duplicate(folder);
        step->has_rule = status == LW_OK;
    }
    lw_records_free(&records);
    lw_visit_close(&earlier);
    free_side(&before);
    free_side(&now);
    return status;
}

static bool any_simulated(const struct lw_list *records)
{
    const struct lw_record *record = records->items;
    for (size_t i = 0; i < records->count; i++) {
        if (record[i].line != NULL && record[i].line->simulated) {
            return true;
        }
    }
    return false;
}

int lw_cmd_compare(struct lw_cli *cli)
{
    struct lw_error error = {0};
    struct lw_session session;
    struct lw_step step;
    struct lw_compare_result result;
    int exit_status;
    if (!lw_cli_parse(cli, NULL, 1, &exit_status)) {
        return exit_status;
    }
    if (cli->rest[0] == NULL) {
        lw_fail(&error, LW_USAGE, "against which visit? linewalk compare ../visit-before");
        return lw_cli_fail(cli, &error);
    }
    if (lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    lw_json_init(&lw_compare_shape, &result);
    enum lw_status status = lw_step_begin(&session, &step, "compare", false, &error);
    if (status == LW_OK) {
        step.of_simulated = any_simulated(&session.records);
        status = compare(&session, cli->rest[0], &result, &step, &error);
    }
    if (status == LW_OK) {
        lw_compare_findings(&result, &step.findings);
    }
    step.shape = &lw_compare_shape;
    step.result = &result;
    exit_status = lw_step_end(&session, &step, status, &error, false);
    if (status == LW_OK && !cli->settings.json) {
        print_result(&result);
    }
    lw_step_print(&session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_compare_shape, &result);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_compare = {"compare", "this visit against an earlier one",
                                              "VISIT",
                                              "Holds what this visit has measured against an "
                                              "earlier visit to the same machine, node by node: "
                                              "volts, spread of the readings, errors. Says what "
                                              "has moved beyond its uncertainty, and what of "
                                              "that is for the worse.",
                                              lw_cmd_compare};
