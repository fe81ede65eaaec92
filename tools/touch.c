// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk touch: the walk along the machine, one sensor deflected after the other.
#include "check/touch.h"

#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "checks.h"
#include "cli/output.h"
#include "cli/progress.h"
#include "commands.h"
#include "touch_large.h"

struct walking {
    struct lw_session *session;
    struct lw_talk *talk;
    bool large;
};

static const char *paint(enum lw_touch_tone tone)
{
    return !lw_cli_colour() || tone == LW_TONE_NONE ? ""
           : tone == LW_TONE_RIGHT                  ? "\033[1;32m"
                                                    : "\033[1;33m";
}

// Beside a large name, readable without colour: right, and not so.
static const char *const marks[] = {"", " +", " ?"};

// The tone is the terminal's bell: once when it was right, twice when it was not.
static void say(void *user, const struct lw_touch_word *word)
{
    struct walking *walking = user;
    const char *colour = paint(word->tone);
    lw_progress_clear(walking->session);
    if (lw_cli_progress_terminal() && word->tone != LW_TONE_NONE) {
        fputs(word->tone == LW_TONE_RIGHT ? "\a" : "\a\a", stderr);
    }
    fputs(colour, stderr);
    if (walking->large && word->name[0] != '\0') {
        fputc('\n', stderr);
        char marked[100];
        lw_print(marked, sizeof marked, "%s%s", word->name, marks[word->tone]);
        lw_print_large(stderr, marked, lw_cli_columns(), lw_cli_utf8());
    }
    lw_talk_say(walking->talk, word->text);
    fputs(colour[0] != '\0' ? "\033[0m" : "", stderr);
}

static bool typed(void *user)
{
    (void)user;
    return lw_cli_typed();
}

static const char *state_text(const struct lw_touch_node *node)
{
    static const char *const words[] = {"untouched", "right", "elsewhere", "no answer", "left out"};
    return words[node->state];
}

static const char *sign_text(const struct lw_touch_node *node)
{
    static const char *const words[] = {"-", "right", "REVERSED", "not planned"};
    return words[node->sign];
}

static double worst_return(const struct lw_touch_node *node)
{
    const double *returns = node->returns.items;
    double worst = NAN;
    for (size_t i = 0; i < node->returns.count; i++) {
        worst = isnan(worst) || fabs(returns[i]) > fabs(worst) ? returns[i] : worst;
    }
    return worst;
}

static void print_node(struct lw_cli_table *table, const struct lw_touch_node *node)
{
    char moved[LW_NUMBER_TEXT], off[LW_NUMBER_TEXT], off_u[LW_NUMBER_TEXT];
    lw_number_for_people(node->deflection, NAN, moved);
    lw_number_for_people(worst_return(node), node->return_u, off);
    lw_number_for_people(node->return_u, NAN, off_u);
    const char *const cells[] = {
        lw_cell_text(node->node),
        state_text(node),
        lw_cell_text(node->answered_by),
        sign_text(node),
        moved,
        off,
        off_u,
        lw_cell_text(node->unit),
        lw_cell_count(node->touches),
        lw_cell_text(node->place),
    };
    lw_cli_table_row(table, cells);
}

static void print_result(const struct lw_touch_result *result)
{
    static const char *const heads[] = {"node", "place is", "answered", "sign",  "moved|", "off|",
                                        "+-|",  "unit",     "touches|", "place", NULL};
    const struct lw_touch_node *nodes = result->nodes.items;
    struct lw_cli_table *table = lw_cli_table_new(heads);
    for (size_t i = 0; i < result->nodes.count; i++) {
        print_node(table, &nodes[i]);
    }
    lw_cli_table_print(table);
    lw_print_wrapped("\n", 0, 0,
                     "moved: the farthest, with sign; off: where it came to rest, from its rest "
                     "before the first deflection, the worst of its returns, with its standard "
                     "uncertainty");
}

static enum lw_status walk(struct lw_session *session, struct lw_talk *talk,
                           const struct lw_touch_request *request, struct lw_touch *touch,
                           struct lw_error *error)
{
    struct lw_client *client = NULL;
    struct walking walking = {session, talk, request->large};
    enum lw_dialog_next next = LW_DIALOG_ACT;
    enum lw_status status = lw_session_client(session, &client, error);
    const struct lw_touch_ears ears = {&walking, lw_clock_now_ns(session->clock), say, typed};
    while (status == LW_OK && next != LW_DIALOG_DONE) {
        status = lw_talk_on(talk, lw_touch_dialog(touch), &next, error);
        if (status == LW_OK && next == LW_DIALOG_ACT) {
            status = lw_touch_listen(&session->run, client, &session->plan, touch, &ears, error);
        }
    }
    return status;
}

// What the visit's last walk has proved, for --resume; a complete one counts as well, since it may
// have left sensors out.
static enum lw_status read_earlier(const struct lw_session *session, bool *found,
                                   struct lw_touch_result *earlier, struct lw_error *error)
{
    const struct lw_record *last = lw_records_last(&session->records, "touch", false);
    *found = last != NULL && last->result != NULL;
    return *found
               ? lw_json_read(&lw_touch_shape, last->result, strlen(last->result), earlier, error)
               : lw_fail(error, LW_USAGE, "there is no touch walk in this visit to go on with");
}

static enum lw_status start(struct lw_session *session, const struct lw_touch_request *request,
                            struct lw_touch **touch, struct lw_error *error)
{
    struct lw_touch_result earlier;
    bool found = false;
    const struct lw_touch_options options = {.selected = session->selected,
                                             .any_order = request->any_order,
                                             .returns = request->returns,
                                             .wait_s = request->wait_s,
                                             .return_limit = request->return_limit};
    enum lw_status status = LW_OK;
    if (request->talk.resume) {
        status = read_earlier(session, &found, &earlier, error);
    }
    if (status == LW_OK) {
        status = lw_touch_new(&session->plan, &options, found ? &earlier : NULL, touch, error);
    }
    if (found) {
        lw_json_free(&lw_touch_shape, &earlier);
    }
    return status;
}

// The walk itself, from the question about the drives to the last place.
static enum lw_status go(struct lw_session *session, struct lw_step *step,
                         const struct lw_touch_request *request, struct lw_touch *touch,
                         char made_sure_by[LW_ANSWER_SIZE], struct lw_error *error)
{
    struct lw_talk *talk = NULL;
    const struct lw_talk_request asking = {.answers = request->talk.answers};
    enum lw_status status = lw_talk_open(session, step, &asking, &talk, error);
    if (status == LW_OK) {
        status = lw_talk_safety(talk, made_sure_by, error);
    }
    if (status == LW_OK) {
        status = walk(session, talk, request, touch, error);
    }
    lw_talk_close(talk);
    return status;
}

int lw_do_touch(struct lw_session *session, const struct lw_touch_request *request, bool required)
{
    struct lw_error error = {0}, telling = {0};
    struct lw_step step;
    struct lw_touch_result result;
    struct lw_touch *touch = NULL;
    char made_sure_by[LW_ANSWER_SIZE] = "";
    lw_json_init(&lw_touch_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "touch", true, &error);
    if (status == LW_OK) {
        status = start(session, request, &touch, &error);
    }
    if (status == LW_OK) {
        status = go(session, &step, request, touch, made_sure_by, &error);
    }
    bool has_result = touch != NULL && lw_touch_result(touch, &result, &telling) == LW_OK;
    if (has_result) {
        result.drives_off_said_by = made_sure_by[0] != '\0' ? lw_duplicate(made_sure_by) : NULL;
        lw_touch_findings(&result, &step.findings);
        step.shape = &lw_touch_shape;
        step.has_rule = true;
        step.rule = (struct lw_rule){.confidence = 0.95, .corrected_for = lw_touch_judged(&result)};
    }
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    if (!session->cli->settings.json && has_result && !step.refused) {
        print_result(&result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_touch_shape, &result);
    lw_touch_free(touch);
    return exit_status;
}

int lw_cmd_touch(struct lw_cli *cli)
{
    enum { OWN = 6 };
    struct lw_touch_request request = {.returns = 3, .wait_s = 60, .return_limit = NAN};
    struct lw_option own[OWN + LW_TALK_OPTIONS] = {
        {"any-order", 0, NULL, LW_OPTION_FLAG, &request.any_order, 0, 0,
         "touch in any order, and compare each name with the place touched"},
        {"returns", 0, "COUNT", LW_OPTION_INTEGER, &request.returns, 1, 9,
         "deflections of each sensor; 3 by default"},
        {"wait", 0, "TIME", LW_OPTION_DURATION, &request.wait_s, 5, 3600,
         "ask what is the matter when nothing has moved for so long; 1 min by default"},
        {"return-limit", 0, "VALUE", LW_OPTION_NUMBER, &request.return_limit, 1e-12, 1e12,
         "how far from its rest a sensor may come back, in the unit of its readings; by default "
         "the fixed part of its profile's error_limit"},
        {"large", 0, NULL, LW_OPTION_FLAG, &request.large, 0, 0,
         "names in letters that can be read from the machine; + behind one is right, ? is not"},
    };
    lw_talk_options(&request.talk, own + OWN - 1);
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    struct lw_session session;
    if (lw_session_open(&session, cli, LW_NEEDS_LINE | LW_NEEDS_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_touch(&session, &request, true);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_touch = {
    "touch", "each sensor deflected in turn proves its place", "",
    "Learns the readings at rest, then hears which sensor is deflected by hand and answers with a "
    "tone: right, or which one it was. Proves place, sign, travel and return of each, and what "
    "moves with it. The drives must be off and locked out. Enter while it listens asks what is the "
    "matter: skip one, go back, finish.",
    lw_cmd_touch};
