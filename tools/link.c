// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk link: how well the line carries.
#include "checks.h"

#include "base/text.h"
#include "check/link.h"
#include "cli/output.h"
#include "commands.h"
#include "from_capture.h"

static void print_result(const struct lw_link_result *result)
{
    static const char *const heads[] = {"node",      "address|", "polls|",   "silent|",
                                        "damaged|",  "wrong|",   "refused|", "95% below|",
                                        "reply ms|", "95%|",     "longest|", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_link_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_link_node *node = &nodes[i];
        char bound[24] = "-";
        if (isfinite(node->upper95)) {
            lw_print(bound, sizeof bound, "%.2g", node->upper95);
        }
        const char *const cells[] = {
            lw_cell_text(node->node),
            lw_cell_count(node->address),
            lw_cell_count(node->polls),
            lw_cell_count(node->no_answer),
            lw_cell_count(node->crc_error),
            lw_cell_count(node->wrong_answer),
            lw_cell_count(node->exception),
            bound,
            lw_cell_number(node->reply_ms.p50, 1),
            lw_cell_number(node->reply_ms.p95, 1),
            lw_cell_number(node->reply_ms.max, 1),
        };
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
    printf("\nwhole line: %.0f errors in %.0f polls, rate below %.2g (95 %%)\n",
           result->line.errors, result->line.polls, result->line.upper95);
    printf("round over all nodes: %s ms usual, %s ms longest; wire and nodes alone %s ms\n",
           lw_cell_number(result->cycle_ms, 1), lw_cell_number(result->longest_cycle_ms, 1),
           lw_cell_number(result->wire_cycle_ms, 1));
    if (result->late_ms >= 0.05) {
        printf("reply times: up to %s ms of each may be the adapter's; 95 of 100 answers of the "
               "steadiest node come within %s ms of its fastest\n",
               lw_cell_number(result->late_ms, 1), lw_cell_number(result->spread_ms, 1));
    }
}

static enum lw_status poll(struct lw_session *session, const struct lw_link_request *request,
                           struct lw_link_result *result, struct lw_error *error)
{
    struct lw_client *client = NULL;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    struct lw_link_options options = {
        .seconds = request->seconds, .most_s = request->most_s, .selected = session->selected};
    memcpy(options.addresses, session->addresses, sizeof options.addresses);
    enum lw_status status = lw_session_client(session, &client, error);
    if (status != LW_OK) {
        return status;
    }
    lw_cli_say(session->cli,
               request->seconds > 0
                   ? "polls for %.0f s"
                   : "polls at most %.0f s, and less when the errors decide sooner",
               request->seconds > 0 ? request->seconds : request->most_s);
    return lw_link_measure(&session->run, client, plan, &options, result, error);
}

int lw_do_link(struct lw_session *session, const struct lw_link_request *request, bool required)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_link_result result;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    lw_json_init(&lw_link_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "link", false, &error);
    if (status == LW_OK) {
        status = request->from != NULL
                     ? lw_link_from_capture(session, request->from, &result, &error)
                     : poll(session, request, &result, &error);
    }
    if (status == LW_OK || result.nodes.count > 0) {
        lw_link_findings(plan, &result, &step.rule, &step.findings);
        step.has_rule = true;
    }
    step.shape = &lw_link_shape;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    if (!session->cli->settings.json && result.nodes.count > 0) {
        print_result(&result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_link_shape, &result);
    return exit_status;
}

int lw_cmd_link(struct lw_cli *cli)
{
    struct lw_link_request request = {.most_s = 600};
    const struct lw_option own[] = {
        {"seconds", 't', "TIME", LW_OPTION_DURATION, &request.seconds, 0.1, 1e6,
         "poll for so long; by default until the error rate is proved or disproved"},
        {"at-most", 0, "TIME", LW_OPTION_DURATION, &request.most_s, 0.1, 1e6,
         "give up undecided after this; 10 min by default"},
        {"from", 0, "FILE", LW_OPTION_TEXT, &request.from, 0, 0,
         "judge the exchanges in a capture instead of polling a line"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    if (request.from == NULL && cli->settings.plan == NULL && cli->settings.visit == NULL &&
        cli->settings.addresses == NULL && cli->settings.on != NULL &&
        strncmp(cli->settings.on, "sim:", 4) != 0) {
        lw_cli_say(cli, "without a plan name whom to poll: --addresses 1-24");
    }
    struct lw_session session;
    unsigned needs = LW_TAKES_PLAN | (request.from != NULL ? 0 : LW_NEEDS_LINE);
    if (lw_session_open(&session, cli, needs, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_link(&session, &request, true);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_link = {
    "link", "how well the line carries", "",
    "Polls all nodes for their readings and counts every error: rate over the whole line with its "
    "95 % bound, nodes that stand out, bursts, reply times, the cycle that the line holds.",
    lw_cmd_link};
