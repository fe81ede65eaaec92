// SPDX-License-Identifier: GPL-3.0-or-later
//
// From the first listening to the record: what every check of a session goes through.
#include "cli/session.h"

#include "base/text.h"
#include "cli/output.h"
#include "cli/progress.h"

static const char *ending_name(const struct lw_session *session, const struct lw_step *step,
                               const char *ending, char *path, size_t size)
{
    lw_visit_path(&session->visit, step->number, step->check, ending, path, size);
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

static enum lw_status start_capture(struct lw_session *session, struct lw_step *step,
                                    struct lw_error *error)
{
    char path[LW_PATH], framing[LW_FRAMING_TEXT];
    lw_framing_text(&session->line->framing, framing);
    ending_name(session, step, "pcapng", path, sizeof path);
    const struct lw_capture_facts facts = {
        .application = "linewalk " LW_VERSION,
        .line = session->line->name,
        .framing = session->line->framed ? framing : NULL,
        .adu = session->line->adu,
        .simulated = session->line->simulated,
    };
    enum lw_status status = lw_capture_create(path, &facts, &step->capture, error);
    return status == LW_OK ? lw_recorder_switch(session->line, step->capture, error) : status;
}

enum lw_status lw_step_capture_again(struct lw_session *session, struct lw_step *step,
                                     struct lw_error *error)
{
    if (step->capture == NULL) {
        return LW_OK;
    }
    enum lw_status status = lw_recorder_switch(session->line, NULL, error);
    enum lw_status closed = lw_capture_close(step->capture, NULL, error);
    step->capture = NULL;
    status = status == LW_OK ? closed : status;
    return status == LW_OK ? start_capture(session, step, error) : status;
}

static enum lw_status start_files(struct lw_session *session, struct lw_step *step,
                                  bool keeps_readings, struct lw_error *error)
{
    char path[LW_PATH];
    enum lw_status status = lw_visit_begin(&session->visit, step->check, &step->number, error);
    session->locked = session->locked || status == LW_OK;
    if (status == LW_OK && session->line != NULL && !session->own_captures) {
        status = start_capture(session, step, error);
    }
    if (status == LW_OK && keeps_readings) {
        ending_name(session, step, "csv", path, sizeof path);
        status = lw_file_create(path, &step->readings, error);
    }
    return status;
}

// "stopped:A. Sample" into what and who.
static void split_controller(struct lw_session *session, const char *said)
{
    const char *colon = strchr(said, ':');
    size_t length = colon != NULL ? (size_t)(colon - said) : strlen(said);
    lw_text_clean(session->controller_is, sizeof session->controller_is, said, length);
    if (colon != NULL) {
        lw_text_clean(session->controller_said_by, sizeof session->controller_said_by, colon + 1,
                      strlen(colon + 1));
    }
}

static bool controller_known(struct lw_session *session)
{
    const struct lw_record *records = session->records.items;
    for (size_t i = session->records.count; i-- > 0;) {
        const struct lw_record_controller *known = records[i].controller;
        if (known != NULL && known->is != NULL) {
            lw_copy(session->controller_is, sizeof session->controller_is, known->is);
            lw_copy(session->controller_said_by, sizeof session->controller_said_by,
                    known->said_by != NULL ? known->said_by : "");
            return true;
        }
    }
    return false;
}

// Listening cannot hear a controller that sleeps or waits for a trigger: once a visit, a person
// says what it is doing.
static enum lw_status settle_controller(struct lw_session *session, struct lw_error *error)
{
    const struct lw_settings *settings = &session->cli->settings;
    char is[80], by[80];
    if (settings->controller != NULL) {
        split_controller(session, settings->controller);
        return LW_OK;
    }
    if (session->line->simulated || controller_known(session)) {
        return LW_OK;
    }
    enum lw_status status = lw_cli_ask(_("What is the controller of this line doing? "
                                         "(none, stopped, unplugged)"),
                                       NULL, is, sizeof is, error);
    if (status == LW_USAGE) {
        return lw_fail(error, LW_USAGE,
                       "say what the controller is doing: --controller none, or --controller "
                       "\"stopped:A. Sample\"");
    }
    if (status == LW_OK && strcmp(is, "none") != 0) {
        status = lw_cli_ask(_("Who said so?"), NULL, by, sizeof by, error);
        lw_copy(session->controller_said_by, sizeof session->controller_said_by,
                status == LW_OK ? by : "");
    }
    lw_copy(session->controller_is, sizeof session->controller_is, status == LW_OK ? is : "");
    return status;
}

static enum lw_status refuse(struct lw_session *session, struct lw_step *step,
                             struct lw_error *error)
{
    const struct lw_heard *heard = &session->heard;
    struct lw_finding *finding =
        lw_findings_add(&step->findings, "line_foreign", LW_FAIL,
                        "%zu bytes were heard before anything was sent", heard->bytes);
    if (heard->frames > 0) {
        lw_finding_because(&step->findings, finding,
                           "%zu whole frames, the first for address %u with function 0x%02X",
                           heard->frames, heard->address, heard->function);
    } else {
        lw_finding_because(&step->findings, finding,
                           "no whole frame among them: another framing, or a disturbed line");
    }
    if (heard->frames > 0) {
        return lw_fail(error, LW_REFUSED,
                       "somebody talks on this line (%zu frames heard, the first for address %u): "
                       "nothing was sent; stop the controller, or use linewalk listen",
                       heard->frames, heard->address);
    }
    return lw_fail(error, LW_REFUSED,
                   "something is on this line (%zu bytes heard, no whole frame): nothing was sent; "
                   "stop the controller, or check the framing",
                   heard->bytes);
}

static enum lw_status listen_first(struct lw_session *session, struct lw_step *step,
                                   struct lw_error *error)
{
    double seconds = session->cli->settings.listen_first_s;
    enum lw_status status = settle_controller(session, error);
    if (status != LW_OK) {
        return status;
    }
    const struct lw_progress listening = {.phase = "listening before the first request",
                                          .total = seconds,
                                          .unit = "s",
                                          .eta_s = seconds};
    lw_session_progress(session, &listening);
    status = lw_listen_first(session->line, seconds, &session->heard, error);
    lw_progress_clear(session);
    session->listened = status == LW_OK;
    if (status != LW_OK) {
        return status;
    }
    if (session->heard.not_tested) {
        lw_cli_say(session->cli, "a gateway cannot be listened to: be sure that no controller uses "
                                 "this line");
        return LW_OK;
    }
    return session->heard.bytes > 0 ? refuse(session, step, error) : LW_OK;
}

static struct lw_client_gateway said_by_gateway(const struct lw_session *session)
{
    struct lw_client_gateway said = {0};
    if (session->client != NULL) {
        lw_client_gateway(session->client, &said);
    }
    return said;
}

enum lw_status lw_step_begin(struct lw_session *session, struct lw_step *step, const char *check,
                             bool keeps_readings, struct lw_error *error)
{
    *step = (struct lw_step){.check = check, .sim_from_s = NAN, .verdict = LW_NOT_TESTED};
    step->started_ns = lw_clock_now_ns(session->clock);
    step->gateway = said_by_gateway(session);
    session->step = step;
    if (session->chain != NULL) {
        step->sim_from_s = lw_chain_now_s(session->chain);
    }
    enum lw_status status = LW_OK;
    if (session->has_visit) {
        status = start_files(session, step, keeps_readings, error);
        step->unwritten = status == LW_SYSTEM;
    }
    if (status == LW_OK && session->line != NULL && !session->listened) {
        status = listen_first(session, step, error);
    }
    return status;
}

static bool add_file(struct lw_list *files, const char *name, const char *digest)
{
    struct lw_record_file *file = lw_list_add(files, sizeof *file);
    if (file == NULL) {
        return false;
    }
    file->name = lw_duplicate(name);
    file->sha256 = lw_duplicate(digest);
    return true;
}

enum { MOST_ATTACHED_BYTES = 64 * 1024 * 1024 };

enum lw_status lw_step_write(struct lw_session *session, struct lw_step *step, const char *ending,
                             const char *bytes, size_t length, const struct lw_record_file **kept,
                             struct lw_error *error)
{
    char to[LW_PATH], digest[LW_DIGEST];
    const char *name = ending_name(session, step, ending, to, sizeof to);
    enum lw_status status = lw_file_write_new(to, bytes, length, error);
    if (status == LW_OK) {
        lw_digest(bytes, length, digest);
        status = add_file(&step->files, name, digest) ? LW_OK
                                                      : lw_fail(error, LW_MEMORY, "out of memory");
    }
    if (status == LW_OK && kept != NULL) {
        *kept = &((const struct lw_record_file *)step->files.items)[step->files.count - 1];
    }
    return status;
}

enum lw_status lw_step_attach(struct lw_session *session, struct lw_step *step, const char *path,
                              const struct lw_record_file **kept, struct lw_error *error)
{
    const char *dot = strrchr(path, '.');
    struct lw_text bytes = {0};
    if (dot == NULL || strchr(dot, '/') != NULL || strlen(dot) < 2 || strlen(dot) > 6) {
        return lw_fail(error, LW_USAGE, "'%s' has no ending that says what it is", path);
    }
    enum lw_status status = lw_file_read(path, MOST_ATTACHED_BYTES, &bytes, error);
    if (status == LW_OK) {
        status = lw_step_write(session, step, dot + 1, bytes.bytes, bytes.length, kept, error);
    }
    lw_text_finish(&bytes);
    return status;
}

enum lw_status lw_step_keep_answers(struct lw_session *session, struct lw_step *step,
                                    struct lw_error *error)
{
    static const char head[] = "question,answer\n";
    char path[LW_PATH];
    if (!session->has_visit || step->answers != NULL) {
        return LW_OK;
    }
    ending_name(session, step, "answers.csv", path, sizeof path);
    enum lw_status status = lw_file_create(path, &step->answers, error);
    return status == LW_OK ? lw_file_append(step->answers, head, sizeof head - 1, error) : status;
}

// Closes one of the files that the step has written itself and lists it in the record.
static enum lw_status close_file(struct lw_session *session, struct lw_step *step,
                                 struct lw_record *record, const char *ending,
                                 struct lw_file **file, struct lw_error *error)
{
    char path[LW_PATH], digest[LW_DIGEST];
    if (*file == NULL) {
        return LW_OK;
    }
    enum lw_status status = lw_file_close(*file, digest, error);
    *file = NULL;
    if (status == LW_OK) {
        add_file(&record->files, ending_name(session, step, ending, path, sizeof path), digest);
    }
    return status;
}

static enum lw_status close_files(struct lw_session *session, struct lw_step *step,
                                  struct lw_record *record, struct lw_error *error)
{
    char path[LW_PATH], digest[LW_DIGEST];
    enum lw_status worst = step->readings_status;
    record->files = step->files;
    step->files = (struct lw_list){0};
    if (step->capture != NULL) {
        enum lw_status status = lw_recorder_switch(session->line, NULL, error);
        enum lw_status closed = lw_capture_close(step->capture, digest, error);
        step->capture = NULL;
        if (status == LW_OK && closed == LW_OK) {
            add_file(&record->files, ending_name(session, step, "pcapng", path, sizeof path),
                     digest);
        }
        worst = worst == LW_OK ? (status == LW_OK ? closed : status) : worst;
    }
    enum lw_status status = close_file(session, step, record, "csv", &step->readings, error);
    worst = worst == LW_OK ? status : worst;
    status = close_file(session, step, record, "answers.csv", &step->answers, error);
    return worst == LW_OK ? status : worst;
}

static enum lw_status keep_inputs(struct lw_session *session, struct lw_record *record,
                                  struct lw_error *error)
{
    for (size_t i = 0; i < session->inputs.count; i++) {
        const struct lw_input *input = &session->inputs.items[i];
        char name[LW_PATH];
        lw_copy(name, sizeof name, input->path);
        if (session->has_visit) {
            enum lw_status status = lw_visit_keep_input(&session->visit, input, name, error);
            if (status != LW_OK) {
                return status;
            }
        }
        add_file(&record->inputs, name, input->digest);
    }
    return LW_OK;
}

static void fill_line(const struct lw_session *session, const struct lw_step *step,
                      struct lw_record *record)
{
    const struct lw_line *line = session->line;
    char framing[LW_FRAMING_TEXT];
    if (line == NULL && !step->of_simulated) {
        return;
    }
    record->line = calloc(1, sizeof *record->line);
    if (record->line == NULL) {
        return;
    }
    if (line == NULL) {
        *record->line =
            (struct lw_record_line){.simulated = true, .listened_s = NAN, .late_ms = NAN};
        return;
    }
    lw_framing_text(&line->framing, framing);
    record->line->on = lw_duplicate(line->name);
    record->line->framing = line->framed ? lw_duplicate(framing) : NULL;
    record->line->adapter = line->adapter[0] != '\0' ? lw_duplicate(line->adapter) : NULL;
    record->line->simulated = line->simulated;
    record->line->late_ms = (double)line->late_ns / 1e6;
    record->line->listened_s = session->heard.not_tested ? NAN : session->heard.listened_s;
    if (session->controller_is[0] != '\0') {
        record->controller = calloc(1, sizeof *record->controller);
    }
    if (record->controller != NULL) {
        record->controller->is = lw_duplicate(session->controller_is);
        record->controller->said_by = session->controller_said_by[0] != '\0'
                                          ? lw_duplicate(session->controller_said_by)
                                          : NULL;
    }
}

// What the gateway in between did in place of nodes. That it got no answer is a scan's ordinary
// result.
static void find_gateway(const struct lw_session *session, struct lw_step *step)
{
    enum { FEW_ANSWERS = 10 }; // too few to tell a gateway's memory by
    struct lw_client_gateway now = said_by_gateway(session), *before = &step->gateway;
    unsigned path = now.path - before->path, silent = now.silent - before->silent;
    unsigned answers = now.answers - before->answers, fast = now.too_fast - before->too_fast;
    if (path > 0) {
        lw_findings_add(&step->findings, "line_gateway_path", LW_ATTENTION,
                        "the gateway says of %u requests that it has no way to the node", path);
    }
    if (silent > 0 && strcmp(step->check, "scan") != 0) {
        lw_findings_add(&step->findings, "line_gateway_silent", LW_ATTENTION,
                        "the gateway says of %u requests that the node did not answer it", silent);
    }
    if (answers >= FEW_ANSWERS && fast > answers / 2) {
        char framing[LW_FRAMING_TEXT];
        lw_framing_text(&session->line->framing, framing);
        struct lw_finding *finding =
            lw_findings_add(&step->findings, "line_gateway_stale", LW_ATTENTION,
                            "%u of %u answers came sooner than a line at %s can carry them", fast,
                            answers, framing);
        lw_finding_because(&step->findings, finding,
                           "they come from the gateway's memory, or the line runs faster than the "
                           "plan says");
    }
}

static char *time_text(const struct lw_session *session, int64_t at_ns)
{
    char text[LW_TIME_TEXT];
    lw_time_format(lw_clock_utc_ns(session->clock, at_ns), 3, text);
    return lw_duplicate(text);
}

// The findings that stand for how the check ended. A disk that cannot be written to says nothing
// about the line.
static void find_ending(const struct lw_session *session, struct lw_step *step,
                        enum lw_status status, const struct lw_error *error)
{
    char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    step->unwritten =
        step->unwritten || (session->line != NULL && lw_recorder_is_full(session->line));
    if (status == LW_CANCELLED) {
        lw_findings_add(&step->findings, "line_interrupted", LW_UNDECIDED,
                        "the check was interrupted before its end");
    } else if (status == LW_SYSTEM && step->unwritten) {
        lw_findings_add(&step->findings, "line_not_written", LW_NOT_TESTED, "%s",
                        lw_error_text(error, text, sizeof text));
    } else if (status == LW_SYSTEM || (status == LW_REFUSED && step->findings.list.count == 0)) {
        lw_findings_add(&step->findings, status == LW_SYSTEM ? "line_failed" : "line_foreign",
                        LW_FAIL, "%s", lw_error_text(error, text, sizeof text));
    }
}

static enum lw_status fill_record(struct lw_session *session, struct lw_step *step,
                                  enum lw_status status, struct lw_record *record,
                                  struct lw_error *error)
{
    record->format = lw_duplicate("linewalk/record/1");
    record->check = lw_duplicate(step->check);
    record->number = step->number;
    record->tool.name = lw_duplicate("linewalk");
    record->tool.version = lw_duplicate(LW_VERSION);
    record->started = time_text(session, step->started_ns);
    record->finished = time_text(session, lw_clock_now_ns(session->clock));
    record->complete = status == LW_OK;
    record->state = lw_duplicate(session->cli->settings.state);
    record->part = lw_duplicate(lw_session_part(session, step->check));
    record->verdict = (int)step->verdict;
    record->skipped = lw_duplicate(step->skipped);
    record->sim_from_s = step->sim_from_s;
    record->sim_to_s = session->chain != NULL ? lw_chain_now_s(session->chain) : NAN;
    fill_line(session, step, record);
    if (step->has_rule) {
        record->rule = calloc(1, sizeof *record->rule);
    }
    if (record->rule != NULL) {
        *record->rule = step->rule;
    }
    record->findings = step->findings;
    if (step->shape == NULL) {
        return LW_OK;
    }
    struct lw_text result = {0};
    enum lw_status written = lw_json_write(step->shape, step->result, false, &result, error);
    record->result = result.bytes;
    return written;
}

static enum lw_status print_record(const struct lw_record *record, struct lw_error *error)
{
    struct lw_text text = {0};
    enum lw_status status = lw_json_write(&lw_record_shape, record, true, &text, error);
    if (status == LW_OK) {
        fwrite(text.bytes, 1, text.length, stdout);
    }
    lw_text_finish(&text);
    return status;
}

static enum lw_status record_step(struct lw_session *session, struct lw_step *step,
                                  enum lw_status status, struct lw_error *error)
{
    struct lw_record record;
    lw_json_init(&lw_record_shape, &record);
    enum lw_status closed = close_files(session, step, &record, error);
    enum lw_status worst =
        fill_record(session, step, closed == LW_OK ? status : closed, &record, error);
    worst = worst == LW_OK ? closed : worst;
    enum lw_status kept = keep_inputs(session, &record, error);
    worst = worst == LW_OK ? kept : worst;
    if (worst == LW_OK && session->has_visit) {
        worst = lw_visit_append(&session->visit, &record, error);
        char path[LW_PATH];
        lw_copy(step->record_name, sizeof step->record_name,
                ending_name(session, step, "json", path, sizeof path));
    }
    if (session->cli->settings.json && worst == LW_OK) {
        worst = print_record(&record, error);
    }
    record.findings = (struct lw_findings){0}; // the step's own, printed and freed there
    lw_json_free(&lw_record_shape, &record);
    return worst;
}

// A check that could not even begin, for want of a sensible question or of its visit, leaves none.
static bool leaves_record(const struct lw_session *session, const struct lw_step *step,
                          enum lw_status status)
{
    bool begun = !session->has_visit || step->number > 0;
    return begun && status != LW_USAGE && status != LW_BAD_FILE && status != LW_MEMORY;
}

int lw_step_end(struct lw_session *session, struct lw_step *step, enum lw_status status,
                struct lw_error *error, bool required)
{
    struct lw_error own = {0};
    lw_progress_clear(session);
    find_ending(session, step, status, error);
    find_gateway(session, step);
    step->verdict = lw_findings_worst(&step->findings);
    if (step->skipped != NULL ||
        ((status != LW_OK || step->judged_nothing) && step->verdict == LW_PASS)) {
        step->verdict = LW_NOT_TESTED;
    }
    enum lw_status recorded = LW_OK;
    if (leaves_record(session, step, status)) {
        recorded = record_step(session, step, status, &own);
    } else {
        struct lw_record discarded;
        lw_json_init(&lw_record_shape, &discarded);
        (void)close_files(session, step, &discarded, &own);
        lw_json_free(&lw_record_shape, &discarded);
    }
    session->step = NULL;
    step->refused = !leaves_record(session, step, status);
    int exit_status = lw_exit_of_verdict(step->verdict, required);
    if (status != LW_OK) {
        exit_status =
            status == LW_CANCELLED ? LW_EXIT_INTERRUPTED : lw_cli_fail(session->cli, error);
    }
    if (recorded != LW_OK && !(status == LW_SYSTEM && step->unwritten)) { // else told already
        exit_status = lw_exit_worse(exit_status, lw_cli_fail(session->cli, &own));
    }
    return exit_status;
}

void lw_step_print(const struct lw_session *session, const struct lw_step *step)
{
    if (session->cli->settings.json || step->refused) {
        return;
    }
    lw_print_findings(&step->findings);
    bool simulated = step->of_simulated || (session->line != NULL && session->line->simulated);
    lw_print_verdict(step->check, step->verdict, simulated, step->record_name);
}
