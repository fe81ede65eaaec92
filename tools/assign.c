// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk assign: nodes get their addresses, one or a whole chain.
#include "checks.h"

#include "base/text.h"
#include "check/assign.h"
#include "cli/output.h"
#include "commands.h"

struct assigning {
    const char *node, *swap_in, *from_framing;
    int from, to;
    double wait_s;
    bool walk, allow_writes;
    struct lw_talk_request talk;
};

static void print_node(struct lw_cli_table *table, const struct lw_assign_node *node)
{
    char before[48] = "-", after[48] = "-";
    if (node->before_address > 0) {
        lw_print(before, sizeof before, "%d, %s", node->before_address, node->before_framing);
    }
    if (node->after_address > 0) {
        lw_print(after, sizeof after, "%d, %s", node->after_address, node->after_framing);
    }
    const char *const cells[] = {
        lw_cell_text(node->node),
        lw_assign_state_word((enum lw_assign_state)node->state),
        before,
        after,
        lw_cell_text(node->serial),
        lw_cell_count((double)node->writes.count),
    };
    lw_cli_table_row(table, cells);
}

static void print_result(const struct lw_assign_result *result)
{
    static const char *const heads[] = {"node",   "state",   "before", "after",
                                        "serial", "writes|", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_assign_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        print_node(table, &nodes[i]);
    }
    lw_cli_table_print(table);
}

static void say_all(struct lw_talk *talk, struct lw_assign *assign)
{
    for (char *line = lw_assign_says(assign); line != NULL; line = lw_assign_says(assign)) {
        lw_talk_say(talk, line);
        free(line);
    }
}

static enum lw_status walk_dialog(struct lw_session *session, struct lw_talk *talk,
                                  struct lw_client *client, struct lw_assign *assign,
                                  struct lw_error *error)
{
    enum lw_dialog_next next = LW_DIALOG_ACT;
    enum lw_status status = LW_OK;
    while (status == LW_OK && next == LW_DIALOG_ACT) {
        status = lw_talk_on(talk, lw_assign_dialog(assign), &next, error);
        if (status == LW_OK && next == LW_DIALOG_ACT) {
            status = lw_assign_act(assign, &session->run, client, error);
            say_all(talk, assign);
        }
    }
    return status;
}

static enum lw_status talk_and_write(struct lw_session *session, struct lw_step *step,
                                     const struct assigning *assigning, struct lw_assign *assign,
                                     struct lw_error *error)
{
    struct lw_client *client = NULL;
    struct lw_talk *talk = NULL;
    char made_sure_by[LW_ANSWER_SIZE] = "";
    const struct lw_client_options allowing = {.allow_writes = assigning->allow_writes};
    enum lw_status status = lw_client_new(session->line, &session->run, &allowing, &client, error);
    if (status == LW_OK) {
        status = lw_talk_open(session, step, &assigning->talk, &talk, error);
    }
    if (status == LW_OK) {
        status = lw_talk_safety(talk, made_sure_by, error);
        lw_assign_result(assign)->made_sure_by = lw_duplicate(made_sure_by);
    }
    if (status == LW_OK) {
        status = walk_dialog(session, talk, client, assign, error);
    }
    lw_talk_close(talk);
    lw_client_free(client);
    return status;
}

static int assign_in_session(struct lw_session *session, const struct assigning *assigning,
                             struct lw_assign *assign)
{
    struct lw_error error = {0};
    struct lw_step step;
    const struct lw_assign_result *result = lw_assign_result(assign);
    enum lw_status status = lw_step_begin(session, &step, "assign", false, &error);
    if (status == LW_OK) {
        status = talk_and_write(session, &step, assigning, assign, &error);
    }
    lw_assign_findings(result, &step.findings);
    step.shape = &lw_assign_shape;
    step.result = result;
    step.judged_nothing = result->nodes.count == 0;
    int exit_status = lw_step_end(session, &step, status, &error, true);
    if (!session->cli->settings.json && result->nodes.count > 0) {
        print_result(result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    return exit_status;
}

static enum lw_status find_node(const struct lw_session *session, const char *name, bool *selected,
                                struct lw_error *error)
{
    size_t tap = 0;
    if (lw_plan_by_name(&session->plan, name, &tap) == NULL) {
        return lw_fail(error, LW_USAGE, "the plan has no node '%.60s'", name);
    }
    selected[tap - 1] = true;
    return LW_OK;
}

static enum lw_status select_nodes(const struct lw_session *session,
                                   const struct assigning *assigning, bool *selected,
                                   struct lw_error *error)
{
    const char *name = assigning->node != NULL ? assigning->node : assigning->swap_in;
    if (name != NULL) {
        return find_node(session, name, selected, error);
    }
    for (size_t tap = 1; tap <= lw_plan_taps(&session->plan); tap++) {
        selected[tap - 1] = session->selected == NULL || session->selected[tap - 1];
    }
    return LW_OK;
}

static int run_in_session(struct lw_session *session, const struct assigning *assigning,
                          const struct lw_framing *from_framing)
{
    struct lw_error error = {0};
    struct lw_assign *assign = NULL;
    int exit_status = LW_EXIT_USAGE;
    bool *selected = calloc(lw_plan_taps(&session->plan) + 1, sizeof *selected);
    enum lw_status status = selected != NULL
                                ? select_nodes(session, assigning, selected, &error)
                                : lw_fail(&error, LW_MEMORY, "no memory for the nodes to assign");
    if (status == LW_OK) {
        const struct lw_assign_options options = {.from_address = assigning->from,
                                                  .from_framing = from_framing,
                                                  .to_address = assigning->to,
                                                  .walk = assigning->walk,
                                                  .swap_in = assigning->swap_in != NULL,
                                                  .gentle = session->cli->settings.gentle,
                                                  .wait_s = assigning->wait_s,
                                                  .selected = selected};
        status = lw_assign_new(&session->plan, &options, &assign, &error);
    }
    exit_status = status == LW_OK ? assign_in_session(session, assigning, assign)
                                  : lw_cli_fail(session->cli, &error);
    lw_assign_free(assign);
    free(selected);
    return exit_status;
}

static enum lw_status check_usage(const struct assigning *assigning, struct lw_framing *framing,
                                  struct lw_error *error)
{
    int ways = (assigning->node != NULL) + (assigning->swap_in != NULL) + assigning->walk;
    if (ways != 1) {
        return lw_fail(error, LW_USAGE,
                       "linewalk assign NODE, or linewalk assign --walk, or linewalk assign "
                       "--swap-in NODE");
    }
    if (!assigning->allow_writes) {
        return lw_fail(error, LW_USAGE,
                       "assign writes to nodes: say --allow-writes; it shows what it will write "
                       "and asks before it does");
    }
    if (assigning->walk && (assigning->to > 0 || assigning->from > 0)) {
        return lw_fail(error, LW_USAGE, "--from and --to are for one node, not for --walk");
    }
    return assigning->from_framing != NULL
               ? lw_framing_parse(assigning->from_framing, framing, error)
               : LW_OK;
}

int lw_cmd_assign(struct lw_cli *cli)
{
    struct assigning assigning = {0};
    struct lw_option talk[LW_TALK_OPTIONS];
    lw_talk_options(&assigning.talk, talk);
    const struct lw_option own[] = {
        {"walk", 0, NULL, LW_OPTION_FLAG, &assigning.walk, 0, 0,
         "the whole chain: new nodes are plugged one after the other in the plan's order; --nodes "
         "for a part of it"},
        {"swap-in", 0, "NODE", LW_OPTION_TEXT, &assigning.swap_in, 0, 0,
         "a replacement takes the place of NODE"},
        {"from", 0, "ADDRESS", LW_OPTION_INTEGER, &assigning.from, 1, 247,
         "where the node answers now; by default its profile's factory address"},
        {"from-framing", 0, "FRAMING", LW_OPTION_TEXT, &assigning.from_framing, 0, 0,
         "at which framing (9600/8E1); by default the factory's, with --from the plan's"},
        {"to", 0, "ADDRESS", LW_OPTION_INTEGER, &assigning.to, 1, 247,
         "another address than the plan's, to make room"},
        {"wait", 0, "TIME", LW_OPTION_DURATION, &assigning.wait_s, 1, 3600,
         "how long a node that was plugged or restarted is waited for; 30 s by default"},
        {"allow-writes", 0, NULL, LW_OPTION_FLAG, &assigning.allow_writes, 0, 0,
         "registers may be written; each node is asked for first"},
        talk[0],
        talk[1],
        {0},
    };
    struct lw_error error = {0};
    struct lw_framing from_framing;
    struct lw_session session;
    int exit_status;
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    assigning.node = cli->rest[0];
    if (check_usage(&assigning, &from_framing, &error) != LW_OK ||
        lw_session_open(&session, cli, LW_NEEDS_LINE | LW_NEEDS_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status =
        run_in_session(&session, &assigning, assigning.from_framing != NULL ? &from_framing : NULL);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_assign = {
    "assign", "gives new nodes their addresses", "[NODE]",
    "Looks for the new node at its maker's address and framing, makes sure that it is one, of the "
    "planned kind, and that nobody has its new address, shows what it will write, asks, writes, "
    "has it restarted and recognises it where it is to be. What was written can be undone. Nodes "
    "with switches are told their setting and looked for. Nothing is written without "
    "--allow-writes and a yes.",
    lw_cmd_assign};
