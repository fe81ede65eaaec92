// SPDX-License-Identifier: GPL-3.0-or-later
//
// What --on can name, and the one place that knows it.
#include "cli/session.h"

#include "base/text.h"

static const char recorded_prefix[] = "replay:";

bool lw_line_plan_path(const char *on, char *path, size_t size)
{
    if (on == NULL || strncmp(on, "sim:", 4) != 0) {
        return false;
    }
    return lw_folder_exists(on + 4) ? lw_path_join(path, size, on + 4, "plan.json")
                                    : lw_copy(path, size, on + 4);
}

// Where the visit's last simulated record ended, so that a virtual machine does not live the same
// seconds twice.
static double last_sim_s(const struct lw_session *session)
{
    const struct lw_record *records = session->records.items;
    double last_s = 0;
    for (size_t i = 0; i < session->records.count; i++) {
        if (isfinite(records[i].sim_to_s)) {
            last_s = records[i].sim_to_s;
        }
    }
    return last_s;
}

static enum lw_status open_chain(struct lw_session *session, const char *path,
                                 const struct lw_framing *framing, struct lw_error *error)
{
    const struct lw_settings *settings = &session->cli->settings;
    struct lw_chain_options options = {
        .start_s = settings->sim_at_s >= 0 ? settings->sim_at_s : last_sim_s(session),
        .cancel = lw_cli_cancel(),
    };
    if (session->has_visit && session->visit.facts.opened != NULL) {
        options.utc_given = lw_time_parse(session->visit.facts.opened, &options.start_utc_ns) == 0;
    }
    enum lw_status status =
        lw_plan_load(path, settings->profiles, LW_PROFILESDIR, &session->chain_plan, NULL, error);
    if (status == LW_OK) {
        status = lw_chain_new(&session->chain_plan, &options, &session->chain, error);
    }
    return status == LW_OK ? lw_chain_port(session->chain, framing, &session->line, error) : status;
}

// A recording's nodes in this process, on its own clock that stands where the recording begins.
static enum lw_status open_recorded(struct lw_session *session, const char *path,
                                    const struct lw_framing *framing, struct lw_error *error)
{
    enum lw_status status = lw_recording_load(path, framing, &session->recording, error);
    if (status == LW_OK) {
        const struct lw_recorded_options options = {.framing = session->recording.framing,
                                                    .utc_zero_ns = session->recording.utc_zero_ns,
                                                    .cancel = lw_cli_cancel()};
        status =
            lw_recorded_new(session->recording.exchanges.items, session->recording.exchanges.count,
                            &options, &session->recorded, error);
    }
    return status == LW_OK ? lw_recorded_port(session->recorded, &session->line, error) : status;
}

enum lw_status lw_open_port(const char *path, const struct lw_line_options *options,
                            struct lw_line **line, struct lw_error *error)
{
    return lw_pty_is(path) ? lw_pty_open(path, options, line, error)
                           : lw_serial_open(path, options, line, error);
}

enum lw_status lw_open_line(struct lw_session *session, const char *on,
                            const struct lw_framing *framing, struct lw_error *error)
{
    char path[LW_PATH];
    struct lw_line_options options = {.cancel = lw_cli_cancel()};
    if (session->has_plan) {
        options.direction = (enum lw_direction)session->plan.line.direction;
        options.before_ms = session->plan.line.direction_before_ms;
        options.after_ms = session->plan.line.direction_after_ms;
    }
    if (framing != NULL) {
        options.framing = *framing;
    } else {
        (void)lw_framing_parse("19200/8E1", &options.framing, NULL);
    }
    if (lw_line_plan_path(on, path, sizeof path)) {
        return open_chain(session, path, framing, error);
    }
    if (strncmp(on, recorded_prefix, strlen(recorded_prefix)) == 0) {
        return open_recorded(session, on + strlen(recorded_prefix), framing, error);
    }
    if (strstr(on, "://") != NULL) {
        return lw_socket_open(on, &options, &session->line, error);
    }
    return lw_open_port(on, &options, &session->line, error);
}
