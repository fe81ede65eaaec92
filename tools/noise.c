// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk noise: the spread of readings at rest.
#include "checks.h"

#include "base/csv.h"
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "cli/language.h"
#include "cli/output.h"
#include "commands.h"
#include "from_capture.h"
#include "noise_switch.h"

enum { MOST_CSV_BYTES = 256 * 1024 * 1024 };

enum { STRIP_MOST = 200, STRIP_LEVELS = 8 };

// Level 0 to 7 of a strip, as a block of that height, or as what plain ASCII has.
static const char *level_text(int level)
{
    static const char *const blocks[STRIP_LEVELS] = {"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
    static const char *const plain[STRIP_LEVELS] = {"_", ".", ",", "-", "=", "+", "*", "#"};
    return lw_cli_utf8() ? blocks[level] : plain[level];
}

struct span {
    double low, high;
};

static struct span span_of(const double *value, size_t from, size_t to)
{
    struct span span = {INFINITY, -INFINITY};
    for (size_t i = from; i < to; i++) {
        span.low = fmin(span.low, value[i]);
        span.high = fmax(span.high, value[i]);
    }
    return span;
}

// One character for every so many points: that of them which is furthest from the middle, so that
// no spike is lost.
static void print_strip(const struct lw_noise_node *node, int columns)
{
    const double *value = node->trace_value.items;
    size_t n = node->trace_value.count;
    struct span all = span_of(value, 0, n);
    double middle = (all.low + all.high) / 2, height = all.high - all.low;
    size_t places = n < (size_t)columns ? n : (size_t)columns;
    for (size_t i = 0; i < places; i++) {
        struct span here = span_of(value, i * n / places, (i + 1) * n / places);
        double far = here.high - middle > middle - here.low ? here.high : here.low;
        double share = height > 0 ? (far - all.low) / height : 0.5;
        fputs(level_text((int)fmin(STRIP_LEVELS * share, STRIP_LEVELS - 1)), stdout);
    }
}

static int widest_name(const struct lw_noise_result *result)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    int widest = 4;
    for (size_t i = 0; i < result->nodes.count; i++) {
        int width = (int)strlen(lw_cell_text(nodes[i].node));
        widest = width > widest ? width : widest;
    }
    return widest;
}

// A strip of the readings for each node, from its lowest to its highest, and how far that is.
static void print_strips(const struct lw_noise_result *result)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    int name = widest_name(result), terminal = lw_cli_columns();
    int columns = (terminal > 0 ? terminal : 100) - name - 18;
    columns = columns > STRIP_MOST ? STRIP_MOST : columns < 10 ? 10 : columns;
    for (size_t i = 0; i < result->nodes.count; i++) {
        struct span all = span_of(nodes[i].trace_value.items, 0, nodes[i].trace_value.count);
        char height[LW_NUMBER_TEXT];
        if (nodes[i].trace_value.count < 2) {
            continue;
        }
        lw_number_for_people(all.high - all.low, NAN, height);
        printf("%-*s  ", name, lw_cell_text(nodes[i].node));
        print_strip(&nodes[i], columns);
        printf("  %s %s\n", height, lw_unit_shown(lw_cell_text(nodes[i].unit), true));
    }
}

static const char *tone_text(const struct lw_noise_node *node, char *text, size_t size)
{
    const struct lw_noise_tone *tones = node->tones.items;
    char amplitude[LW_NUMBER_TEXT];
    if (node->tones.count == 0) {
        return "-";
    }
    lw_number_for_people(tones[0].amplitude, tones[0].amplitude_u, amplitude);
    lw_print(text, size, "%.2f Hz %s", tones[0].frequency_hz, amplitude);
    return text;
}

static void print_node(struct lw_cli_table *table, const struct lw_noise_node *node)
{
    char spread[LW_NUMBER_TEXT], low[LW_NUMBER_TEXT], high[LW_NUMBER_TEXT], limit[LW_NUMBER_TEXT],
        tone[80];
    lw_number_for_people(node->stdev, NAN, spread);
    lw_number_for_people(node->stdev_low95, NAN, low);
    lw_number_for_people(node->stdev_high95, NAN, high);
    lw_number_for_people(node->limit, NAN, limit);
    const char *const cells[] = {
        lw_cell_text(node->node),
        lw_cell_count(node->n),
        spread,
        low,
        high,
        limit,
        lw_cell_text(node->unit),
        tone_text(node, tone, sizeof tone),
        lw_cell_text(node->cause != NULL ? _(node->cause) : NULL),
    };
    lw_cli_table_row(table, cells);
}

static void print_notes(const struct lw_noise_result *result, const struct lw_sentences *sentences)
{
    struct lw_list notes = {0};
    if (lw_noise_notes(result, &notes, NULL) == LW_OK && notes.count > 0) {
        putchar('\n');
    }
    for (size_t i = 0; i < notes.count; i++) {
        char *said = lw_sentences_say_of(sentences, ((char *const *)notes.items)[i]);
        lw_print_wrapped("", 0, 4, said != NULL ? said : "");
        free(said);
    }
    lw_noise_notes_free(&notes);
}

static void print_response(struct lw_cli_table *table, const struct lw_noise_node *node)
{
    char shift[LW_NUMBER_TEXT], shift_u[LW_NUMBER_TEXT];
    lw_number_for_people(node->shift, node->shift_u, shift);
    lw_number_for_people(node->shift_u, NAN, shift_u);
    const char *const cells[] = {
        lw_cell_text(node->node),
        shift,
        shift_u,
        lw_cell_text(node->unit),
        lw_cell_number(node->ratio, 2),
        lw_cell_number(node->ratio_low95, 2),
        lw_cell_number(node->ratio_high95, 2),
        lw_cell_text(node->response != NULL ? _(node->response) : NULL),
    };
    lw_cli_table_row(table, cells);
}

static void print_source(const struct lw_noise_result *result)
{
    const char *const heads[] = {_("node"),   _("shift|"), "+-|",       _("unit"), _("noise|"),
                                 _("above|"), _("below|"), _("answer"), NULL};
    const struct lw_noise_node *nodes = result->nodes.items;
    if (result->source == NULL) {
        return;
    }
    printf(
        _("\nwith '%s' on against off: shift with its standard uncertainty, noise ratio with its "
          "bounds\n"),
        result->source);
    struct lw_cli_table *table = lw_cli_table_new(heads);
    for (size_t i = 0; i < result->nodes.count; i++) {
        print_response(table, &nodes[i]);
    }
    lw_cli_table_print(table);
}

static void print_result(const struct lw_noise_result *result, const struct lw_sentences *sentences)
{
    const char *const heads[] = {
        _("node"),   _("readings|"), _("spread|"), _("above|"), _("below|"),
        _("limit|"), _("unit"),      _("tone"),    _("cause"),  NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_noise_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        print_node(table, &nodes[i]);
    }
    lw_cli_table_print(table);
    printf("\n");
    print_strips(result);
    print_source(result);
    print_notes(result, sentences);
    lw_print_wrapped("\n", 0, 0,
                     _("spread: one standard deviation, without drift; above, below: its one-sided "
                       "95 % bounds; strips: all readings, first to last, lowest to highest"));
}

static enum lw_status series_from_file(const struct lw_noise_request *request,
                                       struct lw_series *series, struct lw_error *error)
{
    struct lw_text bytes = {0};
    char shown[200];
    lw_text_clean(shown, sizeof shown, request->from, strlen(request->from));
    enum lw_status status = lw_file_read(request->from, MOST_CSV_BYTES, &bytes, error);
    if (status == LW_OK) {
        status = lw_csv_readings(bytes.bytes, bytes.length, shown, request->unit, series, error);
    }
    lw_text_finish(&bytes);
    return status;
}

static enum lw_status series_from(struct lw_session *session,
                                  const struct lw_noise_request *request, struct lw_series *series,
                                  struct lw_error *error)
{
    return lw_is_capture(request->from)
               ? lw_series_from_capture(session, request->from, series, error)
               : series_from_file(request, series, error);
}

static enum lw_status series_from_line(struct lw_session *session,
                                       const struct lw_noise_options *options,
                                       struct lw_series *series, struct lw_noise_facts *facts,
                                       struct lw_error *error)
{
    struct lw_client *client = NULL;
    enum lw_status status = lw_session_client(session, &client, error);
    return status == LW_OK ? lw_noise_measure(&session->run, client, &session->plan, options,
                                              series, facts, error)
                           : status;
}

// Everything that is read, and where the source test's stretches lie in it.
struct readings {
    struct lw_series series;
    struct lw_noise_facts facts;
    struct lw_list stretches; // of struct lw_noise_stretch
    const char *source;
};

static enum lw_status take_readings(struct lw_session *session,
                                    const struct lw_noise_request *request,
                                    const struct lw_noise_options *options,
                                    struct readings *readings, struct lw_error *error)
{
    if (request->from != NULL) {
        return series_from(session, request, &readings->series, error);
    }
    if (request->between != NULL) {
        readings->source = "the difference between the runs";
        return lw_noise_between(session, request, &readings->series, &readings->stretches, error);
    }
    if (request->source != NULL) {
        readings->source = request->source;
        return lw_noise_switch(session, request, options, &readings->series, &readings->facts,
                               &readings->stretches, error);
    }
    return series_from_line(session, options, &readings->series, &readings->facts, error);
}

static void free_readings(struct readings *readings)
{
    lw_series_finish(&readings->series);
    lw_noise_facts_finish(&readings->facts);
    free(readings->stretches.items);
}

// A source test that was cut short has its stretches for nothing: the readings are judged as they
// are.
static enum lw_status judge(struct lw_session *session, struct lw_noise_options *options,
                            const struct readings *readings, struct lw_noise_result *result,
                            struct lw_rule *rule, struct lw_error *error)
{
    size_t stretches = readings->stretches.count;
    bool whole = stretches == 4 || (stretches == 2 && readings->facts.taps.count == 0);
    options->source = whole ? readings->source : NULL;
    options->stretches = whole ? &readings->stretches : NULL;
    return lw_noise_judge(session->has_plan ? &session->plan : NULL, options, &readings->series,
                          &readings->facts, result, rule, error);
}

int lw_do_noise(struct lw_session *session, const struct lw_noise_request *request, bool required)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_noise_result result;
    struct readings readings = {0};
    struct lw_noise_options options = {.seconds = request->seconds,
                                       .readings = request->readings,
                                       .decide = request->decide,
                                       .allan = request->allan,
                                       .selected = session->selected,
                                       .limit = request->limit,
                                       .unit = request->unit,
                                       .state = session->cli->settings.state};
    bool measures = request->from == NULL && request->between == NULL;
    lw_json_init(&lw_noise_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "noise", measures, &error);
    if (status == LW_OK) {
        status = take_readings(session, request, &options, &readings, &error);
    }
    if (status == LW_OK && request->from != NULL && session->has_visit) {
        status = lw_step_attach(session, &step, request->from, NULL, &error);
    }
    bool has_result = false;
    if (status == LW_OK || readings.series.count > 0) {
        struct lw_error judging = {0};
        enum lw_status judged = judge(session, &options, &readings, &result, &step.rule, &judging);
        has_result = judged == LW_OK;
        if (status == LW_OK && judged != LW_OK) {
            status = judged;
            error = judging;
        }
    }
    if (has_result) {
        lw_noise_findings(&result, &step.findings);
        step.has_rule = true;
    }
    step.shape = has_result ? &lw_noise_shape : NULL;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    if (!session->cli->settings.json && has_result) {
        struct lw_sentences *sentences = NULL;
        lw_session_language(session, &sentences, NULL);
        print_result(&result, sentences);
        lw_sentences_free(sentences);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    free_readings(&readings);
    lw_json_free(&lw_noise_shape, &result);
    return exit_status;
}

static enum lw_status check_request(const struct lw_noise_request *request, struct lw_error *error)
{
    int sources = (request->from != NULL) + (request->between != NULL) + (request->source != NULL);
    if (sources > 1) {
        return lw_fail(error, LW_USAGE, "--from, --between and --switch exclude each other");
    }
    if ((request->between != NULL) != (request->and_record != NULL)) {
        return lw_fail(error, LW_USAGE,
                       request->between != NULL
                           ? "--between takes the numbers of two records: --between 7 9"
                           : "what is '%s'? --between takes two numbers, else nothing does",
                       request->and_record);
    }
    if ((request->talk.answers != NULL || request->talk.resume) && request->source == NULL) {
        return lw_fail(error, LW_USAGE, "--answers and --resume belong to --switch");
    }
    if (request->source != NULL && request->decide) {
        return lw_fail(error, LW_USAGE, "--switch and --decide exclude each other");
    }
    return LW_OK;
}

int lw_cmd_noise(struct lw_cli *cli)
{
    struct lw_noise_request request = {.limit = NAN};
    struct lw_option talk[LW_TALK_OPTIONS];
    lw_talk_options(&request.talk, talk);
    const struct lw_option own[] = {
        {"seconds", 't', "TIME", LW_OPTION_DURATION, &request.seconds, 0.1, 1e6,
         "read for so long; by default what the profiles ask for, else 10 s, and on a long chain "
         "until each node was asked 40 times"},
        {"readings", 'r', "COUNT", LW_OPTION_NUMBER, &request.readings, 2, 1e7,
         "stop when every node has given so many"},
        {"decide", 0, NULL, LW_OPTION_FLAG, &request.decide, 0, 0,
         "read until no verdict is undecided that more readings could decide; at most --seconds, "
         "else 10 min"},
        {"allan", 0, NULL, LW_OPTION_FLAG, &request.allan, 0, 0,
         "say how long averaging helps (Allan deviation)"},
        {"switch", 0, "SOURCE", LW_OPTION_TEXT, &request.source, 0, 0,
         "source test: asks for SOURCE off, on, on, off and reads for --seconds each time"},
        talk[0],
        talk[1],
        {"between", 0, "NUMBER", LW_OPTION_TEXT, &request.between, 0, 0,
         "compare the visit's noise record NUMBER with the one given after it (7 9)"},
        {"from", 0, "FILE", LW_OPTION_TEXT, &request.from, 0, 0,
         "judge the readings in a capture or in a CSV file (time_s,node,value) instead of reading "
         "a line"},
        {"unit", 0, "UNIT", LW_OPTION_TEXT, &request.unit, 0, 0,
         "unit of that file, when it names none"},
        {"limit", 0, "VALUE", LW_OPTION_NUMBER, &request.limit, 1e-12, 1e12,
         "limit of one standard deviation, without a plan"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    request.and_record = cli->rest[0];
    if (check_request(&request, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    struct lw_session session;
    unsigned needs = request.from != NULL      ? LW_TAKES_PLAN
                     : request.between != NULL ? LW_TAKES_PLAN | LW_NEEDS_VISIT
                                               : LW_NEEDS_LINE | LW_NEEDS_PLAN;
    if (lw_session_open(&session, cli, needs, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_noise(&session, &request, true);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_noise = {
    "noise", "spread of the readings at rest", "",
    "Reads every sensor at rest, in a drawn order at uneven times, and holds the spread against "
    "its "
    "limit: quiet, over the limit, or not decided yet; mains, drift, spikes and stuck readings "
    "named.",
    lw_cmd_noise};
