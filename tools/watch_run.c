// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk-watch: polls, draws, takes keys, one after the other on one thread. A poll takes some
// hundredths of a second, so keys and picture wait for no more than that.
#include "cli/dialog.h"
#include "cli/language.h"
#include "cli/output.h"
#include "watch_command.h"
#include "watch_screen.h"

#include "base/text.h"

#include <math.h>

static const int64_t draw_ns = 100000000;  // ten pictures a second are as many as an eye follows
static const int64_t bell_ns = 1000000000; // not more often
static const int64_t retry_ns = 500000000; // looking for a line that is gone
static const int64_t rate_ns = 1000000000; // over which polls a second are counted

struct watching {
    struct lw_session *session;
    const struct lw_watch_request *request;
    struct lw_step step;
    struct lw_live *live;
    struct lw_screen *screen;
    struct lw_sentences *sentences;
    struct lw_watch_view view;
    char title[240], made_sure_by[LW_ANSWER_SIZE];
    struct lw_framing framing;
    bool simulated, quit;
    double errors_rung, rate_polls;
    int64_t drawn_ns, rung_ns, tried_ns, rate_at_ns; // the last on the line's clock
    int64_t line_zero_ns, real_zero_ns;              // where the line's time is paced from
};

static int64_t real_now_ns(const struct watching *watching)
{
    return lw_clock_now_ns(&watching->session->system);
}

static int64_t line_now_ns(const struct watching *watching)
{
    return lw_clock_now_ns(watching->session->clock);
}

static void draw(struct watching *watching)
{
    watching->view.now_ns = line_now_ns(watching);
    lw_screen_draw(watching->screen, watching->live, &watching->view);
    watching->drawn_ns = real_now_ns(watching);
}

static void count_rate(struct watching *watching)
{
    int64_t took_ns = line_now_ns(watching) - watching->rate_at_ns;
    double polls = lw_live_polls(watching->live);
    if (took_ns >= rate_ns) {
        watching->view.polls_per_s = (polls - watching->rate_polls) / ((double)took_ns / 1e9);
        watching->rate_polls = polls;
        watching->rate_at_ns += took_ns;
    }
}

static void ring(struct watching *watching)
{
    double errors = lw_live_errors(watching->live);
    int64_t now_ns = real_now_ns(watching);
    if (errors > watching->errors_rung && now_ns - watching->rung_ns >= bell_ns) {
        lw_screen_bell(watching->screen);
        watching->rung_ns = now_ns;
    }
    watching->errors_rung = errors;
}

// Returns whether something is to be drawn for it.
static bool take_keys(struct watching *watching)
{
    enum lw_watch_key key;
    bool any = false;
    while ((key = lw_screen_key(watching->screen, watching->live)) != LW_KEY_NONE) {
        size_t cursor = lw_screen_cursor(watching->screen);
        any = true;
        if (key == LW_KEY_QUIT) {
            watching->quit = true;
        } else if (key == LW_KEY_HANDS) {
            bool there = lw_live_hands_at(watching->live) == cursor;
            lw_live_hands(watching->live, there ? SIZE_MAX : cursor);
        } else if (key == LW_KEY_MARK && !watching->view.held) {
            lw_live_mark(watching->live, SIZE_MAX, lw_screen_mark(watching->screen),
                         line_now_ns(watching));
        }
    }
    return any;
}

static void look_after_screen(struct watching *watching)
{
    count_rate(watching);
    ring(watching);
    bool asked = take_keys(watching);
    if (asked || real_now_ns(watching) - watching->drawn_ns >= draw_ns) {
        draw(watching);
    }
}

static void wait_with_screen(struct watching *watching, double seconds)
{
    const double piece_s = 0.05;
    int64_t until_ns = real_now_ns(watching) + (int64_t)(seconds * 1e9);
    do {
        double left_s = (double)(until_ns - real_now_ns(watching)) / 1e9;
        lw_cli_pause(fmax(fmin(left_s, piece_s), 0));
        look_after_screen(watching);
    } while (real_now_ns(watching) < until_ns && !watching->quit &&
             !lw_run_cancelled(&watching->session->run));
}

// A virtual chain's time jumps; it is held back to go as fast as asked.
static void keep_pace(struct watching *watching)
{
    double speed = watching->request->sim_speed;
    if (watching->session->line->paced || speed <= 0) {
        return;
    }
    double line_s = (double)(line_now_ns(watching) - watching->line_zero_ns) / 1e9;
    double real_s = (double)(real_now_ns(watching) - watching->real_zero_ns) / 1e9;
    if (line_s / speed - real_s > 0.002) {
        wait_with_screen(watching, line_s / speed - real_s);
    }
}

// LW_SYSTEM here means that it was the disk after all.
static enum lw_status lose_line(struct watching *watching, struct lw_error *error)
{
    struct lw_session *session = watching->session;
    lw_live_lost(watching->live, line_now_ns(watching));
    if (watching->step.capture != NULL) {
        enum lw_status status = lw_recorder_switch(session->line, NULL, error);
        if (status != LW_OK) {
            return status;
        }
    }
    lw_client_free(session->client);
    session->client = NULL;
    lw_session_lose_line(session);
    return LW_OK;
}

static enum lw_status look_for_line(struct watching *watching, struct lw_error *error)
{
    struct lw_session *session = watching->session;
    wait_with_screen(watching, 0.1);
    if (lw_run_cancelled(&session->run)) {
        return lw_fail(error, LW_CANCELLED, "interrupted");
    }
    if (real_now_ns(watching) - watching->tried_ns < retry_ns) {
        return LW_OK;
    }
    watching->tried_ns = real_now_ns(watching);
    if (lw_session_reopen(session, &watching->framing, NULL) != LW_OK) {
        return LW_OK;
    }
    lw_live_found(watching->live, line_now_ns(watching));
    return watching->step.capture != NULL
               ? lw_recorder_switch(session->line, watching->step.capture, error)
               : LW_OK;
}

static enum lw_status one_poll(struct watching *watching, struct lw_error *error)
{
    struct lw_client *client = NULL;
    enum lw_status status = lw_session_client(watching->session, &client, error);
    if (status == LW_OK) {
        status = lw_live_step(watching->live, &watching->session->run, client, error);
    }
    return status == LW_SYSTEM && watching->session->line->paced ? lose_line(watching, error)
                                                                 : status;
}

static bool is_over(const struct watching *watching)
{
    double most_s = watching->request->seconds;
    return most_s > 0 && lw_live_seconds(watching->live, line_now_ns(watching)) >= most_s;
}

static enum lw_status watch(struct watching *watching, struct lw_error *error)
{
    enum lw_status status = LW_OK;
    draw(watching);
    while (status == LW_OK && !watching->quit && !is_over(watching)) {
        if (watching->session->line == NULL) {
            status = look_for_line(watching, error);
            continue;
        }
        status = one_poll(watching, error);
        if (status == LW_OK && watching->session->line != NULL) {
            look_after_screen(watching);
            keep_pace(watching);
        }
    }
    return status;
}

// The watch is over and recorded as it is; only the picture stays.
static void hold(struct watching *watching)
{
    watching->view.held = true;
    draw(watching);
    while (!watching->quit && !lw_run_cancelled(&watching->session->run)) {
        lw_cli_pause(0.05);
        if (take_keys(watching)) {
            draw(watching);
        }
    }
}

// Before hands go in. A virtual chain hurts nobody.
static enum lw_status make_sure(struct watching *watching, struct lw_error *error)
{
    struct lw_talk *talk = NULL;
    const struct lw_talk_request request = {.answers = watching->request->answers};
    if (watching->request->hands_off || watching->simulated) {
        return LW_OK;
    }
    enum lw_status status =
        lw_talk_open(watching->session, &watching->step, &request, &talk, error);
    if (status == LW_OK) {
        status = lw_talk_safety(talk, watching->made_sure_by, error);
    }
    lw_talk_close(talk);
    return status;
}

static void make_title(struct watching *watching)
{
    const struct lw_session *session = watching->session;
    const char *machine = session->plan.site.machine;
    char framing[LW_FRAMING_TEXT] = "";
    if (session->line->framed) {
        lw_framing_text(&session->line->framing, framing);
    }
    lw_print(watching->title, sizeof watching->title, "%s%s%s  %s", machine != NULL ? machine : "",
             machine != NULL ? "  " : "", session->line->name, framing);
}

static enum lw_status begin(struct watching *watching, struct lw_error *error)
{
    struct lw_session *session = watching->session;
    const struct lw_live_options options = {.selected = session->selected,
                                            .window_s = watching->request->window_s};
    enum lw_status status = lw_session_language(session, &watching->sentences, error);
    if (status == LW_OK) {
        status = make_sure(watching, error);
        lw_session_stay_awake(session);
    }
    if (status == LW_OK) {
        status =
            lw_live_new(&session->plan, &options, line_now_ns(watching), &watching->live, error);
    }
    if (status == LW_OK) {
        status = lw_screen_open(!session->cli->settings.quiet, &watching->screen, error);
    }
    session->run.progress = NULL; // the screen is not its own
    watching->line_zero_ns = watching->rate_at_ns = line_now_ns(watching);
    watching->real_zero_ns = real_now_ns(watching);
    watching->view = (struct lw_watch_view){.title = watching->title,
                                            .sentences = watching->sentences,
                                            .simulated = watching->simulated,
                                            .recorded = session->has_visit};
    return status;
}

static enum lw_status judge(struct watching *watching, enum lw_status status,
                            struct lw_live_result *result, struct lw_error *error)
{
    struct lw_error own = {0};
    if (watching->live == NULL) {
        return status;
    }
    enum lw_status judged = lw_live_result(watching->live, line_now_ns(watching), result, &own);
    if (judged == LW_OK) {
        result->made_sure_by =
            watching->made_sure_by[0] != '\0' ? lw_duplicate(watching->made_sure_by) : NULL;
        lw_live_findings(result, &watching->step.rule, &watching->step.findings);
        watching->step.has_rule = true;
        watching->step.shape = &lw_live_shape;
        watching->step.result = result;
    } else if (status == LW_OK) {
        *error = own;
        return judged;
    }
    return status;
}

static void print_summary(const struct watching *watching, const struct lw_live_result *result)
{
    if (!watching->session->cli->settings.json && watching->step.shape != NULL) {
        printf(_("%zu nodes watched for %.0f s, %.0f polls, %.0f events, %.0f marks\n"),
               result->nodes.count, result->seconds, result->polls, result->events_in_all,
               result->marks);
    }
}

static int run(struct watching *watching)
{
    struct lw_error error = {0};
    struct lw_session *session = watching->session;
    struct lw_live_result result;
    lw_json_init(&lw_live_shape, &result);
    watching->framing = session->line->framing;
    watching->simulated = session->line->simulated;
    make_title(watching);
    enum lw_status status = lw_step_begin(session, &watching->step, "watch", true, &error);
    watching->step.of_simulated = watching->simulated;
    if (status == LW_OK) {
        status = begin(watching, &error);
    }
    if (status == LW_OK) {
        status = watch(watching, &error);
    }
    if (status == LW_OK && watching->request->hold && !watching->quit) {
        hold(watching);
    }
    lw_screen_close(watching->screen);
    status = judge(watching, status, &result, &error);
    int exit_status = lw_step_end(session, &watching->step, status, &error, false);
    print_summary(watching, &result);
    lw_step_print(session, &watching->step);
    lw_findings_free(&watching->step.findings);
    lw_json_free(&lw_live_shape, &result);
    lw_live_free(watching->live);
    lw_sentences_free(watching->sentences);
    return exit_status;
}

int lw_cmd_watch(struct lw_cli *cli)
{
    struct lw_error error = {0};
    struct lw_watch_request request;
    struct lw_session session;
    int exit_status;
    if (!lw_watch_parse(cli, &request, &exit_status)) {
        return exit_status;
    }
    if (!lw_cli_full_screen()) {
        lw_fail(&error, LW_USAGE, "a terminal is needed to watch on");
        return lw_cli_fail(cli, &error);
    }
    if (lw_session_open(&session, cli, LW_NEEDS_LINE | LW_NEEDS_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    struct watching watching = {.session = &session, .request = &request};
    exit_status = run(&watching);
    lw_session_close(&session);
    return exit_status;
}

int main(int argc, char **argv)
{
    struct lw_cli cli = {.command = &lw_command_watch, .argc = argc, .argv = argv};
    lw_cli_start();
    return lw_cmd_watch(&cli);
}
