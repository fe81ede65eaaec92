// SPDX-License-Identifier: GPL-3.0-or-later
//
// The fold of the watch: one answer after the other into what is known of the nodes and into
// events. An event goes on as long as each further poll of the node shows the same, so that a plug
// that is out for a minute is one line and not a thousand.
#include "base/text.h"
#include "base/unit.h"
#include "base/words.h"
#include "check/watch_inside.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const int64_t recent_ns = 3000000000; // how long "a moment ago" lasts
static const uint32_t all_roles = LW_ROLE_BIT(LW_ROLE_READING) | LW_ROLE_BIT(LW_ROLE_STATUS) |
                                  LW_ROLE_BIT(LW_ROLE_SUPPLY_V) | LW_ROLE_BIT(LW_ROLE_UPTIME_S);
enum { PEAK_TO_PEAK = 1 }; // of noise_is
enum { LEARN_FROM = 20 };  // readings before jumps are told from noise

const char *lw_live_word(enum lw_live_state state)
{
    static const char *const words[LW_LIVE_STATES] = {
        [LW_LIVE_WELL] = N_("well"),       [LW_LIVE_WAITING] = N_("not asked"),
        [LW_LIVE_BEYOND] = N_("beyond"),   [LW_LIVE_LOW] = N_("low volts"),
        [LW_LIVE_FLAGGED] = N_("flagged"), [LW_LIVE_JUMPED] = N_("jumped"),
        [LW_LIVE_BACK] = N_("back"),       [LW_LIVE_REFUSES] = N_("refuses"),
        [LW_LIVE_GARBLED] = N_("garbled"), [LW_LIVE_MISSED] = N_("missed"),
        [LW_LIVE_OUT] = N_("out")};
    return words[state];
}

char lw_live_sign(enum lw_live_state state)
{
    static const char signs[] = "o.>v!^+/%?X";
    return signs[state];
}

const char *lw_live_what_word(enum lw_live_what what)
{
    static const char *const words[] = {"silent", "damaged",   "refusal", "jump",
                                        "flag",   "volts",     "restart", "outside",
                                        "break",  "unplugged", "mark"};
    return words[what];
}

double live_seconds(const struct lw_live *live, int64_t at_ns)
{
    return (double)(at_ns - live->start_ns) / 1e9;
}

double lw_live_seconds(const struct lw_live *live, int64_t now_ns)
{
    return live_seconds(live, now_ns);
}

static void find_range(const struct lw_profile *is, struct live_node *node)
{
    const struct lw_register *reading = lw_profile_register(is, LW_ROLE_READING);
    const double *range = is->metrology.range.items;
    double factor;
    if (reading == NULL) {
        return;
    }
    node->shown.unit = reading->unit;
    if (reading->unit != NULL && is->metrology.unit != NULL &&
        lw_unit_factor(is->metrology.unit, reading->unit, &factor)) {
        node->shown.resolution = is->metrology.resolution * factor;
        node->limit = is->metrology.noise_limit * factor;
        node->limit /= is->metrology.noise_is == PEAK_TO_PEAK ? 6 : 1; // 3 s to either side
        if (is->metrology.range.count == 2) {
            node->shown.low = range[0] * factor;
            node->shown.high = range[1] * factor;
        }
    }
}

static void start_node(const struct lw_chain_entry *entry, size_t tap, struct live_node *node)
{
    struct lw_block blocks[LW_BLOCKS_MAX];
    *node = (struct live_node){.shown = {.entry = entry,
                                         .tap = tap,
                                         .reading = NAN,
                                         .low = NAN,
                                         .high = NAN,
                                         .spread = NAN,
                                         .resolution = NAN,
                                         .silent_s = NAN,
                                         .volts = NAN,
                                         .lowest_v = NAN,
                                         .needs_v = NAN,
                                         .smallest = NAN,
                                         .largest = NAN},
                               .back_ns = -1,
                               .jumped_ns = -1,
                               .asked_ns = -1,
                               .answered_ns = -1,
                               .uptime_s = NAN,
                               .limit = NAN};
    for (size_t i = 0; i < OPEN_KINDS; i++) {
        node->open[i] = LIVE_NONE;
    }
    find_range(entry->is, node);
    node->shown.needs_v = entry->is->electrical.minimum_v;
    node->one_request = lw_registers_plan(entry->is, all_roles, blocks) == 1;
}

static void start_nodes(struct lw_live *live, const bool *selected)
{
    for (size_t tap = 1; tap <= lw_plan_taps(live->plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(live->plan, tap);
        if (entry->node != NULL && (selected == NULL || selected[tap - 1])) {
            start_node(entry, tap, &live->nodes[live->count++]);
        }
    }
}

static size_t common_divisor(size_t a, size_t b)
{
    return b == 0 ? a : common_divisor(b, a % b);
}

// Near the golden section, where neighbours in time are far apart on the chain, and without a
// common divisor, so that the round meets everybody.
static size_t stride_of(size_t count)
{
    size_t stride = (size_t)((double)count * 0.381966);
    while (stride < 1 || common_divisor(count, stride) != 1) {
        stride++;
    }
    return stride;
}

enum lw_status lw_live_new(const struct lw_plan *plan, const struct lw_live_options *options,
                           int64_t now_ns, struct lw_live **live, struct lw_error *error)
{
    *live = NULL;
    struct lw_live *made = calloc(1, sizeof *made);
    size_t taps = lw_plan_taps(plan);
    if (made != NULL) {
        made->nodes = calloc(taps > 0 ? taps : 1, sizeof *made->nodes);
        made->events = calloc(LW_LIVE_EVENTS, sizeof *made->events);
    }
    if (made == NULL || made->nodes == NULL || made->events == NULL) {
        lw_live_free(made);
        return lw_fail(error, LW_MEMORY, "no memory to watch %zu taps", taps);
    }
    made->plan = plan;
    made->window_s = options->window_s > 0 ? options->window_s : 5;
    made->start_ns = now_ns;
    made->open_break = made->open_unplugged = LIVE_NONE;
    made->hands = made->again = made->break_from = SIZE_MAX;
    made->break_over_ns = INT64_MIN;
    made->has_far_end = lw_plan_at(plan, plan->line.tester_at) <= 1;
    start_nodes(made, options->selected);
    if (made->count == 0) {
        lw_live_free(made);
        return lw_fail(error, LW_USAGE, "no node is chosen that could be watched");
    }
    made->stride = stride_of(made->count);
    made->round = made->silent_turn = made->sweep = made->count - 1;
    *live = made;
    return LW_OK;
}

void lw_live_free(struct lw_live *live)
{
    if (live != NULL) {
        free(live->nodes);
        free(live->events);
        free(live);
    }
}

size_t lw_live_count(const struct lw_live *live)
{
    return live->count;
}

const struct lw_live_node *lw_live_node(const struct lw_live *live, size_t index)
{
    return &live->nodes[index].shown;
}

static bool recent(int64_t at_ns, int64_t now_ns)
{
    return at_ns >= 0 && now_ns - at_ns < recent_ns;
}

static enum lw_live_state state_of_answer(const struct live_node *node, int64_t now_ns)
{
    if (recent(node->back_ns, now_ns)) {
        return LW_LIVE_BACK;
    }
    if (recent(node->jumped_ns, now_ns)) {
        return LW_LIVE_JUMPED;
    }
    return node->open[OPEN_FLAG] != LIVE_NONE      ? LW_LIVE_FLAGGED
           : node->open[OPEN_VOLTS] != LIVE_NONE   ? LW_LIVE_LOW
           : node->open[OPEN_OUTSIDE] != LIVE_NONE ? LW_LIVE_BEYOND
                                                   : LW_LIVE_WELL;
}

enum lw_live_state lw_live_state(const struct lw_live *live, size_t index, int64_t now_ns)
{
    const struct live_node *node = &live->nodes[index];
    if (live_is_silent(live, index)) {
        return node->misses == 1 && index < live->break_from ? LW_LIVE_MISSED : LW_LIVE_OUT;
    }
    if (node->shown.polls == 0) {
        return LW_LIVE_WAITING;
    }
    if (node->last == LW_EXCEPTION) {
        return LW_LIVE_REFUSES;
    }
    return node->last == LW_ANSWERED ? state_of_answer(node, now_ns) : LW_LIVE_GARBLED;
}

uint32_t lw_live_roles(const struct lw_live *live, size_t index)
{
    enum { SELDOM = 8 };
    const struct live_node *node = &live->nodes[index];
    bool due = node->misses == 0 && (unsigned long)node->shown.answers % SELDOM == 0;
    return node->one_request || due ? all_roles : LW_ROLE_BIT(LW_ROLE_READING);
}

// The new event's index, or LIVE_UNKEPT when the list is full.
static long begin(struct lw_live *live, enum lw_live_what what, size_t index, double at_s)
{
    live->events_in_all++;
    live->errors += what != LW_LIVE_MARK;
    if (live->event_count == LW_LIVE_EVENTS) {
        return LIVE_UNKEPT;
    }
    live->events[live->event_count] = (struct lw_live_event){.what = what,
                                                             .index = index,
                                                             .from_s = at_s,
                                                             .to_s = NAN,
                                                             .count = 1,
                                                             .value = NAN,
                                                             .before = NAN};
    return (long)live->event_count++;
}

static void finish(struct lw_live *live, long *open, double at_s)
{
    if (*open >= 0) {
        live->events[*open].to_s = at_s;
    }
    *open = LIVE_NONE;
}

// Begins an event that goes on, or counts one that does; NULL without room.
static struct lw_live_event *go_on(struct lw_live *live, size_t index, enum live_open kind,
                                   enum lw_live_what what, double at_s)
{
    long *open = &live->nodes[index].open[kind];
    if (*open == LIVE_NONE) {
        *open = begin(live, what, index, at_s);
    } else if (*open >= 0) {
        live->events[*open].count++;
    }
    return *open >= 0 ? &live->events[*open] : NULL;
}

// One that is over as it begins.
static struct lw_live_event *happen(struct lw_live *live, size_t index, enum lw_live_what what,
                                    double at_s)
{
    long at = begin(live, what, index, at_s);
    if (at < 0) {
        return NULL;
    }
    live->events[at].to_s = at_s;
    return &live->events[at];
}

static void take_silence(struct lw_live *live, size_t index, int64_t now_ns)
{
    struct live_node *node = &live->nodes[index];
    node->shown.silences++;
    node->misses++;
    node->in_turn = false;
    go_on(live, index, OPEN_SILENT, LW_LIVE_SILENT, live_seconds(live, now_ns));
    if (node->misses == 1) {
        node->silent_ns = now_ns;
        node->shown.silent_s = live_seconds(live, now_ns);
    } else {
        node->shown.drop_outs += node->misses == 2;
        live->sweeping = false;
    }
    live_follow_silence(live, index);
}

static void end_silence(struct lw_live *live, size_t index, int64_t now_ns)
{
    struct live_node *node = &live->nodes[index];
    if (node->misses > 1) {
        node->back_ns = now_ns;
        node->shown.longest_out_s =
            fmax(node->shown.longest_out_s, (double)(now_ns - node->silent_ns) / 1e9);
        live->sweeping = true;
    }
    node->misses = 0;
    node->shown.silent_s = NAN;
    finish(live, &node->open[OPEN_SILENT], live_seconds(live, now_ns));
}

// Of the readings since then, and of the last five however old they are: a long chain gives each
// node one in some seconds.
static double spread_of(const struct live_ring *ring, double since_s)
{
    enum { LEAST = 5 };
    double n = 0, mean = 0, squares = 0;
    for (size_t back = 1; back <= ring->count; back++) {
        size_t i = (ring->next + LIVE_RING - back) % LIVE_RING;
        if (ring->time_s[i] < since_s && n >= LEAST) {
            break;
        }
        double away = ring->value[i] - mean;
        mean += away / ++n;
        squares += away * (ring->value[i] - mean);
    }
    return n >= 3 ? sqrt(squares / (n - 1)) : NAN;
}

static void remember(struct live_ring *ring, double at_s, double value)
{
    ring->time_s[ring->next] = at_s;
    ring->value[ring->next] = value;
    ring->next = (ring->next + 1) % LIVE_RING;
    ring->count += ring->count < LIVE_RING;
}

// Noise as it has shown itself, by the steps from one reading to the next: their mean size is
// 2 / sqrt(pi) standard deviations of a normal distribution. A large step counts little.
static void learn(struct live_node *node, double step)
{
    double most = node->learned_from < LEARN_FROM ? INFINITY : 4 * node->learned;
    double weight = node->learned_from < 32 ? 1 / (node->learned_from + 1.0) : 1 / 32.0;
    node->learned += (fmin(step, most) - node->learned) * weight;
    node->learned_from++;
}

// Before its own noise is known, a node is taken to be as noisy as it may be.
static bool is_jump(const struct live_node *node, double step)
{
    const double times = 10, root_pi_half = 0.886227;
    bool knows = node->learned_from >= LEARN_FROM;
    double noise = knows ? node->learned * root_pi_half : node->limit;
    return step > times * noise &&
           !(step <= 4 * node->shown.resolution); // true without a known resolution, too
}

static void take_reading(struct lw_live *live, size_t index, double value, int64_t now_ns)
{
    struct live_node *node = &live->nodes[index];
    struct lw_live_node *shown = &node->shown;
    double at_s = live_seconds(live, now_ns), step = fabs(value - shown->reading);
    if (isfinite(shown->reading)) {
        if (is_jump(node, step)) {
            struct lw_live_event *event = happen(live, index, LW_LIVE_JUMP, at_s);
            if (event != NULL) {
                event->value = value;
                event->before = shown->reading;
            }
            shown->jumps++;
            node->jumped_ns = now_ns;
        }
        learn(node, step);
    }
    shown->reading = value;
    shown->smallest = fmin(shown->smallest, value);
    shown->largest = fmax(shown->largest, value);
    remember(&node->ring, at_s, value);
    shown->spread = spread_of(&node->ring, at_s - live->window_s);
    if (value < shown->low || value > shown->high) {
        struct lw_live_event *event = go_on(live, index, OPEN_OUTSIDE, LW_LIVE_OUTSIDE, at_s);
        double by = fmax(shown->low - value, value - shown->high);
        if (event != NULL && !(by <= fmax(shown->low - event->value, event->value - shown->high))) {
            event->value = value;
        }
        shown->outside_polls++;
    } else {
        finish(live, &node->open[OPEN_OUTSIDE], at_s);
    }
}

static void take_volts(struct lw_live *live, size_t index, double volts, double at_s)
{
    struct live_node *node = &live->nodes[index];
    node->shown.volts = volts;
    node->shown.lowest_v = fmin(node->shown.lowest_v, volts);
    if (volts < node->shown.needs_v) {
        struct lw_live_event *event = go_on(live, index, OPEN_VOLTS, LW_LIVE_VOLTS, at_s);
        if (event != NULL) {
            event->value = fmin(event->value, volts);
        }
        node->shown.low_polls++;
    } else {
        finish(live, &node->open[OPEN_VOLTS], at_s);
    }
}

// Only bits that the profile gives a meaning.
static void take_status(struct lw_live *live, size_t index, double status, double at_s)
{
    struct live_node *node = &live->nodes[index];
    unsigned known = 0;
    const struct lw_status_bit *bits = node->shown.entry->is->status_bits.items;
    for (size_t i = 0; i < node->shown.entry->is->status_bits.count; i++) {
        known |= 1u << bits[i].bit;
    }
    unsigned now = (unsigned)status & known;
    if (now != node->shown.status) {
        finish(live, &node->open[OPEN_FLAG], at_s);
        node->shown.flags += (now & ~node->shown.status) != 0;
    }
    node->shown.status = now;
    if (now != 0) {
        struct lw_live_event *event = go_on(live, index, OPEN_FLAG, LW_LIVE_FLAG, at_s);
        if (event != NULL) {
            event->value = now;
        }
    }
}

static void take_uptime(struct lw_live *live, size_t index, double uptime_s, int64_t now_ns)
{
    struct live_node *node = &live->nodes[index];
    double at_s = live_seconds(live, now_ns);
    if (uptime_s < node->uptime_s) {
        struct lw_live_event *event = happen(live, index, LW_LIVE_RESTART, at_s);
        if (event != NULL) {
            event->from_s = fmax(at_s - uptime_s, 0); // when it started, not when it was seen
        }
        node->shown.restarts++;
        node->back_ns = now_ns;
    }
    node->uptime_s = uptime_s;
}

static void take_values(struct lw_live *live, size_t index, const struct lw_node_values *values,
                        int64_t now_ns)
{
    double at_s = live_seconds(live, now_ns);
    if (values->have[LW_ROLE_READING]) {
        take_reading(live, index, values->value[LW_ROLE_READING].number, now_ns);
    }
    if (values->have[LW_ROLE_SUPPLY_V]) {
        take_volts(live, index, values->value[LW_ROLE_SUPPLY_V].number, at_s);
    }
    if (values->have[LW_ROLE_STATUS]) {
        take_status(live, index, values->value[LW_ROLE_STATUS].number, at_s);
    }
    if (values->have[LW_ROLE_UPTIME_S]) {
        take_uptime(live, index, values->value[LW_ROLE_UPTIME_S].number, now_ns);
    }
}

static void take_sound(struct lw_live *live, size_t index, enum lw_outcome outcome, int64_t now_ns)
{
    struct live_node *node = &live->nodes[index];
    double at_s = live_seconds(live, now_ns);
    end_silence(live, index, now_ns);
    node->answered_ns = now_ns;
    if (node->in_turn) {
        node->shown.longest_unasked_s =
            fmax(node->shown.longest_unasked_s, (double)(now_ns - node->asked_ns) / 1e9);
    }
    node->in_turn = true;
    if (outcome == LW_EXCEPTION) {
        node->shown.refusals++;
        go_on(live, index, OPEN_REFUSAL, LW_LIVE_REFUSAL, at_s);
        return;
    }
    finish(live, &node->open[OPEN_REFUSAL], at_s);
    if (outcome == LW_ANSWERED) {
        node->shown.answers++;
        finish(live, &node->open[OPEN_DAMAGED], at_s);
    } else {
        node->shown.damaged++;
        if (node->open[OPEN_DAMAGED] == LIVE_NONE) {
            live->again = index;
        }
        go_on(live, index, OPEN_DAMAGED, LW_LIVE_DAMAGED, at_s);
    }
}

// What lay behind a break comes back one by one, as each node starts; that is no new break.
static void follow_break(struct lw_live *live, int64_t now_ns)
{
    const int64_t settled_ns = 1000000000;
    size_t from = live_find_break(live);
    if (from == live->break_from) {
        return;
    }
    if (live->break_from != SIZE_MAX) {
        finish(live, &live->open_break, live_seconds(live, now_ns));
        live->break_from = SIZE_MAX;
        live->break_over_ns = now_ns;
    } else if (live->break_over_ns == INT64_MIN || now_ns - live->break_over_ns > settled_ns) {
        live->open_break = begin(live, LW_LIVE_BREAK, from, live_seconds(live, now_ns));
        live->break_from = from;
    }
}

size_t lw_live_break(const struct lw_live *live)
{
    return live->break_from;
}

void lw_live_take(struct lw_live *live, size_t index, const struct lw_node_values *values,
                  int64_t now_ns)
{
    struct live_node *node = &live->nodes[index];
    enum lw_outcome outcome = values->last.outcome;
    live->polls++;
    node->shown.polls++;
    if (outcome == LW_NO_ANSWER) {
        take_silence(live, index, now_ns);
    } else {
        take_sound(live, index, outcome, now_ns);
        take_values(live, index, values, now_ns);
    }
    node->last = outcome;
    node->asked_ns = now_ns;
    follow_break(live, now_ns);
}

void lw_live_lost(struct lw_live *live, int64_t now_ns)
{
    if (live->open_unplugged == LIVE_NONE) {
        live->open_unplugged = begin(live, LW_LIVE_UNPLUGGED, SIZE_MAX, live_seconds(live, now_ns));
    }
}

// The time without a line is nobody's silence.
void lw_live_found(struct lw_live *live, int64_t now_ns)
{
    finish(live, &live->open_unplugged, live_seconds(live, now_ns));
    live->prepared = false; // a new line has a new client
    for (size_t i = 0; i < live->count; i++) {
        live->nodes[i].in_turn = false;
    }
}

bool lw_live_is_lost(const struct lw_live *live)
{
    return live->open_unplugged != LIVE_NONE;
}

void lw_live_mark(struct lw_live *live, size_t index, const char *text, int64_t now_ns)
{
    struct lw_live_event *event = happen(live, index, LW_LIVE_MARK, live_seconds(live, now_ns));
    if (event != NULL) {
        lw_text_clean(event->text, sizeof event->text, text, strlen(text));
    }
}

size_t lw_live_events(const struct lw_live *live)
{
    return live->event_count;
}

const struct lw_live_event *lw_live_event(const struct lw_live *live, size_t index)
{
    return &live->events[index];
}

double lw_live_events_in_all(const struct lw_live *live)
{
    return live->events_in_all;
}

double lw_live_errors(const struct lw_live *live)
{
    return live->errors;
}

double lw_live_polls(const struct lw_live *live)
{
    return live->polls;
}

struct rank {
    size_t index;
    int state;
    double troubles;
};

static int worse_first(const void *a, const void *b)
{
    const struct rank *one = a, *other = b;
    if (one->state != other->state) {
        return other->state - one->state;
    }
    if (one->troubles != other->troubles) {
        return one->troubles < other->troubles ? 1 : -1;
    }
    return one->index < other->index ? -1 : one->index > other->index;
}

void lw_live_order(const struct lw_live *live, bool by_trouble, int64_t now_ns, size_t *order)
{
    struct rank ranks[LW_ADDRESS_MAX + 1]; // addresses are unique
    assert(live->count <= LW_ADDRESS_MAX);
    for (size_t i = 0; i < live->count; i++) {
        const struct lw_live_node *node = &live->nodes[i].shown;
        ranks[i] = (struct rank){i, (int)lw_live_state(live, i, now_ns),
                                 node->silences + node->damaged + node->refusals + node->jumps +
                                     node->restarts + node->flags};
    }
    if (by_trouble) {
        qsort(ranks, live->count, sizeof *ranks, worse_first);
    }
    for (size_t i = 0; i < live->count; i++) {
        order[i] = ranks[i].index;
    }
}
