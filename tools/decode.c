// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk decode: what was on the wire, exchange by exchange. Lines stream, so that a capture of
// any size takes the same memory.
#include "decode_line.h"

#include "base/list.h"
#include "base/number.h"
#include "base/text.h"
#include "cli/feed.h"
#include "cli/output.h"
#include "cli/session.h"
#include "commands.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

struct decode_node {
    int address;
    char *node;
    double requests, replies, exceptions, unanswered;
};

struct decode_result {
    double bytes, frames, crc_errors, noise_bytes, exchanges, unanswered, exceptions, echoes,
        without_request, crossed;
    struct lw_list nodes; // of struct decode_node
};

#define COUNT(type, name, text)                                                                    \
    {                                                                                              \
        LW_AT(type, name), .kind = LW_NUMBER, .says = text                                         \
    }

static const struct lw_field node_fields[] = {
    {LW_AT(struct decode_node, address), .kind = LW_INTEGER, .says = "on the wire"},
    {LW_AT(struct decode_node, node), .kind = LW_TEXT, .nullable = true, .says = "by the plan"},
    COUNT(struct decode_node, requests, "request frames"),
    COUNT(struct decode_node, replies, "reply frames"),
    COUNT(struct decode_node, exceptions, "of these, exceptions"),
    COUNT(struct decode_node, unanswered, "requests without a right reply"),
    {0},
};
static const struct lw_shape node_shape = {
    .name = "decode_node", .size = sizeof(struct decode_node), .fields = node_fields};
static const struct lw_field result_fields[] = {
    COUNT(struct decode_result, bytes, "all that was heard or sent"),
    COUNT(struct decode_result, frames, "requests, replies and echoes"),
    COUNT(struct decode_result, crc_errors, "runs of four bytes and more that are no frame"),
    COUNT(struct decode_result, noise_bytes, "bytes of no frame"),
    COUNT(struct decode_result, exchanges, "requests with what came of them"),
    COUNT(struct decode_result, unanswered, "exchanges without a right reply"),
    COUNT(struct decode_result, exceptions, "exchanges that were refused"),
    COUNT(struct decode_result, echoes, "requests heard again"),
    COUNT(struct decode_result, without_request, "replies whose request was not heard"),
    COUNT(struct decode_result, crossed, "replies that came after the next request"),
    {LW_AT(struct decode_result, nodes), .kind = LW_LIST, .sub = &node_shape, .says = "by address"},
    {0},
};
static const struct lw_shape result_shape = {
    .name = "decode", .size = sizeof(struct decode_result), .fields = result_fields};

struct decoding {
    struct lw_cli *cli;
    struct lw_session *session;
    struct lw_decode_names names;
    struct lw_framing framing;
    bool frames, csv, summary, errors;
    const char *function_list;
    bool functions[256];
    double after_s, before_s, reply_s;
    struct lw_fed fed; // of the file under way
    struct decode_result result;
    struct decode_node nodes[256];
    bool headed; // the heads are printed
    struct lw_row row;
};

static bool prints_lines(const struct decoding *decoding)
{
    return !decoding->summary && !decoding->cli->settings.json;
}

static void print_row(const struct lw_row *row)
{
    fwrite(row->bytes, 1, row->count, stdout);
}

static void print_heads(struct decoding *decoding)
{
    struct lw_row heads;
    if (decoding->headed) {
        return;
    }
    if (decoding->csv) {
        lw_decode_csv_heads(&heads, decoding->frames);
    } else {
        lw_decode_heads(&heads, &decoding->names, decoding->frames);
    }
    print_row(&heads);
    decoding->headed = true;
}

static bool in_time(const struct decoding *decoding, int64_t ns)
{
    double at_s = (double)ns / 1e9;
    return (decoding->after_s <= 0 || (ns >= 0 && at_s >= decoding->after_s)) &&
           (!isfinite(decoding->before_s) || (ns >= 0 && at_s <= decoding->before_s));
}

static bool wanted(const struct decoding *decoding, uint8_t address, uint8_t function, int64_t ns)
{
    return in_time(decoding, ns) && lw_session_wants(decoding->session, address) &&
           (decoding->function_list == NULL ||
            decoding->functions[function & ~LW_EXCEPTION_BIT & 0xFF]);
}

// Noise has no address: it is of interest when nobody is asked for in particular.
static void take_noise(struct decoding *decoding, const struct lw_stream_frame *frame)
{
    bool all = decoding->function_list == NULL && decoding->session->selected == NULL &&
               decoding->cli->settings.addresses == NULL;
    if (!all || !in_time(decoding, frame->first_ns)) {
        return;
    }
    decoding->result.noise_bytes += (double)frame->count;
    decoding->result.crc_errors += frame->count >= LW_RTU_MIN;
}

static bool take_known(struct decoding *decoding, const struct lw_stream_frame *frame)
{
    size_t at = decoding->fed.adu == LW_ADU_MBAP ? LW_MBAP_HEAD - 1 : 0;
    uint8_t address = frame->bytes[at];
    if (!wanted(decoding, address, frame->bytes[at + 1], frame->first_ns)) {
        return false;
    }
    decoding->result.frames++;
    decoding->result.echoes += frame->kind == LW_STREAM_ECHO;
    decoding->nodes[address].requests += frame->kind == LW_STREAM_REQUEST;
    decoding->nodes[address].replies += frame->kind == LW_STREAM_REPLY;
    return true;
}

static void take_frame(void *context, const struct lw_stream_frame *frame)
{
    struct decoding *decoding = context;
    bool noise = frame->kind == LW_STREAM_NOISE, shown = true;
    if (noise) {
        take_noise(decoding, frame);
        shown = in_time(decoding, frame->first_ns);
    } else {
        shown = take_known(decoding, frame) && !decoding->errors;
    }
    if (!decoding->frames || !shown || !prints_lines(decoding)) {
        return;
    }
    if (decoding->csv) {
        lw_decode_csv_frame(&decoding->row, frame, decoding->fed.adu);
    } else {
        lw_decode_frame(&decoding->row, frame, decoding->fed.adu);
    }
    print_heads(decoding);
    print_row(&decoding->row);
}

// Counts an exchange; returns whether it went wrong.
static bool count_exchange(struct decoding *decoding, const struct lw_exchange *exchange)
{
    struct decode_node *node = &decoding->nodes[exchange->address];
    bool asked = exchange->request.count > 0, refused = exchange->outcome == LW_EXCEPTION;
    bool unanswered =
        asked && !refused && exchange->outcome != LW_ANSWERED && exchange->address != 0;
    decoding->result.exchanges += asked;
    decoding->result.without_request += !asked;
    decoding->result.unanswered += unanswered;
    decoding->result.exceptions += refused;
    node->unanswered += unanswered;
    node->exceptions += refused;
    return unanswered || refused;
}

static void take_exchange(void *context, const struct lw_exchange *exchange)
{
    struct decoding *decoding = context;
    bool asked = exchange->request.count > 0;
    const struct lw_pdu *pdu = asked ? &exchange->request : &exchange->reply;
    if (!wanted(decoding, exchange->address, pdu->bytes[0],
                asked ? exchange->sent_first_ns : exchange->reply_first_ns)) {
        return;
    }
    bool bad = count_exchange(decoding, exchange);
    if (decoding->frames || !prints_lines(decoding) || (decoding->errors && !bad)) {
        return;
    }
    if (decoding->csv) {
        lw_decode_csv_exchange(&decoding->row, &decoding->names, exchange);
    } else {
        lw_decode_exchange(&decoding->row, &decoding->names, exchange);
    }
    print_heads(decoding);
    print_row(&decoding->row);
}

static enum lw_status run_feed(struct decoding *decoding, struct lw_feed feed,
                               struct lw_error *error)
{
    feed.framing = decoding->framing.rate > 0 ? &decoding->framing : NULL;
    feed.reply_ns = (int64_t)(decoding->reply_s * 1e9);
    feed.cancel = lw_cli_cancel();
    feed.sinks = (struct lw_stream_sinks){decoding, take_frame, take_exchange};
    enum lw_status status = lw_feed_run(&feed, &decoding->fed, error);
    decoding->result.bytes += (double)decoding->fed.totals.bytes;
    decoding->result.crossed += (double)decoding->fed.totals.crossed;
    if (decoding->fed.cut) {
        lw_cli_say(decoding->cli, "'%s' is cut off: decoded up to its last whole block", feed.path);
    }
    return status;
}

static void print_file(struct decoding *decoding, const char *name)
{
    if (prints_lines(decoding)) {
        print_heads(decoding);
        printf("%s%s\n", decoding->csv ? "# " : "", name);
    }
}

// All captures of a visit, in the order of their numbers.
static enum lw_status run_visit(struct decoding *decoding, const char *folder,
                                struct lw_error *error)
{
    struct lw_list names = {0};
    char path[LW_PATH];
    enum lw_status status = lw_folder_names(folder, &names, error);
    char *const *items = names.items;
    for (size_t i = 0; i < names.count && status == LW_OK; i++) {
        if (lw_feed_is_capture(items[i]) && lw_path_join(path, sizeof path, folder, items[i])) {
            print_file(decoding, items[i]);
            status = run_feed(decoding, (struct lw_feed){.path = path}, error);
        }
    }
    lw_names_free(&names);
    return status;
}

static enum lw_status gather_nodes(struct decoding *decoding, struct lw_error *error)
{
    for (int address = 0; address < 256; address++) {
        struct decode_node *from = &decoding->nodes[address];
        if (from->requests + from->replies == 0) {
            continue;
        }
        const struct lw_chain_entry *entry = decoding->names.entries[address];
        struct decode_node *node = lw_list_add(&decoding->result.nodes, sizeof *node);
        if (node == NULL) {
            return lw_fail(error, LW_MEMORY, "no memory for a result");
        }
        *node = *from;
        node->address = address;
        node->node = lw_duplicate(entry != NULL ? entry->node : NULL);
    }
    return LW_OK;
}

static void print_nodes(const struct decoding *decoding)
{
    static const char *const heads[] = {"node",     "address|",    "requests|", "replies|",
                                        "refused|", "unanswered|", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct decode_node *nodes = decoding->result.nodes.items;
    for (size_t i = 0; i < decoding->result.nodes.count; i++) {
        const char *const cells[] = {
            lw_cell_text(nodes[i].node),        lw_cell_count(nodes[i].address),
            lw_cell_count(nodes[i].requests),   lw_cell_count(nodes[i].replies),
            lw_cell_count(nodes[i].exceptions), lw_cell_count(nodes[i].unanswered),
        };
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
}

// What kind of tap or line this was, where it is out of the ordinary.
static void print_remarks(const struct decode_result *result)
{
    if (result->exchanges == 0 && result->without_request > 0) {
        puts("answers only: no request was heard on this tap");
    } else if (result->exchanges > 0 && result->unanswered == result->exchanges &&
               result->crc_errors == 0) {
        puts("requests only: no reply was heard on this tap");
    }
    if (result->echoes > 0) {
        printf("%.0f echoes: the adapter hears itself\n", result->echoes);
    }
    if (result->crossed > 0) {
        printf("%.0f replies came after the next request: two masters, or a time-out shorter than "
               "the slowest reply\n",
               result->crossed);
    }
}

static void print_summary(const struct decoding *decoding)
{
    const struct decode_result *result = &decoding->result;
    if (decoding->headed) {
        putchar('\n');
    }
    if (result->nodes.count > 0) {
        print_nodes(decoding);
        putchar('\n');
    }
    printf("%.0f frames, %.0f damaged; %.0f exchanges: %.0f answered, %.0f refused, %.0f "
           "unanswered\n",
           result->frames, result->crc_errors, result->exchanges,
           result->exchanges - result->unanswered - result->exceptions, result->exceptions,
           result->unanswered);
    print_remarks(result);
}

static enum lw_status print_json(const struct decoding *decoding, bool complete,
                                 struct lw_error *error)
{
    struct lw_record record;
    struct lw_text result = {0}, text = {0};
    char now[LW_TIME_TEXT];
    lw_json_init(&lw_record_shape, &record);
    lw_time_format(
        lw_clock_utc_ns(decoding->session->clock, lw_clock_now_ns(decoding->session->clock)), 3,
        now);
    enum lw_status status = lw_json_write(&result_shape, &decoding->result, false, &result, error);
    record.format = lw_duplicate("linewalk/record/1");
    record.check = lw_duplicate("decode");
    record.tool.name = lw_duplicate("linewalk");
    record.tool.version = lw_duplicate(LW_VERSION);
    record.started = lw_duplicate(now);
    record.finished = lw_duplicate(now);
    record.complete = complete;
    record.verdict = LW_NOT_TESTED;
    record.result = result.bytes;
    if (status == LW_OK) {
        status = lw_json_write(&lw_record_shape, &record, true, &text, error);
    }
    if (status == LW_OK) {
        fwrite(text.bytes, 1, text.length, stdout);
    }
    lw_text_finish(&text);
    lw_json_free(&lw_record_shape, &record);
    return status;
}

// "03,10" in hexadecimal, as function codes are written in the trade.
static enum lw_status parse_functions(struct decoding *decoding, struct lw_error *error)
{
    for (const char *at = decoding->function_list; at != NULL && *at != '\0';) {
        char *end;
        unsigned long code = strtoul(at, &end, 16);
        if (end == at || end > at + 2 || code == 0 || code > 0x7F ||
            (*end != '\0' && *end != ',')) {
            return lw_fail(error, LW_USAGE, "--function: no list of codes like 03,10");
        }
        decoding->functions[code] = true;
        at = *end == ',' ? end + 1 : end;
    }
    return LW_OK;
}

static enum lw_status set_up(struct decoding *decoding, struct lw_error *error)
{
    const struct lw_session *session = decoding->session;
    const char *framing = decoding->cli->settings.framing;
    lw_decode_names(session->has_plan ? &session->plan : NULL, &decoding->names);
    enum lw_status status = parse_functions(decoding, error);
    if (status == LW_OK && framing != NULL) {
        status = lw_framing_parse(framing, &decoding->framing, error);
    }
    return status;
}

// The one file or folder that was named, and what it is.
static enum lw_status choose(struct decoding *decoding, const char *const named[LW_FEED_TIMED + 1],
                             struct lw_feed *feed, struct lw_error *error)
{
    int count = 0;
    *feed = (struct lw_feed){0};
    for (int kind = LW_FEED_CAPTURE; kind <= LW_FEED_TIMED; kind++) {
        if (named[kind] != NULL) {
            *feed = (struct lw_feed){.kind = (enum lw_feed_kind)kind, .path = named[kind]};
            count++;
        }
    }
    if (count == 0 && decoding->cli->settings.visit != NULL) {
        feed->path = decoding->cli->settings.visit;
        count = 1;
    }
    return count == 1 ? LW_OK
                      : lw_fail(error, LW_USAGE,
                                "name one thing to decode: a capture, a visit, --raw, --hex or "
                                "--timed");
}

static bool is_visit(const char *folder)
{
    char path[LW_PATH];
    return lw_path_join(path, sizeof path, folder, "visit.json") && lw_file_exists(path);
}

// A visit that is decoded, or whose capture is, is the session's visit too: it knows the plan.
static enum lw_status take_visit(struct lw_cli *cli, const struct lw_feed *feed,
                                 struct lw_error *error)
{
    static char folder[LW_PATH];
    char shown[200];
    bool whole = lw_folder_exists(feed->path);
    if (whole && !is_visit(feed->path)) {
        lw_text_clean(shown, sizeof shown, feed->path, strlen(feed->path));
        return lw_fail(error, LW_USAGE, "'%s' is a folder, but no visit", shown);
    }
    if (whole) {
        cli->settings.visit = feed->path;
    } else if (cli->settings.visit == NULL && feed->kind == LW_FEED_CAPTURE &&
               lw_path_folder(folder, sizeof folder, feed->path) && is_visit(folder)) {
        cli->settings.visit = folder;
    }
    return LW_OK;
}

static int finish(struct decoding *decoding, enum lw_status status, struct lw_error *error)
{
    bool show = status == LW_OK || status == LW_CANCELLED || decoding->result.frames > 0;
    struct lw_error own = {0};
    enum lw_status gathered = show ? gather_nodes(decoding, &own) : LW_OK;
    if (show && gathered == LW_OK && decoding->cli->settings.json) {
        gathered = print_json(decoding, status == LW_OK, &own);
    } else if (show && gathered == LW_OK && !decoding->csv) {
        print_summary(decoding);
    }
    int exit_status = LW_EXIT_OK;
    if (status != LW_OK) {
        exit_status =
            status == LW_CANCELLED ? LW_EXIT_INTERRUPTED : lw_cli_fail(decoding->cli, error);
    }
    return gathered == LW_OK ? exit_status
                             : lw_exit_worse(exit_status, lw_cli_fail(decoding->cli, &own));
}

static int decode(struct decoding *decoding, const struct lw_feed *feed)
{
    struct lw_error error = {0};
    bool visit = lw_folder_exists(feed->path);
    enum lw_status status = take_visit(decoding->cli, feed, &error);
    if (status == LW_OK) {
        status = lw_session_open(decoding->session, decoding->cli, LW_TAKES_PLAN, &error);
    }
    if (status != LW_OK) {
        return lw_cli_fail(decoding->cli, &error);
    }
    status = set_up(decoding, &error);
    if (status == LW_OK) {
        status =
            visit ? run_visit(decoding, feed->path, &error) : run_feed(decoding, *feed, &error);
    }
    int exit_status = finish(decoding, status, &error);
    lw_session_close(decoding->session);
    return exit_status;
}

int lw_cmd_decode(struct lw_cli *cli)
{
    static struct decoding decoding; // large
    struct lw_session session = {0};
    struct lw_feed feed;
    struct lw_error error = {0};
    const char *named[LW_FEED_TIMED + 1] = {NULL};
    decoding = (struct decoding){.cli = cli, .session = &session, .before_s = INFINITY};
    const struct lw_option own[] = {
        {"raw", 0, "FILE", LW_OPTION_TEXT, &named[LW_FEED_RAW], 0, 0,
         "a file of nothing but the bytes; - is standard input, here and below"},
        {"hex", 0, "FILE", LW_OPTION_TEXT, &named[LW_FEED_HEX], 0, 0,
         "a text of hexadecimal digits"},
        {"timed", 0, "FILE", LW_OPTION_TEXT, &named[LW_FEED_TIMED], 0, 0,
         "lines of time_s,byte; name the --framing, so that silence counts"},
        {"frames", 0, NULL, LW_OPTION_FLAG, &decoding.frames, 0, 0,
         "a line for each frame and each piece of noise, not for each exchange"},
        {"summary", 0, NULL, LW_OPTION_FLAG, &decoding.summary, 0, 0, "no lines, the summary only"},
        {"csv", 0, NULL, LW_OPTION_FLAG, &decoding.csv, 0, 0, "lines as CSV, no summary"},
        {"errors", 0, NULL, LW_OPTION_FLAG, &decoding.errors, 0, 0,
         "only lines of what went wrong"},
        {"function", 0, "LIST", LW_OPTION_TEXT, &decoding.function_list, 0, 0,
         "only these function codes, in hexadecimal: 03,10"},
        {"after", 0, "TIME", LW_OPTION_DURATION, &decoding.after_s, 0, 1e9,
         "only from this time of the file on"},
        {"before", 0, "TIME", LW_OPTION_DURATION, &decoding.before_s, 0, 1e9,
         "only up to this time of the file"},
        {"reply-within", 0, "TIME", LW_OPTION_DURATION, &decoding.reply_s, 0, 1e4,
         "a reply that begins later than this after its request is late"},
        {0},
    };
    int exit_status;
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    named[LW_FEED_CAPTURE] = cli->rest[0];
    if (choose(&decoding, named, &feed, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = decode(&decoding, &feed);
    lw_json_free(&result_shape, &decoding.result);
    return exit_status;
}

const struct lw_command lw_command_decode = {
    "decode", "what was on the wire, exchange by exchange", "[FILE.pcapng | VISIT]",
    "Finds frames and exchanges in a capture, a visit's captures, raw bytes, hexadecimal text or "
    "bytes with times, however damaged, glued together or out of step, and shows values by the "
    "plan's profiles.",
    lw_cmd_decode};
