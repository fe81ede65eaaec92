// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk replay: the site carried home in a file. Either its nodes answer again for any program,
// or its reads are sent again to a line and the answers compared.
#include "checks.h"

#include "base/text.h"
#include "chain/recorded.h"
#include "check/resend.h"
#include "cli/output.h"
#include "cli/recording.h"
#include "cli/serving.h"
#include "commands.h"

struct replaying {
    const char *path;
    bool fast, resend, allow_writes;
    double tolerance;
    struct lw_serving serving;
};

static void say_cut(const struct lw_cli *cli, const struct lw_recording *recording)
{
    if (recording->cut > 0) {
        lw_cli_say(cli, "%zu of %zu captures end in the middle of a block: read up to there",
                   recording->cut, recording->captures);
    }
}

static enum lw_status load(const struct lw_cli *cli, const char *path,
                           struct lw_recording *recording, struct lw_error *error)
{
    const char *given = cli->settings.framing;
    struct lw_framing framing;
    enum lw_status status = given != NULL ? lw_framing_parse(given, &framing, error) : LW_OK;
    if (status == LW_OK) {
        status = lw_recording_load(path, given != NULL ? &framing : NULL, recording, error);
    }
    if (status == LW_OK) {
        say_cut(cli, recording);
    }
    return status;
}

static int serve(struct lw_cli *cli, const struct replaying *replaying)
{
    struct lw_error error = {0};
    struct lw_recording recording = {0};
    struct lw_recorded *recorded = NULL;
    enum lw_status status = load(cli, replaying->path, &recording, &error);
    if (status == LW_OK) {
        const struct lw_recorded_options options = {.framing = recording.framing,
                                                    .fast = replaying->fast,
                                                    .utc_zero_ns = recording.utc_zero_ns};
        status = lw_recorded_new(recording.exchanges.items, recording.exchanges.count, &options,
                                 &recorded, &error);
    }
    if (status == LW_OK) {
        status = lw_serving_run(&replaying->serving, &recording.framing, lw_recorded_wire(recorded),
                                &error);
    }
    lw_recorded_free(recorded);
    lw_recording_free(&recording);
    return status == LW_OK ? LW_EXIT_OK : lw_cli_fail(cli, &error);
}

static void print_node(struct lw_cli_table *table, const struct lw_resend_node *node)
{
    char outside[40] = "-", identity[24] = "same";
    if (isfinite(node->tolerance)) {
        lw_print(outside, sizeof outside, "%.0f of %.0f", node->values_outside, node->values);
    }
    if (node->identity.count > 0) {
        lw_print(identity, sizeof identity, "differs");
    }
    const char *const cells[] = {
        lw_cell_text(node->node),
        lw_cell_count(node->address),
        lw_cell_count(node->sent),
        lw_cell_count(node->sent - node->answered_then),
        lw_cell_count(node->sent - node->answered_now),
        identity,
        outside,
        lw_cell_number(node->reply_then_ms, 1),
        lw_cell_number(node->reply_now_ms, 1),
    };
    lw_cli_table_row(table, cells);
}

static void print_result(const struct lw_resend_result *result)
{
    static const char *const heads[] = {"node",      "address|", "sent|",      "lost then|",
                                        "lost now|", "identity", "reads off|", "then ms|",
                                        "now ms|",   NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_resend_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        print_node(table, &nodes[i]);
    }
    lw_cli_table_print(table);
    printf("\n%.0f requests sent in %.1f s", result->sent, result->elapsed_s);
    if (result->writes_sent > 0) {
        printf(", %.0f of them writes", result->writes_sent);
    }
    printf("; left out: %.0f writes, %.0f other\n", result->writes_left_out,
           result->forbidden + result->clears_left_out + result->others_left_out);
}

// Once more from the person at the machine: what is written may move something.
static enum lw_status confirm_writes(const struct lw_session *session,
                                     const struct lw_resend_options *options,
                                     const struct lw_recording *recording, struct lw_error *error)
{
    struct lw_resend_result counts = {0};
    char question[200], answer[20];
    lw_resend_plan(session->has_plan ? &session->plan : NULL, options, recording->exchanges.items,
                   recording->exchanges.count, &counts);
    if (counts.writes_sent == 0) {
        return LW_OK;
    }
    lw_print(question, sizeof question,
             "%.0f writes will go to nodes of this line and can move the machine: are the drives "
             "off and locked out? (yes, no)",
             counts.writes_sent);
    enum lw_status status = lw_cli_ask(question, "no", answer, sizeof answer, error);
    if (status == LW_OK && strcmp(answer, "yes") != 0) {
        status = lw_fail(error, LW_USAGE, "writes were not confirmed: nothing was sent");
    }
    return status;
}

static enum lw_status send_again(struct lw_session *session, struct lw_step *step,
                                 const struct lw_resend_options *options,
                                 const struct lw_recording *recording,
                                 struct lw_resend_result *result, struct lw_error *error)
{
    struct lw_client *client = NULL;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    const struct lw_client_options allowing = {.allow_writes = options->allow_writes};
    enum lw_status status = lw_client_new(session->line, &session->run, &allowing, &client, error);
    if (status == LW_OK) {
        status = lw_resend_measure(&session->run, client, plan, options, recording->exchanges.items,
                                   recording->exchanges.count, result, error);
        lw_resend_findings(plan, options, result, &step->findings);
    }
    lw_client_free(client);
    return status;
}

static int resend_in_session(struct lw_session *session, const struct lw_resend_options *options,
                             const struct lw_recording *recording)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_resend_result result = {.more_errors_p = NAN};
    enum lw_status status = lw_step_begin(session, &step, "resend", false, &error);
    if (status == LW_OK) {
        status = send_again(session, &step, options, recording, &result, &error);
    }
    step.shape = &lw_resend_shape;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, false);
    if (!session->cli->settings.json && result.nodes.count > 0) {
        print_result(&result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_resend_shape, &result);
    return exit_status;
}

static int resend(struct lw_cli *cli, const struct replaying *replaying)
{
    struct lw_error error = {0};
    struct lw_session session;
    struct lw_recording recording = {0};
    int exit_status;
    if (load(cli, replaying->path, &recording, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    if (lw_session_open(&session, cli, LW_NEEDS_LINE | LW_TAKES_PLAN, &error) != LW_OK) {
        lw_recording_free(&recording);
        return lw_cli_fail(cli, &error);
    }
    struct lw_resend_options options = {.tolerance = replaying->tolerance,
                                        .allow_writes = replaying->allow_writes,
                                        .selected = session.selected};
    memcpy(options.addresses, session.addresses, sizeof options.addresses);
    if (confirm_writes(&session, &options, &recording, &error) == LW_OK) {
        exit_status = resend_in_session(&session, &options, &recording);
    } else {
        exit_status = lw_cli_fail(cli, &error);
    }
    lw_session_close(&session);
    lw_recording_free(&recording);
    return exit_status;
}

static enum lw_status check_usage(const struct replaying *replaying, struct lw_error *error)
{
    int ways = lw_serving_ways(&replaying->serving);
    if (replaying->path == NULL || (!replaying->resend && ways != 1)) {
        return lw_fail(error, LW_USAGE,
                       "linewalk replay RECORDING, and one of --pty LINK, --tcp PORT, --rtu PORT, "
                       "--on PORT, or --resend --on LINE");
    }
    if (replaying->resend && (ways > 0 || replaying->fast)) {
        return lw_fail(error, LW_USAGE, "--resend asks a line (--on): it serves nothing");
    }
    if (!replaying->resend && (replaying->allow_writes || isfinite(replaying->tolerance))) {
        return lw_fail(error, LW_USAGE, "--allow-writes and --tolerance belong to --resend");
    }
    return LW_OK;
}

int lw_cmd_replay(struct lw_cli *cli)
{
    struct replaying replaying = {.tolerance = NAN, .serving = {.tcp = -1, .rtu = -1}};
    struct lw_option own[LW_SERVING_OPTIONS + 5] = {
        {"fast", 0, NULL, LW_OPTION_FLAG, &replaying.fast, 0, 0,
         "nodes answer at once instead of after the recorded time"},
        {"resend", 0, NULL, LW_OPTION_FLAG, &replaying.resend, 0, 0,
         "send the recorded reads to --on and compare the answers"},
        {"tolerance", 0, "VALUE", LW_OPTION_NUMBER, &replaying.tolerance, 0, 1e9,
         "how far a reading may be from the recorded one, in the unit of the profile's readings; "
         "by default what the noise limit allows between two readings"},
        {"allow-writes", 0, NULL, LW_OPTION_FLAG, &replaying.allow_writes, 0, 0,
         "send recorded writes too; asks first"},
    };
    struct lw_error error = {0};
    int exit_status;
    lw_serving_options(&replaying.serving, own + 4);
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    replaying.path = cli->rest[0];
    replaying.serving.on = replaying.resend ? NULL : cli->settings.on;
    if (check_usage(&replaying, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    return replaying.resend ? resend(cli, &replaying) : serve(cli, &replaying);
}

const struct lw_command lw_command_replay = {
    "replay", "plays a recording: as nodes, or again to a line", "CAPTURE|VISIT",
    "Makes the nodes of a capture, or of all captures of a visit, answer again: each request gets "
    "what that node answered, after the recorded time, silences and damaged answers included. What "
    "was never asked is answered as the node answered unknown requests. With --resend the recorded "
    "reads go out again in their rhythm, and identity, readings, status, reply times and errors "
    "are compared with the recorded ones.",
    lw_cmd_replay};
