// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk listen --until-fault: a line watched for hours or days. The judge calls out events; this
// writes them down, cuts what passed around them out of the ring, and waits for an adapter that was
// pulled out.
#include "listening.h"

#include "base/csv.h"
#include "base/text.h"

static const int64_t written_by_ns = 1500000000; // the recorder holds bytes back for a second

static struct lw_capture_facts facts_of(struct listening *listening)
{
    const struct lw_line *line = listening->session->line;
    lw_framing_text(&line->framing, listening->framing);
    return (struct lw_capture_facts){
        .application = "linewalk " LW_VERSION,
        .line = listening->session->on,
        .framing = line->framed ? listening->framing : NULL,
        .adu = line->adu,
        .simulated = line->simulated,
    };
}

// "FOLDER/0003-listen" in a visit, else as --output says.
static void choose_folder(struct listening *listening)
{
    struct lw_session *session = listening->session;
    if (!session->has_visit) {
        lw_copy(listening->folder, sizeof listening->folder, listening->request->output);
        return;
    }
    lw_visit_path(&session->visit, listening->step.number, "listen", "pcapng", listening->folder,
                  sizeof listening->folder);
    *strrchr(listening->folder, '.') = '\0';
}

static char *time_text(const struct listening *listening, int64_t at_ns)
{
    char text[LW_TIME_TEXT];
    lw_time_format(lw_clock_utc_ns(listening->session->clock, at_ns), 3, text);
    return lw_duplicate(text);
}

static void note(struct listening *listening, enum lw_status status, const struct lw_error *error)
{
    if (listening->kept_status == LW_OK && status != LW_OK) {
        listening->kept_status = status;
        listening->kept_error = *error;
    }
}

static void write_row(struct listening *listening, const struct lw_watch_event *event)
{
    struct lw_text row = {0};
    struct lw_error error = {0};
    char says[400];
    char *from = time_text(listening, event->first_ns), *to = time_text(listening, event->last_ns);
    lw_text_add(&row, "%d,%s,%s,%s,%s", event->number, event->over ? "end" : "begin",
                from != NULL ? from : "", to != NULL ? to : "", lw_watch_word(event->kind));
    lw_csv_field(&row, event->node != NULL ? event->node : "", 1);
    lw_text_add(&row, ",%d,%.0f", event->address, event->count);
    lw_csv_field(&row, lw_watch_says(event, says, sizeof says), 1);
    lw_text_add(&row, "\n");
    enum lw_status status = lw_text_check(&row, &error);
    if (status == LW_OK) {
        status = lw_ring_say(listening->ring, row.bytes, &error);
    }
    note(listening, status, &error);
    lw_text_finish(&row);
    free(from);
    free(to);
}

static struct lw_listen_event *listed(struct listening *listening, int number)
{
    struct lw_listen_event *events = listening->events.items;
    return number <= (int)listening->events.count ? &events[number - 1] : NULL;
}

// The numbers run from 1 without gaps, so that the list's order is theirs.
static void list_event(struct listening *listening, const struct lw_watch_event *event)
{
    char says[400];
    struct lw_listen_event *row = listed(listening, event->number);
    if (!event->over && listening->events.count < LW_LISTEN_EVENTS) {
        row = lw_list_add(&listening->events, sizeof *row);
    }
    if (row == NULL) {
        return;
    }
    free(row->to);
    free(row->says);
    row->to = time_text(listening, event->last_ns);
    row->says = lw_duplicate(lw_watch_says(event, says, sizeof says));
    row->count = event->count;
    if (!event->over) {
        row->number = event->number;
        row->kind = lw_duplicate(lw_watch_word(event->kind));
        row->node = lw_duplicate(event->node);
        row->address = event->address;
        row->from = time_text(listening, event->first_ns);
    }
}

static void plan_to_keep(struct listening *listening, const struct lw_watch_event *event)
{
    int64_t after_ns = (int64_t)(listening->request->after_s * 1e9);
    bool long_after = event->last_ns - event->first_ns > after_ns;
    if (listening->to_keep_count < TO_KEEP_MOST && (!event->over || long_after)) {
        listening->to_keep[listening->to_keep_count++] = (struct to_keep){
            event->number, event->over, event->over ? event->last_ns : event->first_ns};
    }
}

static void on_event(void *user, const struct lw_watch_event *event)
{
    struct listening *listening = user;
    char says[400];
    listening->events_in_all += !event->over;
    write_row(listening, event);
    list_event(listening, event);
    plan_to_keep(listening, event);
    if (!event->over && lw_cli_progress_terminal()) {
        char at[LW_TIME_TEXT];
        lw_time_format(lw_clock_utc_ns(listening->session->clock, event->first_ns), 0, at);
        listening_erase(listening);
        lw_cli_say(listening->session->cli, "%s %s", at, lw_watch_says(event, says, sizeof says));
    }
}

static void keep_one(struct listening *listening, const struct to_keep *keep)
{
    char name[64];
    bool kept = false;
    struct lw_error error = {0};
    const struct listen_request *request = listening->request;
    const struct lw_clock *clock = listening->session->clock;
    int64_t at_ns = lw_clock_utc_ns(clock, keep->at_ns);
    lw_print(name, sizeof name, "event-%04d%s.pcapng", keep->event, keep->end ? "-end" : "");
    enum lw_status status =
        lw_ring_keep(listening->ring, name, at_ns - (int64_t)(request->before_s * 1e9),
                     at_ns + (int64_t)(request->after_s * 1e9), &kept, &error);
    note(listening, status, &error);
    struct lw_listen_event *row = listed(listening, keep->event);
    char **file = kept && row != NULL ? lw_list_add(&row->captures, sizeof *file) : NULL;
    if (file != NULL) {
        *file = lw_duplicate(name);
    }
}

// Those that are due; all of them at the end.
static void keep_due(struct listening *listening, int64_t now_ns)
{
    int64_t after_ns = (int64_t)(listening->request->after_s * 1e9) + written_by_ns;
    size_t left = 0;
    for (size_t i = 0; i < listening->to_keep_count; i++) {
        struct to_keep keep = listening->to_keep[i];
        if (now_ns < keep.at_ns + after_ns) {
            listening->to_keep[left++] = keep;
        } else {
            keep_one(listening, &keep);
        }
    }
    listening->to_keep_count = left;
}

static enum lw_status begin_judge(struct listening *listening, struct lw_error *error)
{
    const struct lw_session *session = listening->session;
    const struct listen_request *request = listening->request;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    struct lw_watch_options options = {
        .silence_s = request->silence_s,
        .quiet_s = request->after_s,
        .user = listening,
        .event = on_event,
    };
    enum lw_status status = LW_OK;
    if (request->within != NULL) {
        status = lw_watch_limits_parse(request->within, plan, &options, error);
    }
    return status == LW_OK ? lw_watch_new(plan, &options, lw_clock_now_ns(session->clock),
                                          &listening->watch, error)
                           : status;
}

enum lw_status watching_begin(struct listening *listening, struct lw_error *error)
{
    static const char heads[] = "event,state,from,to,kind,node,address,count,says\n";
    const struct lw_capture_facts facts = facts_of(listening);
    choose_folder(listening);
    enum lw_status status =
        lw_ring_open(listening->folder, listening->request->cap, &facts, &listening->ring, error);
    if (status == LW_OK) {
        status = lw_ring_say(listening->ring, heads, error);
    }
    if (status == LW_OK) {
        status =
            lw_recorder_switch(listening->session->line, lw_ring_capture(listening->ring), error);
    }
    return status == LW_OK ? begin_judge(listening, error) : status;
}

static enum lw_status on_switched(void *user, struct lw_error *error)
{
    struct listening *listening = user;
    lw_framing_text(&listening->session->line->framing, listening->framing);
    return lw_ring_again(listening->ring, listening->session->line, error);
}

static void on_piece(void *user, const struct lw_piece *piece)
{
    lw_watch_piece(((struct listening *)user)->watch, piece);
}

static void on_frame(void *user, const struct lw_stream_frame *frame)
{
    lw_watch_frame(((struct listening *)user)->watch, frame);
}

static void on_exchange(void *user, const struct lw_exchange *exchange)
{
    lw_watch_exchange(((struct listening *)user)->watch, exchange);
}

void watching_options(struct listening *listening, struct lw_listener_options *options)
{
    options->user = listening;
    options->switched = on_switched;
    options->piece = on_piece;
    options->frame = on_frame;
    options->exchange = on_exchange;
}

static enum lw_status told(const struct listening *listening, struct lw_error *error)
{
    if (listening->kept_status != LW_OK) {
        *error = listening->kept_error;
    }
    return listening->kept_status;
}

enum lw_status watching_tick(struct listening *listening, struct lw_error *error)
{
    int64_t now_ns = lw_clock_now_ns(listening->session->clock);
    lw_watch_tick(listening->watch, now_ns);
    keep_due(listening, now_ns);
    enum lw_status status = told(listening, error);
    return status == LW_OK ? lw_ring_turn(listening->ring, listening->session->line, error)
                           : status;
}

enum lw_status watching_regain(struct listening *listening, struct lw_error *error)
{
    struct lw_session *session = listening->session;
    const double pause_s = 0.5;
    const struct lw_framing framing = session->line->framing;
    enum lw_status status = lw_recorder_switch(session->line, NULL, error);
    if (status != LW_OK) {
        return status; // it was the disk
    }
    lw_listener_flush(listening->listener);
    lw_session_lose_line(session);
    while (session->line == NULL && lw_clock_now_ns(session->clock) < listening->end_ns) {
        lw_watch_lost(listening->watch, lw_clock_now_ns(session->clock));
        lw_cli_pause(pause_s);
        if (lw_run_cancelled(&session->run)) {
            return lw_fail(error, LW_CANCELLED, "interrupted");
        }
        (void)lw_session_reopen(session, &framing, NULL);
    }
    if (session->line == NULL) {
        return LW_OK;
    }
    lw_watch_regained(listening->watch, lw_clock_now_ns(session->clock));
    status = lw_listener_reopened(listening->listener, session->line, error);
    return status == LW_OK
               ? lw_recorder_switch(session->line, lw_ring_capture(listening->ring), error)
               : status;
}

enum lw_status watching_end(struct listening *listening, struct lw_listen_result *result,
                            struct lw_error *error)
{
    struct lw_session *session = listening->session;
    const char *prefix = strrchr(listening->folder, '/');
    enum lw_status status = LW_OK;
    if (session->line != NULL) {
        status = lw_recorder_switch(session->line, NULL, error);
    }
    if (listening->watch != NULL) {
        lw_watch_end(listening->watch, lw_clock_now_ns(session->clock));
        keep_due(listening, INT64_MAX);
        status = status == LW_OK ? told(listening, error) : status;
    }
    if (listening->ring != NULL) {
        result->most_bytes = lw_ring_most(listening->ring);
    }
    enum lw_status closed =
        lw_ring_close(listening->ring, prefix != NULL ? prefix + 1 : listening->folder,
                      &listening->step.files, error);
    result->events = listening->events;
    result->events_in_all = listening->events_in_all;
    listening->events = (struct lw_list){0};
    lw_watch_free(listening->watch);
    return status == LW_OK ? closed : status;
}
