// SPDX-License-Identifier: GPL-3.0-or-later
//
// Exchanges into a table of what the controller asks. A controller asks the same few things in a
// fixed order, so the row of a request is looked for from the row of the last one on: one step, as
// a rule.
#include "check/delays.h"
#include "check/listen.h"
#include "modbus/crc.h"
#include "modbus/pdu.h"
#include "site/registers.h"

enum { ADDRESSES = 256 };
static const int64_t second_ns = 1000000000;

struct row {
    struct lw_listen_read read; // counters; names and times are filled at the end
    struct lw_delays *replies, *periods;
    int64_t asked_ns;
    uint32_t last_digest;
    double repeat;
};

struct lw_listen_fold {
    const struct lw_plan *plan;
    struct row *rows[LW_LISTEN_READS];
    size_t count, next;
    struct lw_delays *by_address[ADDRESSES]; // replies
    struct lw_delays cycle;
    double more_requests, pieces_damaged, bytes, wrong;
    double busy_ns, second_busy_ns, worst_second_ns;
    int64_t second;
    int64_t silent_since_ns; // end of a question that nobody answered; -1: none open
    double timeout_ms;
    bool out_of_memory;
};

enum lw_status lw_listen_fold_new(const struct lw_plan *plan, struct lw_listen_fold **fold,
                                  struct lw_error *error)
{
    *fold = calloc(1, sizeof **fold);
    if (*fold == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for what is heard");
    }
    (*fold)->plan = plan;
    (*fold)->silent_since_ns = -1;
    (*fold)->timeout_ms = NAN;
    (*fold)->second = INT64_MIN;
    return LW_OK;
}

void lw_listen_fold_free(struct lw_listen_fold *fold)
{
    for (size_t i = 0; fold != NULL && i < fold->count; i++) {
        free(fold->rows[i]->replies);
        free(fold->rows[i]->periods);
        free(fold->rows[i]);
    }
    for (size_t i = 0; fold != NULL && i < ADDRESSES; i++) {
        free(fold->by_address[i]);
    }
    free(fold);
}

void lw_listen_fold_piece(struct lw_listen_fold *fold, const struct lw_framing *framing,
                          const struct lw_piece *piece)
{
    if (piece->count == 0) {
        return;
    }
    const unsigned damage = LW_PIECE_PARITY | LW_PIECE_STOP_BIT | LW_PIECE_BREAK;
    double ns = framing->rate > 0 ? (double)lw_framing_chars_ns(framing, piece->count) : 0;
    fold->bytes += (double)piece->count;
    fold->pieces_damaged += (piece->flags & damage) != 0;
    fold->busy_ns += ns;
    if (piece->first_ns / second_ns != fold->second) {
        fold->second = piece->first_ns / second_ns;
        fold->second_busy_ns = 0;
    }
    fold->second_busy_ns += ns;
    fold->worst_second_ns = fmax(fold->worst_second_ns, fold->second_busy_ns);
}

static void key_of(const struct lw_pdu *request, struct lw_listen_read *key)
{
    struct lw_request parsed;
    key->function = request->bytes[0];
    key->start = key->count = -1;
    if (lw_request_parse(request, &parsed) != 0) {
        return;
    }
    switch (parsed.function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
    case LW_READ_WRITE:
        key->start = parsed.start;
        key->count = parsed.count;
        break;
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
    case LW_MASK_WRITE:
        key->start = parsed.start;
        key->count = 1;
        break;
    default:
        break;
    }
}

static bool same_key(const struct lw_listen_read *a, const struct lw_listen_read *b)
{
    return a->address == b->address && a->function == b->function && a->start == b->start &&
           a->count == b->count;
}

// NULL: no room, or no memory.
static struct row *row_of(struct lw_listen_fold *fold, const struct lw_exchange *exchange)
{
    struct lw_listen_read key = {.address = exchange->address};
    key_of(&exchange->request, &key);
    for (size_t i = 0; i < fold->count; i++) {
        size_t at = (fold->next + i) % fold->count;
        if (same_key(&fold->rows[at]->read, &key)) {
            fold->next = at + 1;
            return fold->rows[at];
        }
    }
    if (fold->count == LW_LISTEN_READS) {
        fold->more_requests++;
        return NULL;
    }
    struct row *row = calloc(1, sizeof *row);
    if (row == NULL) {
        fold->out_of_memory = true;
        return NULL;
    }
    row->read = key;
    row->asked_ns = -1;
    fold->rows[fold->count++] = row;
    fold->next = fold->count;
    return row;
}

static void add_delay(struct lw_listen_fold *fold, struct lw_delays **delays, double ms)
{
    if (*delays == NULL) {
        *delays = calloc(1, sizeof **delays);
    }
    if (*delays == NULL) {
        fold->out_of_memory = true;
        return;
    }
    lw_delays_add(*delays, ms);
}

// A controller that goes on at once after a damaged answer says nothing of its patience.
static void watch_timeout(struct lw_listen_fold *fold, const struct lw_exchange *exchange)
{
    if (fold->silent_since_ns >= 0 && exchange->sent_first_ns >= 0) {
        double waited_ms = (double)(exchange->sent_first_ns - fold->silent_since_ns) / 1e6;
        fold->timeout_ms = fmin(fold->timeout_ms, waited_ms);
    }
    bool silent = exchange->outcome == LW_NO_ANSWER && exchange->address != 0;
    fold->silent_since_ns = silent ? exchange->sent_last_ns : -1;
}

static void watch_period(struct lw_listen_fold *fold, struct row *row,
                         const struct lw_exchange *exchange)
{
    if (exchange->sent_first_ns < 0 || exchange->attempt > 1) {
        return;
    }
    if (row->asked_ns >= 0) {
        double ms = (double)(exchange->sent_first_ns - row->asked_ns) / 1e6;
        add_delay(fold, &row->periods, ms);
        lw_delays_add(&fold->cycle, ms);
    }
    row->asked_ns = exchange->sent_first_ns;
}

// Two different replies of one kind have the same digest once in four thousand million.
static uint32_t digest_of(const struct lw_pdu *pdu)
{
    uint32_t digest = 2166136261U; // FNV-1a
    for (size_t i = 0; i < pdu->count; i++) {
        digest = (digest ^ pdu->bytes[i]) * 16777619U;
    }
    return digest;
}

static void watch_repeats(struct row *row, const struct lw_pdu *reply)
{
    uint32_t digest = digest_of(reply);
    row->repeat = row->read.replies > 1 && digest == row->last_digest ? row->repeat + 1 : 1;
    row->last_digest = digest;
    row->read.longest_repeat = fmax(row->read.longest_repeat, row->repeat);
}

struct looked_at {
    struct row *row;
    const struct lw_exchange *exchange;
};

static bool in_range(const struct lw_profile *profile, double value)
{
    const double *range = profile->metrology.range.items;
    return profile->metrology.range.count == 2 && value >= range[0] && value <= range[1];
}

// The same reading with its two words swapped.
static bool swapped_in_range(const struct lw_listen_value *value,
                             const struct lw_exchange *exchange)
{
    struct lw_register other = *value->reg;
    struct lw_request asked;
    struct lw_value decoded;
    other.word_order = other.word_order == LW_HIGH_FIRST ? LW_LOW_FIRST : LW_HIGH_FIRST;
    (void)lw_request_parse(&exchange->request, &asked);
    const struct lw_block block = {asked.function, asked.start, asked.count};
    return lw_register_decode(&other, &block, &exchange->reply, &decoded, NULL) == LW_OK &&
           in_range(value->entry->is, decoded.number);
}

static void look_at_words(void *user, const struct lw_listen_value *value)
{
    const struct looked_at *looked = user;
    struct lw_listen_read *read = &looked->row->read;
    if (value->reg->role != LW_ROLE_READING || lw_register_words(value->reg) != 2) {
        return;
    }
    read->decoded++;
    read->in_range += in_range(value->entry->is, value->value);
    read->in_range_swapped += swapped_in_range(value, looked->exchange);
}

static void count_outcome(struct lw_listen_fold *fold, struct row *row,
                          const struct lw_exchange *exchange)
{
    struct lw_listen_read *read = &row->read;
    read->requests++;
    switch (exchange->outcome) {
    case LW_ANSWERED:
        read->replies++;
        watch_repeats(row, &exchange->reply);
        break;
    case LW_EXCEPTION:
        read->exceptions++;
        read->exception = exchange->exception;
        break;
    case LW_NO_ANSWER:
        read->unanswered += exchange->address != 0;
        break;
    case LW_CRC_ERROR:
        read->damaged++;
        break;
    case LW_WRONG_ANSWER:
        read->wrong++;
        fold->wrong++;
        break;
    case LW_NOT_SENT:
        break;
    }
}

void lw_listen_fold_exchange(struct lw_listen_fold *fold, const struct lw_exchange *exchange)
{
    if (exchange->request.count == 0) {
        return;
    }
    watch_timeout(fold, exchange);
    struct row *row = row_of(fold, exchange);
    if (row == NULL) {
        return;
    }
    count_outcome(fold, row, exchange);
    watch_period(fold, row, exchange);
    bool replied = exchange->outcome == LW_ANSWERED || exchange->outcome == LW_EXCEPTION;
    if (replied && exchange->reply_first_ns >= 0 && exchange->sent_last_ns >= 0) {
        double ms = (double)(exchange->reply_first_ns - exchange->sent_last_ns) / 1e6;
        add_delay(fold, &row->replies, fmax(ms, 0));
        add_delay(fold, &fold->by_address[exchange->address], fmax(ms, 0));
    }
    struct looked_at looked = {row, exchange};
    lw_listen_values(fold->plan, exchange, look_at_words, &looked);
}

void lw_listen_values(const struct lw_plan *plan, const struct lw_exchange *exchange,
                      void (*take)(void *user, const struct lw_listen_value *value), void *user)
{
    struct lw_request request;
    size_t tap = 0;
    const struct lw_chain_entry *entry =
        plan != NULL ? lw_plan_by_address(plan, exchange->address, &tap) : NULL;
    if (exchange->outcome != LW_ANSWERED || entry == NULL || entry->is == NULL ||
        lw_request_parse(&exchange->request, &request) != 0 ||
        request.function > LW_READ_INPUT_REGISTERS) {
        return;
    }
    const struct lw_block block = {request.function, request.start, request.count};
    const struct lw_register *registers = entry->is->registers.items;
    for (size_t i = 0; i < entry->is->registers.count; i++) {
        struct lw_value decoded;
        if (registers[i].function == block.function &&
            lw_register_decode(&registers[i], &block, &exchange->reply, &decoded, NULL) == LW_OK &&
            !decoded.is_text) {
            const struct lw_listen_value value = {entry, tap, &registers[i], decoded.number,
                                                  exchange->reply_first_ns};
            take(user, &value);
        }
    }
}

static struct lw_listen_times times_of(const struct lw_delays *delays)
{
    return (struct lw_listen_times){lw_delays_quantile(delays, 0.5),
                                    lw_delays_quantile(delays, 0.95),
                                    delays != NULL && delays->total > 0 ? delays->largest_ms : NAN};
}

static bool name_node(const struct lw_plan *plan, int address, char **node, int *tap)
{
    size_t found = 0;
    const struct lw_chain_entry *entry =
        plan != NULL ? lw_plan_by_address(plan, address, &found) : NULL;
    *node = entry != NULL ? lw_duplicate(entry->node) : NULL;
    *tap = (int)found;
    return entry == NULL || *node != NULL;
}

static bool add_read(const struct lw_listen_fold *fold, const struct row *row,
                     struct lw_list *reads)
{
    struct lw_listen_read *read = lw_list_add(reads, sizeof *read);
    if (read == NULL) {
        return false;
    }
    *read = row->read;
    read->reply_ms = times_of(row->replies);
    read->period_ms = times_of(row->periods);
    return name_node(fold->plan, read->address, &read->node, &read->tap);
}

static bool add_node(const struct lw_listen_fold *fold, int address, struct lw_list *nodes)
{
    struct lw_listen_node sum = {.address = address};
    for (size_t i = 0; i < fold->count; i++) {
        const struct lw_listen_read *read = &fold->rows[i]->read;
        if (read->address == address) {
            sum.requests += read->requests;
            sum.replies += read->replies + read->exceptions;
            sum.unanswered += read->unanswered;
            sum.crc_errors += read->damaged;
            sum.exceptions += read->exceptions;
        }
    }
    if (sum.requests == 0) {
        return true;
    }
    struct lw_listen_node *node = lw_list_add(nodes, sizeof *node);
    if (node == NULL) {
        return false;
    }
    *node = sum;
    node->reply_ms = times_of(fold->by_address[address]);
    return name_node(fold->plan, address, &node->node, &node->tap);
}

enum lw_status lw_listen_fold_result(const struct lw_listen_fold *fold, double elapsed_s,
                                     struct lw_listen_result *result, struct lw_error *error)
{
    lw_json_init(&lw_listen_shape, result);
    bool whole = !fold->out_of_memory;
    for (size_t i = 0; whole && i < fold->count; i++) {
        whole = add_read(fold, fold->rows[i], &result->reads);
    }
    for (int address = 0; whole && address < ADDRESSES; address++) {
        whole = add_node(fold, address, &result->nodes);
    }
    if (!whole) {
        lw_json_free(&lw_listen_shape, result);
        return lw_fail(error, LW_MEMORY, "no memory for what was heard");
    }
    result->frames = result->crc_errors = result->exchanges = result->unanswered = 0;
    result->exceptions = result->orphans = result->crossed = 0;
    result->bytes = fold->bytes;
    result->events_in_all = result->most_bytes = NAN;
    result->wrong = fold->wrong;
    result->damaged_pieces = fold->pieces_damaged;
    result->more_requests = fold->more_requests;
    result->timeout_ms = fold->timeout_ms;
    result->cycle_ms = times_of(&fold->cycle);
    result->elapsed_s = elapsed_s;
    result->bus_load_pct = elapsed_s > 0 ? fold->busy_ns / 1e7 / elapsed_s : NAN;
    result->busiest_second_pct = fold->worst_second_ns / 1e7;
    return LW_OK;
}
