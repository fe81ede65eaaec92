// SPDX-License-Identifier: GPL-3.0-or-later
//
// Opening a session: visit, plan, line, in this order, since the visit knows the plan and the line
// that were used before.
#include "cli/session.h"

#include "base/text.h"
#include "cli/progress.h"
#include "line/ports.h"

#include <unistd.h>

static enum lw_status open_visit(struct lw_session *session, unsigned needs, struct lw_error *error)
{
    const char *folder = session->cli->settings.visit;
    enum lw_status status;
    if (folder != NULL) {
        status = lw_visit_open(folder, NULL, &session->system, &session->visit, error);
        session->has_visit = status == LW_OK;
    } else {
        status = lw_visit_find(".", &session->visit, &session->has_visit, error);
    }
    if (status == LW_OK && !session->has_visit) {
        if (needs & LW_NEEDS_VISIT) {
            return lw_fail(error, LW_USAGE, "there is no visit here: name one with --visit");
        }
        return LW_OK;
    }
    return status == LW_OK
               ? lw_visit_records(&session->visit, &session->records, &session->broken, error)
               : status;
}

// The plan named, or that of the virtual chain named; false when neither is.
static bool plan_path(const struct lw_settings *settings, char *path, size_t size)
{
    if (settings->plan != NULL) {
        return lw_copy(path, size, settings->plan);
    }
    return lw_line_plan_path(settings->on, path, size);
}

// A file that a person named and that is not there is a wrong name, no failing disk.
static enum lw_status load_named_plan(struct lw_session *session, const char *path,
                                      struct lw_error *error)
{
    enum lw_status status = lw_plan_load(path, session->cli->settings.profiles, LW_PROFILESDIR,
                                         &session->plan, &session->inputs, error);
    session->has_plan = status == LW_OK;
    return status == LW_SYSTEM ? error->status = LW_BAD_FILE : status;
}

// Named, else as the visit used it last.
static enum lw_status load_plan(struct lw_session *session, unsigned needs, struct lw_error *error)
{
    char path[LW_PATH];
    enum lw_status status = LW_OK;
    if ((needs & (LW_NEEDS_PLAN | LW_TAKES_PLAN)) == 0) {
        return LW_OK;
    }
    if (plan_path(&session->cli->settings, path, sizeof path)) {
        return load_named_plan(session, path, error);
    }
    if (session->has_visit) {
        status = lw_visit_plan(&session->visit, &session->records, &session->plan, &session->inputs,
                               &session->has_plan, error);
    }
    if (status == LW_OK && !session->has_plan && (needs & LW_NEEDS_PLAN)) {
        return lw_fail(error, LW_USAGE, "a plan is needed: name it with --plan");
    }
    return status;
}

// The line used last in this visit, else the only adapter there is.
static enum lw_status default_line(struct lw_session *session, char *on, size_t size,
                                   struct lw_error *error)
{
    const struct lw_record *records = session->records.items;
    for (size_t i = session->records.count; i-- > 0;) {
        if (records[i].line != NULL && records[i].line->on != NULL) {
            lw_cli_say(session->cli, "on %s, as before in this visit", records[i].line->on);
            lw_copy(on, size, records[i].line->on);
            return LW_OK;
        }
    }
    struct lw_list ports = {0};
    enum lw_status status = lw_ports_list(&ports, error);
    if (status == LW_OK && ports.count == 1) {
        const struct lw_port *port = ports.items;
        lw_cli_say(session->cli, "on %s, the only serial port there is", port->name);
        lw_copy(on, size, port->name);
    } else if (status == LW_OK) {
        status = ports.count == 0
                     ? lw_fail(error, LW_USAGE, "no serial port is there: name a line with --on")
                     : lw_fail(error, LW_USAGE,
                               "%zu serial ports are there: choose one with --on (linewalk ports "
                               "lists them)",
                               ports.count);
    }
    lw_ports_free(&ports);
    return status;
}

static enum lw_status wrap_in_recorder(struct lw_session *session, struct lw_error *error)
{
    struct lw_line *recorder = NULL;
    enum lw_status status = lw_recorder_wrap(session->line, NULL, &recorder, error);
    if (status == LW_OK) {
        session->line = recorder;
    }
    return status;
}

static void name_line(struct lw_session *session)
{
    lw_text_clean(session->line->name, sizeof session->line->name, session->on,
                  strlen(session->on));
}

static enum lw_status open_line(struct lw_session *session, struct lw_error *error)
{
    const struct lw_settings *settings = &session->cli->settings;
    struct lw_framing framing;
    const struct lw_framing *given = session->has_plan ? &session->plan.framing : NULL;
    enum lw_status status = LW_OK;
    if (settings->framing != NULL) {
        status = lw_framing_parse(settings->framing, &framing, error);
        given = &framing;
    }
    if (status == LW_OK && settings->on != NULL) {
        lw_copy(session->on, sizeof session->on, settings->on);
    } else if (status == LW_OK) {
        status = default_line(session, session->on, sizeof session->on, error);
    }
    if (status == LW_OK) {
        status = lw_open_line(session, session->on, given, error);
    }
    if (status == LW_OK) {
        name_line(session);
    }
    if (status == LW_OK && session->has_visit) {
        status = wrap_in_recorder(session, error);
    }
    if (status == LW_OK) {
        session->clock = session->line->clock;
        if (session->line->remark[0] != '\0') {
            lw_cli_say(session->cli, "%s", session->line->remark);
        }
    }
    return status;
}

void lw_session_lose_line(struct lw_session *session)
{
    session->clock = session->run.clock = &session->system;
    lw_line_close(session->line);
    session->line = NULL;
}

enum lw_status lw_session_reopen(struct lw_session *session, const struct lw_framing *framing,
                                 struct lw_error *error)
{
    enum lw_status status = lw_open_line(session, session->on, framing, error);
    if (status == LW_OK) {
        name_line(session);
        status = wrap_in_recorder(session, error);
    }
    if (status == LW_OK) {
        session->clock = session->run.clock = session->line->clock;
    } else {
        lw_session_lose_line(session);
    }
    return status;
}

static enum lw_status select_nodes(struct lw_session *session, struct lw_error *error)
{
    const struct lw_settings *settings = &session->cli->settings;
    if (settings->addresses != NULL) {
        enum lw_status status = lw_addresses_parse(settings->addresses, session->addresses, error);
        if (status != LW_OK) {
            return lw_error_within(error, "--addresses");
        }
    }
    if (settings->nodes == NULL && (settings->addresses == NULL || !session->has_plan)) {
        return LW_OK;
    }
    if (!session->has_plan) {
        return lw_fail(error, LW_USAGE, "--nodes names nodes of a plan: give one with --plan");
    }
    session->selected = calloc(lw_plan_taps(&session->plan) + 1, sizeof *session->selected);
    if (session->selected == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a selection");
    }
    return lw_plan_select(&session->plan, settings->nodes, settings->addresses, session->selected,
                          error);
}

bool lw_session_wants(const struct lw_session *session, int address)
{
    size_t tap = 0;
    if (session->selected == NULL) {
        return session->cli->settings.addresses == NULL || session->addresses[address];
    }
    return lw_plan_by_address(&session->plan, address, &tap) != NULL && session->selected[tap - 1];
}

void lw_session_is_simulated(struct lw_session *session, bool simulated)
{
    if (session->line != NULL) {
        session->line->simulated = session->line->simulated || simulated;
    }
}

static bool wants_all_nodes(const struct lw_session *session)
{
    for (size_t tap = 1; tap <= lw_plan_taps(&session->plan); tap++) {
        if (lw_plan_tap(&session->plan, tap)->node != NULL && !session->selected[tap - 1]) {
            return false;
        }
    }
    return true;
}

static bool wants_all_addresses(const struct lw_session *session)
{
    for (int address = 1; address <= LW_ADDRESS_MAX; address++) {
        if (!session->addresses[address]) {
            return false;
        }
    }
    return true;
}

const char *lw_session_part(const struct lw_session *session, const char *check)
{
    static const char *const limited[] = {"scan",  "roster", "link",   "supply",
                                          "noise", "touch",  "restart"};
    const struct lw_settings *settings = &session->cli->settings;
    bool known = false;
    for (size_t i = 0; i < sizeof limited / sizeof *limited; i++) {
        known = known || strcmp(check, limited[i]) == 0;
    }
    const char *part = settings->nodes != NULL ? settings->nodes : settings->addresses;
    if (!known || part == NULL) {
        return NULL;
    }
    bool by_nodes = session->selected != NULL && strcmp(check, "scan") != 0;
    return (by_nodes ? wants_all_nodes(session) : wants_all_addresses(session)) ? NULL : part;
}

static void set_run(struct lw_session *session)
{
    int64_t utc_ns = lw_clock_utc_ns(session->clock, lw_clock_now_ns(session->clock));
    session->run = (struct lw_run){
        .clock = session->clock,
        .cancel = lw_cli_cancel(),
        .seed = session->has_plan && session->plan.simulated != NULL
                    ? (uint64_t)session->plan.simulated->seed
                    : 1,
        .today_days = lw_time_days(utc_ns),
        .user = session,
        .progress = lw_session_progress,
        .reading = lw_session_reading,
    };
}

enum lw_status lw_session_open(struct lw_session *session, struct lw_cli *cli, unsigned needs,
                               struct lw_error *error)
{
    *session = (struct lw_session){.cli = cli};
    lw_clock_system(&session->system);
    session->clock = &session->system;
    session->opened_ns = lw_clock_now_ns(session->clock);
    enum lw_status status = open_visit(session, needs, error);
    if (status == LW_OK) {
        status = load_plan(session, needs, error);
    }
    if (status == LW_OK) {
        status = select_nodes(session, error);
    }
    if (status == LW_OK && (needs & LW_NEEDS_LINE)) {
        status = open_line(session, error);
    }
    if (status == LW_OK) {
        set_run(session);
        if (!session->has_visit && (needs & LW_NEEDS_LINE)) {
            lw_cli_say(cli, "not recorded: no visit");
        }
    } else {
        lw_session_close(session);
    }
    return status;
}

enum lw_status lw_session_client(struct lw_session *session, struct lw_client **client,
                                 struct lw_error *error)
{
    enum lw_status status = LW_OK;
    if (session->client == NULL) {
        // A gateway waits for its node before it says so, usually a second (common practice).
        struct lw_client_options options = {
            .gateway_s = 2,
            .framing_known = session->has_plan || session->cli->settings.framing != NULL};
        status = lw_client_new(session->line, &session->run, &options, &session->client, error);
    }
    *client = session->client;
    return status;
}

void lw_session_stay_awake(struct lw_session *session)
{
    struct lw_error error = {0};
    if (session->awake_asked || session->line == NULL || !session->line->paced) {
        return;
    }
    session->awake_asked = true;
    if (lw_awake_begin(&session->awake, &error) != LW_OK) {
        char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
        lw_progress_clear(session);
        lw_cli_say(session->cli, "this machine may go to sleep meanwhile: %s",
                   lw_error_text(&error, text, sizeof text));
    }
}

void lw_session_close(struct lw_session *session)
{
    lw_progress_clear(session);
    lw_awake_end(&session->awake);
    lw_client_free(session->client);
    lw_line_close(session->line);
    lw_chain_free(session->chain);
    lw_recorded_free(session->recorded);
    lw_recording_free(&session->recording);
    lw_plan_free(&session->chain_plan);
    if (session->locked) {
        lw_visit_end(&session->visit);
    }
    lw_records_free(&session->records);
    if (session->has_visit) {
        lw_visit_close(&session->visit);
    }
    if (session->has_plan) {
        lw_plan_free(&session->plan);
    }
    lw_inputs_free(&session->inputs);
    free(session->selected);
    *session = (struct lw_session){0};
}
