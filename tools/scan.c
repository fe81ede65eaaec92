// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk scan: which addresses answer.
#include "checks.h"

#include "base/text.h"
#include "cli/output.h"
#include "commands.h"

enum { MOST_FRAMINGS = 12 };

static void print_node(struct lw_cli_table *table, const struct lw_scan_node *node)
{
    const struct lw_scan_identity *identity = node->identity;
    char address[12], remark[120];
    lw_print(address, sizeof address, "%d", node->address);
    lw_print(remark, sizeof remark, "%s%s%s", node->doubled ? "doubled " : "",
             node->late ? "late " : "",
             node->exception && identity == NULL ? "answers with an exception" : "");
    const char *const cells[] = {
        address,
        lw_cell_number(node->reply_ms, 1),
        lw_cell_text(identity != NULL ? identity->vendor : node->server_id),
        lw_cell_text(identity != NULL ? identity->product_code : NULL),
        lw_cell_text(identity != NULL ? identity->revision : NULL),
        remark,
    };
    lw_cli_table_row(table, cells);
}

static void print_result(const struct lw_scan_result *result)
{
    static const char *const heads[] = {"address|", "reply ms|", "vendor", "product",
                                        "firmware", "remark",    NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_scan_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        print_node(table, &nodes[i]);
    }
    if (result->nodes.count > 0) {
        lw_cli_table_print(table);
    }
    printf("\n%zu nodes; %d addresses asked in %.2f s (the wire alone takes %.2f s); "
           "%.2f s in all\n",
           result->nodes.count, result->asked, result->pass_s, result->wire_s, result->elapsed_s);
}

// The addresses that --addresses and --nodes name.
static void select_addresses(const struct lw_session *session, struct lw_scan_options *options)
{
    memcpy(options->selected, session->addresses, sizeof options->selected);
    for (size_t tap = 1; session->selected != NULL && tap <= lw_plan_taps(&session->plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(&session->plan, tap);
        if (session->selected[tap - 1] && entry->node != NULL) {
            options->selected[entry->address] = true;
        }
    }
}

int lw_do_scan(struct lw_session *session, const struct lw_scan_options *options, bool required)
{
    struct lw_scan_options own = *options;
    select_addresses(session, &own);
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_scan_result result;
    struct lw_client *client = NULL;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    lw_json_init(&lw_scan_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "scan", false, &error);
    bool heard = status == LW_REFUSED;
    if (status == LW_OK) {
        status = lw_session_client(session, &client, &error);
    }
    if (status == LW_OK) {
        status = lw_scan_measure(&session->run, client, plan, &own, &result, &error);
    }
    if (!heard && (status == LW_OK || result.foreign)) {
        lw_scan_findings(plan, &own, &result, &step.findings);
    }
    lw_session_is_simulated(session, result.simulated);
    step.shape = &lw_scan_shape;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    if (!session->cli->settings.json && client != NULL) {
        print_result(&result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_scan_shape, &result);
    return exit_status;
}

static enum lw_status parse_framings(const char *list, struct lw_framing *framings, size_t *count,
                                     struct lw_error *error)
{
    *count = 0;
    for (const char *at = list; at != NULL && *at != '\0';) {
        char word[LW_FRAMING_TEXT];
        size_t length = strcspn(at, ",");
        lw_print(word, sizeof word, "%.*s", (int)length, at);
        if (*count == MOST_FRAMINGS) {
            return lw_fail(error, LW_USAGE, "at most %d framings can be tried", MOST_FRAMINGS);
        }
        enum lw_status status = lw_framing_parse(word, &framings[(*count)++], error);
        if (status != LW_OK) {
            return status;
        }
        at += length + (at[length] == ',');
    }
    return LW_OK;
}

int lw_cmd_scan(struct lw_cli *cli)
{
    struct lw_scan_options options = {0};
    struct lw_framing framings[MOST_FRAMINGS];
    const char *try_framings = NULL;
    const struct lw_option own[] = {
        {"slowest-reply", 0, "TIME", LW_OPTION_DURATION, &options.slowest_reply_s, 0.001, 10,
         "how long a silent address is waited for; by default the slowest of the profiles, else "
         "50 ms"},
        {"try-framings", 0, "LIST", LW_OPTION_TEXT, &try_framings, 0, 0,
         "where the framing is not known: 19200/8E1,9600/8E1,115200/8N1"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    struct lw_session session;
    enum lw_status status = parse_framings(try_framings, framings, &options.framing_count, &error);
    if (status == LW_OK) {
        status = lw_session_open(&session, cli, LW_NEEDS_LINE | LW_TAKES_PLAN, &error);
    }
    if (status != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    options.framings = framings;
    options.gentle = cli->settings.gentle;
    exit_status = lw_do_scan(&session, &options, true);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_scan = {
    "scan", "finds the nodes on a line", "",
    "Asks every address once, looks again where it is worth it, and reads the identity of those "
    "that answer. Against a plan it says who is missing, who is not planned, who is doubled.",
    lw_cmd_scan};
