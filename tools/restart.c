// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk restart: the chain off and on again, and who comes.
#include "checks.h"

#include "base/text.h"
#include "base/words.h"
#include "check/restart_dialog.h"
#include "cli/output.h"
#include "commands.h"

static const double quiet_s = 5;
// How well a hand at a switch and a finger on a key meet (common practice).
static const double hand_s = 0.5;

static const char caution[] =
    N_("Switching a supply off stops all that hangs on it: be sure that nothing else depends on "
       "it. A section that is off may still be live from another supply. Opening the cabinet is "
       "for qualified persons.");
static const char virtually[] =
    N_("This chain is a virtual one: each answer switches its supplies.");

struct work {
    struct lw_session *session;
    const struct lw_restart_request *request;
    struct lw_restart_options options;
    struct lw_restart_log log;
    struct lw_restart restart;
    struct lw_talk *talk;
    char made_sure_by[LW_ANSWER_SIZE];
};

static const struct lw_supply *supply_at(const struct lw_plan *plan, size_t i)
{
    return (const struct lw_supply *)plan->supplies.items + i;
}

// The supplies of a chain in this process follow the answers; all others a person switches.
static void turn(const struct lw_session *session, const struct lw_restart_act *act)
{
    size_t count = session->chain != NULL ? session->chain_plan.supplies.count : 0;
    for (size_t i = 0; i < count; i++) {
        const char *name = supply_at(&session->chain_plan, i)->name;
        if (act->supply == LW_RESTART_ALL ||
            strcmp(name, supply_at(&session->plan, (size_t)act->supply)->name) == 0) {
            lw_chain_switch(session->chain, i, act->on);
        }
    }
}

static enum lw_status judge(const struct work *work, struct lw_restart_result *result,
                            struct lw_error *error)
{
    lw_json_init(&lw_restart_shape, result);
    result->cycles_asked = work->request->cycles;
    result->made_sure_by = work->made_sure_by[0] != '\0' ? lw_duplicate(work->made_sure_by) : NULL;
    return lw_restart_judge(&work->session->plan, &work->options, &work->log, result, error);
}

// The slowest first answer of a cycle, by its place among the cycles; NAN: nobody came.
static double slowest_s(const struct lw_restart_result *result, size_t index)
{
    double slowest = NAN;
    const struct lw_restart_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_restart_came *came = nodes[i].cycles.items;
        slowest = fmax(slowest, came[index].first_answer_s);
    }
    return slowest;
}

// What the person at the switch wants to know before the next cycle.
static enum lw_status say_cycle(const struct work *work, struct lw_error *error)
{
    struct lw_restart_result result;
    enum lw_status status = judge(work, &result, error);
    if (status == LW_OK && result.cycles.count > 0) {
        size_t last = result.cycles.count - 1;
        const struct lw_restart_cycle *cycle =
            (const struct lw_restart_cycle *)result.cycles.items + last;
        lw_cli_say(work->session->cli,
                   _("cycle %d: %d nodes came, %d stay away; the slowest first answer after %s s"),
                   cycle->cycle, cycle->came, cycle->away,
                   lw_cell_number(slowest_s(&result, last), 2));
    }
    lw_json_free(&lw_restart_shape, &result);
    return status;
}

static enum lw_status act_on(struct work *work, const struct lw_restart_act *act,
                             struct lw_error *error)
{
    const struct lw_restart *restart = &work->restart;
    enum lw_restart_phase phase = !act->on          ? LW_RESTART_OFF
                                  : act->ends_cycle ? LW_RESTART_WATCH
                                                    : LW_RESTART_ON;
    turn(work->session, act);
    enum lw_status status =
        lw_restart_turned(restart, act->cycle, act->order, act->supply, act->on, error);
    if (status == LW_OK) {
        status = lw_restart_watch(restart, phase, error);
    }
    if (status == LW_OK && act->ends_cycle) {
        status = lw_restart_identify(restart, act->cycle, error);
    }
    if (status == LW_OK && act->ends_cycle) {
        status = say_cycle(work, error);
    }
    return status == LW_OK && act->ends_all ? lw_restart_watch(restart, LW_RESTART_WARM_UP, error)
                                            : status;
}

static enum lw_status walk_dialog(struct work *work, struct lw_error *error)
{
    struct lw_restart_dialog dialog;
    enum lw_dialog_next next = LW_DIALOG_ACT;
    enum lw_status status = LW_OK;
    lw_restart_dialog_init(&dialog, &work->session->plan, work->request->cycles);
    while (status == LW_OK && next == LW_DIALOG_ACT) {
        status = lw_talk_on(work->talk, &dialog.dialog, &next, error);
        if (status == LW_OK && next == LW_DIALOG_ACT) {
            struct lw_restart_act act = lw_restart_dialog_act(&dialog);
            status = act_on(work, &act, error);
            lw_restart_dialog_acted(&dialog);
        }
    }
    return status;
}

static enum lw_status talk(struct work *work, struct lw_error *error)
{
    lw_talk_say(work->talk, caution);
    if (work->session->chain != NULL) {
        lw_talk_say(work->talk, virtually);
    }
    enum lw_status status = lw_talk_safety(work->talk, work->made_sure_by, error);
    if (status == LW_OK) {
        status = lw_restart_before(&work->restart, error);
    }
    return status == LW_OK ? walk_dialog(work, error) : status;
}

static enum lw_status measure(struct work *work, struct lw_step *step, struct lw_error *error)
{
    struct lw_session *session = work->session;
    struct lw_client *client = NULL;
    enum lw_status status = lw_session_client(session, &client, error);
    work->log.hand_s = session->chain != NULL ? 0 : hand_s;
    work->restart =
        (struct lw_restart){&session->run, client, &session->plan, &work->options, &work->log};
    if (status == LW_OK) {
        status = lw_talk_open(session, step, &work->request->talk, &work->talk, error);
    }
    if (status == LW_OK) {
        status = talk(work, error);
    }
    lw_talk_close(work->talk);
    return status;
}

// To four decimals, and 0 without a sign.
static const char *cell_change(double value)
{
    return lw_cell_number(nearbyint(value * 1e4) / 1e4 + 0.0, 4);
}

static void print_node(struct lw_cli_table *table, const struct lw_restart_node *node)
{
    const struct lw_restart_came *came = node->cycles.items;
    double fastest = NAN, slowest = NAN, resolution = NAN;
    int times = 0, again = 0;
    char of[24];
    for (size_t i = 0; i < node->cycles.count; i++) {
        fastest = fmin(fastest, came[i].first_answer_s);
        slowest = fmax(slowest, came[i].first_answer_s);
        resolution = fmax(resolution, came[i].resolution_s);
        times += !came[i].away;
        again += came[i].again;
    }
    lw_print(of, sizeof of, "%d of %zu", times, node->cycles.count);
    const char *const cells[] = {
        node->node,
        lw_cell_count(node->address),
        of,
        lw_cell_number(fastest, 2),
        lw_cell_number(slowest, 2),
        lw_cell_number(resolution, 2),
        lw_cell_count(again),
        cell_change(node->reading_last - node->reading_before),
        cell_change(node->drift_per_min),
        lw_cell_text(node->unit),
    };
    lw_cli_table_row(table, cells);
}

static void print_result(const struct lw_restart_result *result)
{
    static const char *const heads[] = {"node",       "address|",   "came",   "first s from|",
                                        "to|",        "to within|", "again|", "shift|",
                                        "drift/min|", "unit",       NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_restart_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        print_node(table, &nodes[i]);
    }
    lw_cli_table_print(table);
    printf("\n%zu of %d cycles; times count from the switch", result->cycles.count,
           result->cycles_asked);
    if (result->hand_s > 0) {
        printf(", which a hand turns to within %s s", lw_cell_number(result->hand_s, 1));
    }
    putchar('\n');
}

int lw_do_restart(struct lw_session *session, const struct lw_restart_request *request,
                  bool required)
{
    struct lw_error error = {0}, judging = {0};
    struct lw_step step;
    struct lw_restart_result result;
    struct work work = {.session = session,
                        .request = request,
                        .options = {.gentle = session->cli->settings.gentle,
                                    .selected = session->selected,
                                    .off_s = request->off_s,
                                    .quiet_s = quiet_s,
                                    .watch_s = request->watch_s,
                                    .warm_up_s = request->warm_up_s}};
    enum lw_status status = lw_step_begin(session, &step, "restart", true, &error);
    if (status == LW_OK) {
        status = measure(&work, &step, &error);
    }
    enum lw_status judged = judge(&work, &result, &judging);
    if (judged == LW_OK) {
        lw_restart_findings(&session->plan, &result, &step.findings);
    } else if (status == LW_OK) {
        status = judged;
        error = judging;
    }
    bool shown = judged == LW_OK && result.cycles.count > 0;
    step.shape = judged == LW_OK ? &lw_restart_shape : NULL;
    step.result = &result;
    step.judged_nothing = !shown;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    if (!session->cli->settings.json && shown) {
        print_result(&result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_restart_shape, &result);
    lw_restart_log_finish(&work.log);
    return exit_status;
}

int lw_cmd_restart(struct lw_cli *cli)
{
    struct lw_restart_request request = {.cycles = 3, .off_s = 5, .watch_s = 15, .warm_up_s = 60};
    struct lw_option talk_options[LW_TALK_OPTIONS];
    lw_talk_options(&request.talk, talk_options);
    const struct lw_option own[] = {
        {"cycles", 0, "COUNT", LW_OPTION_INTEGER, &request.cycles, 1, LW_RESTART_CYCLES_MAX,
         "so many times off and on; 3 by default: together, from the head, from the tail"},
        {"off", 0, "TIME", LW_OPTION_DURATION, &request.off_s, 3, 600,
         "how long it stays off; 5 s by default"},
        {"watch", 0, "TIME", LW_OPTION_DURATION, &request.watch_s, 5, 600,
         "a cycle ends when nobody new has come for so long; 15 s by default"},
        {"warm-up", 0, "TIME", LW_OPTION_DURATION, &request.warm_up_s, 0, 7200,
         "read on for so long after the last cycle, for the drift; 60 s by default"},
        talk_options[0],
        talk_options[1],
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    struct lw_session session;
    if (lw_session_open(&session, cli, LW_NEEDS_LINE | LW_NEEDS_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_restart(&session, &request, true);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_restart = {
    "restart", "who comes when the chain is switched off and on", "",
    "A guided power-cycle test: it says what to switch and polls all nodes meanwhile. Time to the "
    "first answer of each, who stays away, who goes down again, whose identity was stale, whether "
    "the order of the sections matters, and how the readings come back. A person switches; on a "
    "virtual chain the answers do.",
    lw_cmd_restart};
