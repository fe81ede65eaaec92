// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk listen: what passes on a line that a controller runs. Nothing is sent.
#include "listening.h"

#include "base/text.h"
#include "cli/output.h"
#include "commands.h"

static const int64_t look_up_ns = 100000000; // a quiet line holds the program so long at most

static struct lw_capture *capture_of(const struct listening *listening)
{
    return listening->output != NULL ? listening->output : listening->step.capture;
}

static bool is_full(const struct listening *listening)
{
    const struct lw_capture *capture = capture_of(listening);
    return listening->request->size > 0 && capture != NULL &&
           (double)lw_capture_bytes(capture) >= listening->request->size;
}

static enum lw_status create_output(struct listening *listening, struct lw_error *error)
{
    struct lw_line *line = listening->session->line;
    char framing[LW_FRAMING_TEXT];
    lw_framing_text(&line->framing, framing);
    const struct lw_capture_facts facts = {
        .application = "linewalk " LW_VERSION,
        .line = line->name,
        .framing = line->framed ? framing : NULL,
        .adu = line->adu,
        .simulated = line->simulated,
    };
    enum lw_status status =
        lw_capture_create(listening->request->output, &facts, &listening->output, error);
    return status == LW_OK ? lw_recorder_switch(line, listening->output, error) : status;
}

static enum lw_status close_output(struct listening *listening, struct lw_error *error)
{
    if (listening->output == NULL) {
        return LW_OK;
    }
    enum lw_status status = lw_recorder_switch(listening->session->line, NULL, error);
    enum lw_status closed = lw_capture_close(listening->output, NULL, error);
    listening->output = NULL;
    return status == LW_OK ? closed : status;
}

// What was heard at another framing is no part of the capture.
static enum lw_status on_switched(void *user, struct lw_error *error)
{
    struct listening *listening = user;
    if (listening->output != NULL) {
        enum lw_status status = close_output(listening, error);
        return status == LW_OK ? create_output(listening, error) : status;
    }
    return lw_step_capture_again(listening->session, &listening->step, error);
}

static enum lw_status wrap_line(struct lw_session *session, struct lw_error *error)
{
    struct lw_line *recorder = NULL;
    enum lw_status status = lw_recorder_wrap(session->line, NULL, &recorder, error);
    session->line = status == LW_OK ? recorder : session->line;
    return status;
}

// Where what is heard goes: the ring, the file named, or the capture of the step.
static enum lw_status begin_files(struct listening *listening, struct lw_error *error)
{
    const struct listen_request *request = listening->request;
    enum lw_status status = LW_OK;
    if (request->output != NULL) {
        status = wrap_line(listening->session, error);
    }
    if (status == LW_OK && request->until_fault) {
        return watching_begin(listening, error);
    }
    return status == LW_OK && request->output != NULL ? create_output(listening, error) : status;
}

static bool wanted(void *user, uint8_t address)
{
    return lw_session_wants(((struct listening *)user)->session, address);
}

static enum lw_status begin(struct listening *listening, struct lw_error *error)
{
    struct lw_session *session = listening->session;
    bool watches = listening->request->until_fault;
    session->listened = true; // it is all that this command does
    session->own_captures = watches;
    if (listening->request->seconds == 0 || listening->request->seconds > LW_LONG_S) {
        lw_session_stay_awake(session);
    }
    enum lw_status status =
        lw_step_begin(session, &listening->step, "listen", session->has_plan && !watches, error);
    if (status == LW_OK) {
        status = begin_files(listening, error);
    }
    struct lw_listener_options options = {
        .framing_given = session->cli->settings.framing != NULL,
        .user = listening,
        .switched = on_switched,
        .wanted = wanted,
    };
    if (watches) {
        watching_options(listening, &options);
    }
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    return status == LW_OK ? lw_listener_new(session->line, &session->run, plan, &options,
                                             &listening->listener, error)
                           : status;
}

static int64_t now_of(const struct listening *listening)
{
    return lw_clock_now_ns(listening->session->clock);
}

static void set_end(struct listening *listening)
{
    double seconds = listening->request->seconds;
    listening->end_ns = seconds > 0 ? now_of(listening) + (int64_t)(seconds * 1e9) : INT64_MAX;
}

static enum lw_status step_once(struct listening *listening, struct lw_error *error)
{
    int64_t until_ns = now_of(listening) + look_up_ns;
    until_ns = until_ns < listening->end_ns ? until_ns : listening->end_ns;
    enum lw_status status = lw_listener_step(listening->listener, until_ns, error);
    bool watches = listening->request->until_fault;
    if (watches && status == LW_SYSTEM) {
        status = watching_regain(listening, error);
    }
    if (watches && status == LW_OK && listening->session->line != NULL) {
        status = watching_tick(listening, error);
    }
    listening_show(listening);
    return status;
}

static enum lw_status listen_on(struct listening *listening, struct lw_error *error)
{
    enum lw_status status = LW_OK;
    set_end(listening);
    listening->shown_ns = lw_clock_now_ns(&listening->session->system);
    while (status == LW_OK && now_of(listening) < listening->end_ns && !is_full(listening)) {
        status = step_once(listening, error);
    }
    listening_erase(listening);
    lw_listener_flush(listening->listener);
    return status == LW_CANCELLED ? LW_OK : status; // Ctrl-C is how it is meant to end
}

static enum lw_status end_files(struct listening *listening, struct lw_listen_result *result,
                                struct lw_error *error)
{
    enum lw_status status = lw_listener_result(listening->listener, result, error);
    enum lw_status closed = listening->request->until_fault ? watching_end(listening, result, error)
                                                            : close_output(listening, error);
    return status == LW_OK ? closed : status;
}

// Listening alone has no verdict.
static void print_record_name(const struct lw_session *session, const struct lw_step *step)
{
    bool simulated = session->line != NULL && session->line->simulated;
    if (step->record_name[0] != '\0') {
        printf("\n%s%s\n", step->record_name, simulated ? " (simulated)" : "");
    }
}

static int listen_and_record(struct listening *listening)
{
    struct lw_session *session = listening->session;
    struct lw_step *step = &listening->step;
    struct lw_error error = {0}, ending = {0};
    struct lw_listen_result result;
    lw_json_init(&lw_listen_shape, &result);
    enum lw_status status = begin(listening, &error);
    bool began = status == LW_OK;
    if (began) {
        lw_cli_say(session->cli, "listens on %s, and never sends; Ctrl-C ends it",
                   session->line->name);
        status = listen_on(listening, &error);
        enum lw_status ended = end_files(listening, &result, &ending);
        error = status == LW_OK ? ending : error;
        status = status == LW_OK ? ended : status;
    }
    if (began && listening->request->against_plan) {
        lw_listen_findings(&session->plan, &result, &step->findings);
    }
    session->heard.listened_s = result.elapsed_s;
    step->judged_nothing = !listening->request->against_plan;
    step->shape = &lw_listen_shape;
    step->result = &result;
    int exit_status = lw_step_end(session, step, status, &error, false);
    if (began && !session->cli->settings.json) {
        listening_print(&result);
    }
    if (began && listening->request->against_plan) {
        lw_step_print(session, step);
    } else if (began && !session->cli->settings.json) {
        print_record_name(session, step);
    }
    lw_findings_free(&step->findings);
    lw_json_free(&lw_listen_shape, &result);
    lw_listener_free(listening->listener);
    return exit_status;
}

static enum lw_status check_request(const struct lw_session *session,
                                    const struct listen_request *request, struct lw_error *error)
{
    if (request->output != NULL && session->has_visit) {
        return lw_fail(error, LW_USAGE,
                       "--output is for work without a visit: a visit keeps the "
                       "capture beside its record");
    }
    if (request->size > 0 && request->output == NULL && !session->has_visit) {
        return lw_fail(error, LW_USAGE,
                       "--size is that of the capture: say where it is to go "
                       "with --output or --visit");
    }
    if (request->until_fault && request->output == NULL && !session->has_visit) {
        return lw_fail(error, LW_USAGE,
                       "say where the captures are to go with --visit, or a new "
                       "folder with --output");
    }
    const struct lw_settings *settings = &session->cli->settings;
    if (request->against_plan && (settings->nodes != NULL || settings->addresses != NULL)) {
        return lw_fail(error, LW_USAGE,
                       "--against-plan judges the whole line: leave --nodes and --addresses out");
    }
    if (request->within != NULL && !(request->until_fault && session->has_plan)) {
        return lw_fail(error, LW_USAGE, "--within needs --until-fault and a plan");
    }
    return LW_OK;
}

int lw_cmd_listen(struct lw_cli *cli)
{
    struct listen_request request = {.cap = 200e6, .before_s = 10, .after_s = 10, .silence_s = 2};
    const struct lw_option own[] = {
        {"seconds", 't', "TIME", LW_OPTION_DURATION, &request.seconds, 0.01, 1e8,
         "listen for so long; by default until Ctrl-C"},
        {"size", 0, "SIZE", LW_OPTION_SIZE, &request.size, 1, 1e15,
         "stop when the capture has this size (64kB, 200MB)"},
        {"output", 0, "FILE", LW_OPTION_TEXT, &request.output, 0, 0,
         "write the capture there; for work without a visit"},
        {"against-plan", 0, NULL, LW_OPTION_FLAG, &request.against_plan, 0, 0,
         "hold the controller's polling against the plan"},
        {"until-fault", 0, NULL, LW_OPTION_FLAG, &request.until_fault, 0, 0,
         "watch for hours or days: a ring of captures on disk, and what passed around every event"},
        {"cap", 0, "SIZE", LW_OPTION_SIZE, &request.cap, LW_RING_LEAST, 1e15,
         "most that the watch takes on disk; 200MB by default"},
        {"before", 0, "TIME", LW_OPTION_DURATION, &request.before_s, 0, 3600,
         "kept before each event; 10 s by default"},
        {"after", 0, "TIME", LW_OPTION_DURATION, &request.after_s, 0.1, 3600,
         "kept after it, and how long an event is over after; 10 s by default"},
        {"silence", 0, "TIME", LW_OPTION_DURATION, &request.silence_s, 0.1, 86400,
         "a line without a byte for so long is an event; 2 s by default"},
        {"within", 0, "LIST", LW_OPTION_TEXT, &request.within, 0, 0,
         "readings outside are events: P03=-0.5..0.5,P07=4..20; by default the profiles' ranges"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    struct lw_session session;
    unsigned needs = LW_NEEDS_LINE | (request.against_plan ? LW_NEEDS_PLAN : LW_TAKES_PLAN);
    enum lw_status status = lw_session_open(&session, cli, needs, &error);
    if (status != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    if (check_request(&session, &request, &error) == LW_OK) {
        struct listening listening = {.session = &session, .request = &request};
        exit_status = listen_and_record(&listening);
    } else {
        exit_status = lw_cli_fail(cli, &error);
    }
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_listen = {
    "listen", "what passes on a line that a controller runs", "",
    "Hears without ever sending: finds the framing by itself, shows who asks whom for what, how "
    "often, and what becomes of it. The capture is kept with the record, or in --output. Ctrl-C "
    "ends it.",
    lw_cmd_listen};
