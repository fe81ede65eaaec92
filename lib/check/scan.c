// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of a scan. The address pass is one request an address and nothing more, since on
// a silent line nearly all of its time is waiting; everything that costs extra (a second look,
// identities, doubles) is done only where an address has shown itself or was planned.
#include "check/ask.h"
#include "check/scan_inside.h"
#include "modbus/frame.h"
#include "modbus/identity.h"
#include "modbus/pdu.h"

enum {
    SUSPECTS = 3,     // silent addresses looked at again before bytes that nobody sent
    SECOND_LOOKS = 4, // tries at a garbled address
    SECOND_PASS_MS = 1000,
};

static int64_t now_ns(const struct lw_scan_now *scan)
{
    return lw_clock_now_ns(lw_client_line(scan->client)->clock);
}

static bool is_asked(const struct lw_scan_now *scan, int address)
{
    bool any = false;
    for (int i = 0; i < 256; i++) {
        any = any || scan->options->selected[i];
    }
    return any ? scan->options->selected[address] : address >= 1 && address <= LW_ADDRESS_MAX;
}

// What the wire alone takes for one exchange: the characters, the node's latency or, in a silence,
// the whole waiting time, and t3.5 behind an answer. The t3.5 behind a request is part of either
// waiting.
static double exchange_wire_s(const struct lw_scan_now *scan, const struct lw_exchange *exchange)
{
    const struct lw_line *line = lw_client_line(scan->client);
    int64_t wire_ns = 0;
    bool answered = exchange->reply_first_ns >= 0;
    if (line->adu == LW_ADU_RTU && line->framing.rate > 0) {
        size_t chars = exchange->request.count + 3 + (answered ? exchange->reply.count + 3 : 0);
        wire_ns += lw_framing_chars_ns(&line->framing, chars);
        wire_ns += answered ? lw_framing_t35_ns(&line->framing) : 0;
    }
    double wait_s = answered ? (double)(exchange->reply_first_ns - exchange->sent_last_ns) / 1e9
                             : scan->result->slowest_reply_s;
    return (double)wire_ns / 1e9 + wait_s;
}

void lw_scan_note_late(struct lw_scan_now *scan, const struct lw_exchange *exchange)
{
    int address = exchange->late_address;
    if (address == 0 || address > LW_ADDRESS_MAX) {
        return;
    }
    scan->result->late_replies++;
    scan->late[address] = true;
    if (scan->seen[address] != FOUND) {
        scan->seen[address] = FOUND;
        scan->reply_ms[address] =
            scan->result->slowest_reply_s * 1e3 + (double)exchange->late_by_ns / 1e6;
    }
}

static void note_outcome(struct lw_scan_now *scan, const struct lw_exchange *exchange)
{
    int address = exchange->address;
    lw_scan_note_late(scan, exchange);
    lw_scan_count(&scan->plain[address], exchange);
    switch (exchange->outcome) {
    case LW_ANSWERED:
    case LW_EXCEPTION:
        scan->seen[address] = FOUND;
        scan->exception[address] = exchange->outcome == LW_EXCEPTION;
        scan->reply_ms[address] = (double)(exchange->reply_first_ns - exchange->sent_last_ns) / 1e6;
        break;
    case LW_CRC_ERROR:
    case LW_WRONG_ANSWER:
        if (scan->seen[address] != FOUND) {
            scan->seen[address] = GARBLED;
        }
        break;
    case LW_NO_ANSWER:
    case LW_NOT_SENT:
        if (scan->seen[address] == UNASKED) {
            scan->seen[address] = SILENT;
        }
        break;
    }
}

enum lw_status lw_scan_ask(struct lw_scan_now *scan, int address, const struct lw_pdu *request,
                           struct lw_exchange *exchange)
{
    enum lw_status status =
        lw_client_exchange(scan->client, (uint8_t)address, request, exchange, scan->error);
    if (status == LW_REFUSED && lw_client_foreign(scan->client)) {
        scan->result->foreign = true;
    }
    return status;
}

// Bytes that nobody is known to have sent are what is left of a late answer: one of the last silent
// addresses may be behind them, and so may the last one of the pass, whose late answer nobody
// hears.
static void note_strays(struct lw_scan_now *scan, const struct lw_exchange *exchange)
{
    bool hint =
        (exchange->strays > 0 && exchange->late_address == 0) || exchange->outcome == LW_CRC_ERROR;
    int before = exchange->address;
    for (int looked = 0; hint && looked < SUSPECTS && --before > 0;) {
        if (scan->seen[before] == SILENT) {
            scan->suspect[before] = true;
            looked++;
        }
    }
    scan->last_address = exchange->address;
}

static enum lw_status address_pass(struct lw_scan_now *scan)
{
    const struct lw_pdu request = lw_read_request(LW_READ_HOLDING, 0, 1);
    int total = 0;
    for (int address = 0; address < 256; address++) {
        total += is_asked(scan, address);
    }
    int64_t start_ns = now_ns(scan);
    enum lw_status status = LW_OK;
    for (int address = 0; address < 256 && status == LW_OK; address++) {
        if (!is_asked(scan, address)) {
            continue;
        }
        struct lw_exchange exchange;
        status = lw_scan_ask(scan, address, &request, &exchange);
        if (status != LW_OK) {
            break;
        }
        scan->result->asked++;
        scan->result->wire_s += exchange_wire_s(scan, &exchange);
        note_outcome(scan, &exchange);
        note_strays(scan, &exchange);
        scan->result->garbled += scan->seen[address] == GARBLED;
        double so_far_s = (double)(now_ns(scan) - start_ns) / 1e9;
        lw_run_progress(scan->run, "addresses", scan->result->asked, total, "addresses",
                        so_far_s / scan->result->asked * (total - scan->result->asked));
    }
    scan->result->pass_s += (double)(now_ns(scan) - start_ns) / 1e9;
    return status;
}

static bool looks_again(const struct lw_scan_now *scan, int address)
{
    if (scan->seen[address] == GARBLED) {
        return true;
    }
    if (scan->seen[address] == SILENT &&
        (scan->suspect[address] || scan->last_address == address)) {
        return true;
    }
    return scan->seen[address] == SILENT && scan->plan != NULL &&
           lw_plan_by_address(scan->plan, address, NULL) != NULL;
}

// Asked again with another request; a garbled address several times.
// How long the adapter may have kept an answer.
static double late_ms(const struct lw_scan_now *scan)
{
    return (double)lw_client_line(scan->client)->late_ns / 1e6;
}

static enum lw_status second_look(struct lw_scan_now *scan, int address)
{
    const struct lw_pdu request = lw_read_request(LW_READ_INPUT_REGISTERS, 0, 1);
    bool was_garbled = scan->seen[address] == GARBLED;
    for (int i = 0; i < (was_garbled ? SECOND_LOOKS : 1); i++) {
        struct lw_exchange exchange;
        enum lw_status status = lw_scan_ask(scan, address, &request, &exchange);
        if (status != LW_OK) {
            return status;
        }
        note_outcome(scan, &exchange);
    }
    if (scan->seen[address] == FOUND && !was_garbled &&
        scan->reply_ms[address] > scan->result->slowest_reply_s * 1e3 + late_ms(scan)) {
        scan->late[address] = true;
    }
    return LW_OK;
}

static enum lw_status second_pass(struct lw_scan_now *scan)
{
    int total = 0, done = 0;
    for (int address = 0; address < 256; address++) {
        total += looks_again(scan, address);
    }
    lw_client_reply_s(scan->client, SECOND_PASS_MS / 1e3);
    for (int address = 0; address < 256; address++) {
        if (!looks_again(scan, address)) {
            continue;
        }
        lw_run_progress(scan->run, "second look", done, total, "addresses", total - done);
        enum lw_status status = second_look(scan, address);
        if (status != LW_OK) {
            return status;
        }
        done++;
    }
    return LW_OK;
}

const struct lw_profile *lw_scan_profile(const struct lw_scan_now *scan, int address)
{
    const struct lw_chain_entry *entry =
        scan->plan != NULL ? lw_plan_by_address(scan->plan, address, NULL) : NULL;
    return entry != NULL ? entry->is : NULL;
}

static struct lw_scan_node *node_of(struct lw_scan_now *scan, int address)
{
    struct lw_scan_node *nodes = scan->result->nodes.items;
    for (size_t i = 0; i < scan->result->nodes.count; i++) {
        if (nodes[i].address == address) {
            return &nodes[i];
        }
    }
    return NULL;
}

static bool keep_identity(struct lw_scan_node *node, const struct lw_identity *identity)
{
    struct lw_scan_identity *kept = calloc(1, sizeof *kept);
    if (kept == NULL) {
        return false;
    }
    node->identity = kept;
    kept->vendor = lw_identity_text(identity, LW_VENDOR_NAME);
    kept->product_code = lw_identity_text(identity, LW_PRODUCT_CODE);
    kept->revision = lw_identity_text(identity, LW_REVISION);
    for (size_t i = 0; i < identity->count; i++) {
        uint8_t id = identity->objects[i].id;
        if (id <= LW_REVISION) {
            continue;
        }
        struct lw_scan_object *more = lw_list_add(&kept->more, sizeof *more);
        if (more == NULL) {
            return false;
        }
        more->object = id;
        more->text = lw_identity_text(identity, id);
        if (id == LW_PRIVATE_OBJECTS && more->text != NULL &&
            strstr(more->text, "SIMULATED") != NULL) {
            kept->simulated = true;
        }
    }
    return true;
}

// Letters as they are, everything else as hexadecimal in brackets: "[B4 FF]LMB3.1.6".
static void server_id_text(const uint8_t *bytes, size_t count, struct lw_text *text)
{
    bool inside = false;
    for (size_t i = 0; i < count; i++) {
        bool letter = bytes[i] > ' ' && bytes[i] < 0x7F && bytes[i] != '[' && bytes[i] != ']';
        if (letter) {
            lw_text_add(text, "%s%c", inside ? "]" : "", bytes[i]);
        } else {
            lw_text_add(text, "%s%02X", inside ? " " : "[", bytes[i]);
        }
        inside = !letter;
    }
    lw_text_add(text, "%s", inside ? "]" : "");
}

static enum lw_status read_server_id(struct lw_scan_now *scan, struct lw_scan_node *node)
{
    const struct lw_pdu request = {.count = 1, .bytes = {LW_REPORT_ID}};
    struct lw_exchange exchange;
    struct lw_reply reply;
    enum lw_status status = lw_scan_ask(scan, node->address, &request, &exchange);
    if (status != LW_OK) {
        return status;
    }
    if (exchange.outcome == LW_ANSWERED && lw_reply_parse(&request, &exchange.reply, &reply)) {
        struct lw_text text = {0};
        server_id_text(reply.bytes, reply.byte_count, &text);
        node->server_id = text.bytes;
    }
    return lw_ask_settle(scan->client, &exchange, scan->error);
}

static enum lw_status identify(struct lw_scan_now *scan, struct lw_scan_node *node)
{
    const struct lw_profile *profile = lw_scan_profile(scan, node->address);
    bool declares = profile != NULL && profile->identity.vendor != NULL;
    if (scan->doubled[node->address] || (scan->options->gentle && !declares)) {
        return LW_OK;
    }
    struct lw_identity identity = {0};
    enum lw_status status = lw_ask_identity(scan->client, (uint8_t)node->address,
                                            LW_IDENTITY_EXTENDED, &identity, scan->error);
    if (status == LW_OK && identity.count > 0 && !keep_identity(node, &identity)) {
        status = lw_fail(scan->error, LW_MEMORY, "no memory for an identity");
    }
    if (status == LW_OK && identity.count == 0 && !scan->options->gentle) {
        status = read_server_id(scan, node);
    }
    return status;
}

static enum lw_status list_nodes(struct lw_scan_now *scan)
{
    for (int address = 0; address < 256; address++) {
        lw_scan_judge_double(scan, address);
        if ((scan->seen[address] != FOUND && !scan->doubled[address]) ||
            node_of(scan, address) != NULL) {
            continue;
        }
        struct lw_scan_node *node = lw_list_add(&scan->result->nodes, sizeof *node);
        if (node == NULL) {
            return lw_fail(scan->error, LW_MEMORY, "no memory for a node");
        }
        node->address = address;
    }
    return LW_OK;
}

// The facts that are kept per address while the scan goes on, put into the nodes listed.
static void close_nodes(struct lw_scan_now *scan)
{
    struct lw_scan_node *nodes = scan->result->nodes.items;
    for (size_t i = 0; i < scan->result->nodes.count; i++) {
        int address = nodes[i].address;
        nodes[i].reply_ms = scan->seen[address] == FOUND ? scan->reply_ms[address] : NAN;
        nodes[i].late = scan->late[address];
        nodes[i].exception = scan->exception[address];
        nodes[i].doubled = scan->doubled[address];
        if (nodes[i].identity != NULL && nodes[i].identity->simulated) {
            scan->result->simulated = true;
        }
    }
}

static enum lw_status for_each_node(struct lw_scan_now *scan, const char *phase,
                                    enum lw_status (*look)(struct lw_scan_now *,
                                                           struct lw_scan_node *))
{
    struct lw_scan_result *result = scan->result;
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < result->nodes.count && status == LW_OK; i++) {
        lw_run_progress(scan->run, phase, (double)i, (double)result->nodes.count, "nodes", NAN);
        status = look(scan, (struct lw_scan_node *)result->nodes.items + i);
    }
    return status;
}

// Doubles are judged when all nodes were heard: only then it is known what is usual here.
static enum lw_status look_closer(struct lw_scan_now *scan)
{
    lw_client_reply_s(scan->client, fmax(scan->result->slowest_reply_s * 2, 0.2));
    enum lw_status status = for_each_node(scan, "doubles", lw_scan_look_for_double);
    for (int address = 0; address < 256; address++) {
        lw_scan_judge_double(scan, address);
    }
    return status == LW_OK ? for_each_node(scan, "identities", identify) : status;
}

static bool anything_seen(const struct lw_scan_now *scan)
{
    for (int address = 0; address < 256; address++) {
        if (scan->seen[address] == FOUND || scan->seen[address] == GARBLED) {
            return true;
        }
    }
    return false;
}

// Some nodes take the request behind one for a silent address for that address's answer, and lose
// it. Where nobody was heard at all, an odd number of requests further on they hear their own.
static enum lw_status passes(struct lw_scan_now *scan)
{
    lw_client_attempts(scan->client, 1);
    lw_client_reply_s(scan->client, scan->result->slowest_reply_s);
    enum lw_status status = address_pass(scan);
    if (status == LW_OK && !anything_seen(scan)) {
        if (scan->result->asked % 2 == 0) {
            struct lw_exchange exchange;
            const struct lw_pdu request = lw_read_request(LW_READ_HOLDING, 0, 1);
            status = lw_scan_ask(scan, LW_ADDRESS_MAX, &request, &exchange);
        }
        scan->result->asked = 0;
        status = status == LW_OK ? address_pass(scan) : status;
    }
    return status == LW_OK ? second_pass(scan) : status;
}

// Where the framing is not known, candidates are tried in order until somebody answers.
static enum lw_status passes_over_framings(struct lw_scan_now *scan)
{
    if (scan->options->framing_count == 0) {
        return passes(scan);
    }
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < scan->options->framing_count && status == LW_OK; i++) {
        status = lw_client_set_framing(scan->client, &scan->options->framings[i], scan->error);
        if (status == LW_OK) {
            memset(scan->seen, 0, sizeof scan->seen);
            memset(scan->plain, 0, sizeof scan->plain);
            scan->result->asked = scan->result->garbled = 0;
            scan->result->wire_s = scan->result->pass_s = 0;
            status = passes(scan);
        }
        for (int address = 0; address < 256; address++) {
            if (scan->seen[address] == FOUND) {
                return status;
            }
        }
    }
    return status;
}

enum lw_status lw_scan_measure(const struct lw_run *run, struct lw_client *client,
                               const struct lw_plan *plan, const struct lw_scan_options *options,
                               struct lw_scan_result *result, struct lw_error *error)
{
    struct lw_scan_now scan = {.run = run,
                               .client = client,
                               .plan = plan,
                               .options = options,
                               .result = result,
                               .error = error};
    lw_json_init(&lw_scan_shape, result);
    result->slowest_reply_s =
        options->slowest_reply_s > 0 ? options->slowest_reply_s : lw_slowest_reply_s(plan);
    result->wire_s = result->pass_s = 0;
    int64_t start_ns = now_ns(&scan);
    enum lw_status status = passes_over_framings(&scan);
    enum lw_status listed = list_nodes(&scan);
    if (status == LW_OK) {
        status = listed;
    }
    if (status == LW_OK) {
        status = look_closer(&scan);
    }
    close_nodes(&scan);
    char framing[LW_FRAMING_TEXT];
    lw_framing_text(&lw_client_line(client)->framing, framing);
    result->framing = lw_duplicate(framing);
    result->elapsed_s = (double)(now_ns(&scan) - start_ns) / 1e9;
    return status;
}
