// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk roster: who each node is, against the plan.
#include "checks.h"

#include "base/text.h"
#include "check/roster.h"
#include "cli/output.h"
#include "commands.h"
#include "roster_as_built.h"

static void print_result(const struct lw_roster_result *result)
{
    static const char *const heads[] = {"tap|",     "node",   "address|", "state", "product",
                                        "firmware", "serial", "volts|",   "place", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_roster_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_roster_node *node = &nodes[i];
        const char *const cells[] = {
            node->tap > 0 ? lw_cell_count(node->tap) : "-",
            lw_cell_text(node->node),
            lw_cell_count(node->address),
            lw_roster_state_word((enum lw_roster_state)node->state),
            lw_cell_text(node->product_code),
            lw_cell_text(node->revision),
            lw_cell_text(node->serial),
            lw_cell_number(node->supply_v, 2),
            lw_cell_text(node->place),
        };
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
    printf("\n%d of %d planned nodes are present and the right kind\n", result->present,
           result->planned);
}

static enum lw_status draft_plan(struct lw_session *session, const struct lw_roster_result *result,
                                 const char *path, struct lw_error *error)
{
    struct lw_text json = {0};
    struct lw_list profiles = {0};
    char framing[LW_FRAMING_TEXT];
    lw_framing_text(&session->line->framing, framing);
    const char *given = session->cli->settings.profiles;
    enum lw_status status =
        lw_profiles_load(given != NULL ? given : LW_PROFILESDIR, &profiles, NULL, error);
    if (status == LW_OK) {
        status = lw_roster_draft(result, &profiles, framing, &json, error);
    }
    if (status == LW_OK) {
        status = lw_file_write_new(path, json.bytes, json.length, error);
    }
    if (status == LW_OK) {
        lw_cli_say(session->cli, "drafted '%s': spans and supplies are yours to fill in", path);
    }
    lw_profiles_free(&profiles);
    lw_text_finish(&json);
    return status;
}

// Without a plan the roster is of those whom a quick pass over the addresses finds.
static enum lw_status find_addresses(struct lw_session *session, struct lw_client *client,
                                     bool addresses[256], struct lw_error *error)
{
    struct lw_scan_options options = {.gentle = true};
    struct lw_scan_result result;
    memcpy(options.selected, session->addresses, sizeof options.selected);
    enum lw_status status = lw_scan_measure(&session->run, client, NULL, &options, &result, error);
    const struct lw_scan_node *nodes = result.nodes.items;
    for (size_t i = 0; i < result.nodes.count; i++) {
        addresses[nodes[i].address] = true;
    }
    lw_json_free(&lw_scan_shape, &result);
    return status;
}

// Whom a look over the addresses finds beyond the plan, so that a plan can take them.
static enum lw_status look_around(struct lw_session *session, struct lw_client *client,
                                  const struct lw_roster_request *request,
                                  struct lw_roster_options *options, struct lw_error *error)
{
    bool needed = !session->has_plan || (request->as_built != NULL && session->selected == NULL);
    return needed ? find_addresses(session, client, options->addresses, error) : LW_OK;
}

// Asks, and hands the result on to whoever makes a plan of it.
static enum lw_status measure(struct lw_session *session, const struct lw_roster_request *request,
                              struct lw_step *step, struct lw_roster_result *result,
                              struct lw_as_built *as_built, struct lw_error *error)
{
    struct lw_client *client = NULL;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    struct lw_roster_options options = {.gentle = session->cli->settings.gentle,
                                        .selected = session->selected};
    enum lw_status status = lw_session_client(session, &client, error);
    if (status == LW_OK) {
        status = look_around(session, client, request, &options, error);
    }
    if (status == LW_OK) {
        status = lw_roster_measure(&session->run, client, plan, &options, result, error);
    }
    if (status != LW_OK) {
        return status;
    }
    lw_roster_findings(&session->run, plan, result, &step->findings);
    if (request->draft_plan != NULL) {
        status = draft_plan(session, result, request->draft_plan, error);
    }
    return status == LW_OK && request->as_built != NULL
               ? lw_as_built_write(session, request, result, as_built, error)
               : status;
}

int lw_do_roster(struct lw_session *session, const struct lw_roster_request *request, bool required)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_roster_result result;
    struct lw_as_built as_built = {0};
    lw_json_init(&lw_roster_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "roster", false, &error);
    if (status == LW_OK && request->as_built != NULL) {
        status = lw_as_built_allowed(session, request, &as_built, &error);
    }
    bool measured = status == LW_OK;
    if (measured) {
        status = measure(session, request, &step, &result, &as_built, &error);
    }
    lw_session_is_simulated(session, result.simulated);
    step.shape = &lw_roster_shape;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    if (!session->cli->settings.json && measured) {
        print_result(&result);
    }
    lw_step_print(session, &step);
    if (status == LW_OK && request->as_built != NULL) {
        exit_status = lw_exit_worse(exit_status, lw_as_built_go_on(session, request, &as_built));
    }
    lw_as_built_finish(&as_built);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_roster_shape, &result);
    return exit_status;
}

static bool fits(const struct lw_roster_request *request, struct lw_error *error)
{
    if (request->draft_plan != NULL && request->as_built != NULL) {
        lw_fail(error, LW_USAGE, "--draft-plan and --as-built do not go together");
    } else if (request->as_built == NULL && request->reason != NULL) {
        lw_fail(error, LW_USAGE, "--reason goes with --as-built");
    } else if (request->as_built == NULL && request->answers != NULL) {
        lw_fail(error, LW_USAGE, "--answers goes with --as-built");
    } else {
        return true;
    }
    return false;
}

int lw_cmd_roster(struct lw_cli *cli)
{
    struct lw_roster_request request = {0};
    const struct lw_option own[] = {
        {"draft-plan", 0, "FILE", LW_OPTION_TEXT, &request.draft_plan, 0, 0,
         "write a plan of what is there to a new file"},
        {"as-built", 0, "FILE", LW_OPTION_TEXT, &request.as_built, 0, 0,
         "write a new revision of the plan with what was found: serials, firmware, kinds, nodes "
         "that were not planned; the visit goes on with it"},
        {"reason", 0, "TEXT", LW_OPTION_TEXT, &request.reason, 0, 0,
         "why the plan is revised, for the record"},
        {"answers", 0, "FILE", LW_OPTION_TEXT, &request.answers, 0, 0,
         "the answer whether --as-built may overwrite its file, from a file instead of asking"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    unsigned plan = request.as_built != NULL ? LW_NEEDS_PLAN : LW_TAKES_PLAN;
    struct lw_session session;
    if (!fits(&request, &error) ||
        lw_session_open(&session, cli, LW_NEEDS_LINE | plan, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_roster(&session, &request, true);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_roster = {
    "roster", "who each node is, against the plan", "",
    "Asks each planned node who it is: missing, swapped, wrong kind, doubled, unreadable, old "
    "firmware, calibration due. Without a plan it lists who is there; --draft-plan makes a plan of "
    "that; --as-built revises the plan to it. What looks like a mistake at the machine, such as "
    "two "
    "nodes in each other's place, is never taken into a plan.",
    lw_cmd_roster};
