// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk supply: draw against capacity, computed and measured.
#include "checks.h"

#include "base/text.h"
#include "check/supply_advise.h"
#include "check/supply_step.h"
#include "check/supply_what_if.h"
#include "commands.h"
#include "supply_measure.h"
#include "supply_print.h"

#include <limits.h>

// Voltmeters on the line, beside what a hand meter has shown, or that alone.
static enum lw_status measure(struct lw_session *session, const struct lw_supply_request *request,
                              const struct lw_supply_sources *sources,
                              struct lw_supply_measured *measured, struct lw_supply_result *result,
                              struct lw_error *error)
{
    enum lw_status status =
        request->computed ? lw_supply_measured_init(lw_plan_taps(&session->plan), measured, error)
                          : lw_supply_read_line(session, request, measured, error);
    if (status == LW_OK) {
        status = lw_supply_take_earlier(session, sources, measured, error);
    }
    if (status == LW_OK) {
        measured->hand = sources->has_hand ? &sources->hand : NULL;
        status = lw_supply_judge(&session->plan, measured, result, error);
    }
    return status;
}

static bool is_what_if(const struct lw_supply_request *request)
{
    return request->add != NULL || request->feed != NULL || request->without != NULL ||
           isfinite(request->ambient_c);
}

static void say_asked(const struct lw_supply_request *request, struct lw_text *asked)
{
    const struct {
        const char *says, *value;
    } parts[] = {{"nodes added: ", request->add},
                 {"a supply more at ", request->feed},
                 {"without ", request->without}};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        if (parts[i].value != NULL) {
            char clean[160];
            lw_text_clean(clean, sizeof clean, parts[i].value, strlen(parts[i].value));
            lw_text_add(asked, "%s%s%s", asked->length > 0 ? ", " : "", parts[i].says, clean);
        }
    }
    if (isfinite(request->ambient_c)) {
        lw_text_add(asked, "%sair at %g C", asked->length > 0 ? ", " : "", request->ambient_c);
    }
}

static enum lw_status change_plan(struct lw_plan *plan, const struct lw_supply_request *request,
                                  struct lw_error *error)
{
    enum lw_status status = LW_OK;
    if (request->without != NULL) {
        status = lw_what_if_without(plan, request->without, error);
    }
    if (status == LW_OK && request->add != NULL) {
        status = lw_what_if_add(plan, request->add, error);
    }
    if (status == LW_OK && request->feed != NULL) {
        status = lw_what_if_feed(plan, request->feed, error);
    }
    if (status == LW_OK && isfinite(request->ambient_c)) {
        status = lw_what_if_ambient(plan, request->ambient_c, error);
    }
    return status;
}

static enum lw_status compute(struct lw_session *session, const struct lw_supply_request *request,
                              struct lw_supply_result *result, struct lw_error *error)
{
    const struct lw_supply_options options = {.draws = (uint64_t)request->draws,
                                              .seed = (uint64_t)request->seed};
    struct lw_text asked = {0};
    enum lw_status status = change_plan(&session->plan, request, error);
    if (status == LW_OK) {
        status = lw_supply_compute(&session->plan, &options, result, error);
    }
    if (status == LW_OK && is_what_if(request)) {
        say_asked(request, &asked);
        result->asked = lw_duplicate(asked.bytes);
    }
    lw_text_finish(&asked);
    if (status == LW_OK && request->advise) {
        const struct lw_advise_costs costs = {.supply = request->supply_cost,
                                              .cable = request->cable_cost};
        status = lw_supply_advise(&session->plan, &costs, result, error);
        if (status != LW_OK) {
            lw_json_free(&lw_supply_shape, result);
        }
    }
    return status;
}

static void show(const struct lw_session *session, const struct lw_step *step,
                 const struct lw_supply_result *result)
{
    bool shown = !session->cli->settings.json && step->shape != NULL && !step->refused;
    if (shown) {
        lw_print_supply(result);
    }
    lw_step_print(session, step);
    if (shown) {
        lw_print_supply_cautions();
    }
}

int lw_do_supply(struct lw_session *session, const struct lw_supply_request *request, bool required)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_supply_result result;
    struct lw_supply_measured measured = {0};
    struct lw_supply_sources sources = {0};
    bool measures = !request->computed || request->meter != NULL;
    bool kept = session->has_visit;
    session->has_visit = kept && !is_what_if(request);
    lw_json_init(&lw_supply_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "supply", false, &error);
    if (status == LW_OK) {
        status = lw_supply_read_hand(session, request, &sources, &error);
    }
    if (status == LW_OK) {
        status = lw_supply_open_earlier(session, request, &sources, &error);
    }
    if (status == LW_OK) {
        status = compute(session, request, &result, &error);
    }
    bool has_result = status == LW_OK;
    if (status == LW_OK && measures) {
        status = measure(session, request, &sources, &measured, &result, &error);
    }
    if (has_result) {
        lw_supply_findings(&session->plan, status == LW_OK && measures ? &measured : NULL, &result,
                           &step.rule, &step.findings);
        step.has_rule = true;
    }
    step.shape = has_result ? &lw_supply_shape : NULL;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    show(session, &step, &result);
    session->has_visit = kept;
    lw_findings_free(&step.findings);
    lw_supply_measured_free(&measured);
    lw_supply_sources_finish(&sources);
    lw_json_free(&lw_supply_shape, &result);
    return exit_status;
}

static enum lw_status check_request(const struct lw_cli *cli,
                                    const struct lw_supply_request *request, struct lw_error *error)
{
    if (is_what_if(request) &&
        (request->meter != NULL || request->load_step_a > 0 || request->against != NULL)) {
        return lw_fail(error, LW_USAGE,
                       "a chain that is asked for but not there cannot be measured: leave --meter, "
                       "--load-step and --against away");
    }
    if (request->load_step_a > 0 && (request->computed || cli->settings.on == NULL)) {
        return lw_fail(error, LW_USAGE, "--load-step needs a line: --on");
    }
    if (request->against != NULL && (request->computed || cli->settings.on == NULL)) {
        return lw_fail(error, LW_USAGE, "--against compares voltmeters and needs a line: --on");
    }
    if ((request->talk.answers != NULL || request->talk.resume) && !(request->load_step_a > 0)) {
        return lw_fail(error, LW_USAGE, "--answers and --resume belong to --load-step");
    }
    return LW_OK;
}

int lw_cmd_supply(struct lw_cli *cli)
{
    struct lw_supply_request request = {
        .draws = LW_SUPPLY_DRAWS, .seed = 1, .ambient_c = NAN, .supply_cost = 100, .cable_cost = 1};
    struct lw_option talk[LW_TALK_OPTIONS];
    lw_talk_options(&request.talk, talk);
    const struct lw_option own[] = {
        {"computed", 0, NULL, LW_OPTION_FLAG, &request.computed, 0, 0,
         "only from the plan, even where there is a line"},
        {"meter", 0, "FILE", LW_OPTION_TEXT, &request.meter, 0, 0,
         "what a hand meter has shown, a table tap,from,to,value,unit; alone or beside the line"},
        {"load-step", 0, "AMPS", LW_OPTION_NUMBER, &request.load_step_a, LW_SUPPLY_LEAST_STEP_A,
         100, "asks for a known load at the far end, off, on, on, off, and sees every span by it"},
        talk[0],
        talk[1],
        {"against", 0, "VISIT", LW_OPTION_TEXT, &request.against, 0, 0,
         "what has become worse since an earlier visit: the same voltmeters' errors cancel"},
        {"add", 0, "N[:PROFILE]", LW_OPTION_TEXT, &request.add, 0, 0,
         "what if N nodes more stood at the tail"},
        {"feed", 0, "TAP[:SUPPLY]", LW_OPTION_TEXT, &request.feed, 0, 0,
         "what if a supply more fed this tap, V+ cut before it"},
        {"ambient", 0, "C", LW_OPTION_NUMBER, &request.ambient_c, -60, 100,
         "what if the air had so many degrees Celsius; the cabinet's moves with it"},
        {"without", 0, "NODES", LW_OPTION_TEXT, &request.without, 0, 0,
         "what if these nodes were taken off"},
        {"advise", 0, NULL, LW_OPTION_FLAG, &request.advise, 0, 0,
         "the cheapest change that gives every node its margin"},
        {"supply-cost", 0, "COST", LW_OPTION_NUMBER, &request.supply_cost, 0, 1e9,
         "of a supply more, for --advise (100)"},
        {"cable-cost", 0, "COST", LW_OPTION_NUMBER, &request.cable_cost, 0, 1e9,
         "of a metre of 1 mm2, for --advise (1)"},
        {"draws", 0, "N", LW_OPTION_INTEGER, &request.draws, 0, 10000000,
         "draws of all tolerances for the probabilities (10000); 0: none"},
        {"seed", 0, "N", LW_OPTION_INTEGER, &request.seed, 0, INT_MAX,
         "of the draws (1): the same seed draws the same"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    if (check_request(cli, &request, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    request.computed = request.computed || cli->settings.on == NULL || is_what_if(&request);
    struct lw_session session;
    unsigned needs = LW_NEEDS_PLAN | (request.computed ? 0 : LW_NEEDS_LINE);
    if (lw_session_open(&session, cli, needs, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_supply(&session, &request, !request.computed);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_supply = {
    "supply", "draw against capacity, computed and measured", "",
    "Computes the voltage at every tap and the load of every supply from the plan; with --on it "
    "reads the nodes' own voltmeters beside that and looks for a span with too much resistance. "
    "--add, --feed, --ambient and --without ask what "
    "would be: they change the plan for this run only and leave no record.",
    lw_cmd_supply};
