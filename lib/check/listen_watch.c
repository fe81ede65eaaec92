// SPDX-License-Identifier: GPL-3.0-or-later
//
// Events out of a stream of exchanges. An event is known by what it is of (kind, address, detail);
// the first occurrence opens it, later ones count, silence about it closes it.
#include "check/listen_watch.h"

#include "base/number.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <assert.h>

static const double default_silence_s = 2, default_quiet_s = 10;

struct lw_watch {
    const struct lw_plan *plan;
    struct lw_watch_options options;
    int64_t silence_ns, quiet_ns, heard_ns, noise_ns; // noise_ns: of damaged bytes whose exchange
                                                      // is still to come; -1: none
    int numbers;
    double uncounted;
    size_t count;
    struct lw_watch_event open[LW_WATCH_OPEN];
};

const char *lw_watch_word(enum lw_watch_kind kind)
{
    static const char *const words[] = {"silence",   "unanswered", "damaged", "wrong",
                                        "exception", "status",     "value",   "lost"};
    return words[kind];
}

enum lw_status lw_watch_new(const struct lw_plan *plan, const struct lw_watch_options *options,
                            int64_t now_ns, struct lw_watch **watch, struct lw_error *error)
{
    assert(options->event != NULL);
    *watch = calloc(1, sizeof **watch);
    if (*watch == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a watch");
    }
    double silence_s = options->silence_s > 0 ? options->silence_s : default_silence_s;
    double quiet_s = options->quiet_s > 0 ? options->quiet_s : default_quiet_s;
    (*watch)->plan = plan;
    (*watch)->options = *options;
    (*watch)->silence_ns = (int64_t)(silence_s * 1e9);
    (*watch)->quiet_ns = (int64_t)(quiet_s * 1e9);
    (*watch)->heard_ns = now_ns;
    (*watch)->noise_ns = -1;
    return LW_OK;
}

void lw_watch_free(struct lw_watch *watch)
{
    free(watch);
}

double lw_watch_uncounted(const struct lw_watch *watch)
{
    return watch->uncounted;
}

static struct lw_watch_event *find_open(struct lw_watch *watch, const struct lw_watch_event *like)
{
    for (size_t i = 0; i < watch->count; i++) {
        struct lw_watch_event *open = &watch->open[i];
        if (open->kind == like->kind && open->address == like->address &&
            open->detail == like->detail && open->name == like->name) {
            return open;
        }
    }
    return NULL;
}

// `seen` has all but number, count and times.
static void happen(struct lw_watch *watch, const struct lw_watch_event *seen, int64_t at_ns)
{
    struct lw_watch_event *event = find_open(watch, seen);
    if (event != NULL) {
        event->count++;
        event->last_ns = at_ns > event->last_ns ? at_ns : event->last_ns;
        return;
    }
    if (watch->count == LW_WATCH_OPEN) {
        watch->uncounted++;
        return;
    }
    event = &watch->open[watch->count++];
    *event = *seen;
    event->number = ++watch->numbers;
    event->count = 1;
    event->first_ns = event->last_ns = at_ns;
    if (event->address > 0 && watch->plan != NULL) {
        const struct lw_chain_entry *entry =
            lw_plan_by_address(watch->plan, event->address, &event->tap);
        event->node = entry != NULL ? entry->node : NULL;
    }
    watch->options.event(watch->options.user, event);
}

static void close_event(struct lw_watch *watch, size_t index)
{
    watch->open[index].over = true;
    watch->options.event(watch->options.user, &watch->open[index]);
    watch->count--;
    memmove(&watch->open[index], &watch->open[index + 1],
            (watch->count - index) * sizeof *watch->open);
}

static void settle_noise(struct lw_watch *watch)
{
    if (watch->noise_ns >= 0) {
        int64_t at_ns = watch->noise_ns;
        watch->noise_ns = -1;
        happen(watch, &(struct lw_watch_event){.kind = LW_WATCH_DAMAGED}, at_ns);
    }
}

void lw_watch_piece(struct lw_watch *watch, const struct lw_piece *piece)
{
    if (piece->count > 0) {
        watch->heard_ns = piece->last_ns;
    }
}

// Fewer bytes than a frame has are a glitch of the idle line, which hurts nobody.
void lw_watch_frame(struct lw_watch *watch, const struct lw_stream_frame *frame)
{
    if (frame->kind == LW_STREAM_NOISE && frame->count >= LW_RTU_MIN) {
        settle_noise(watch);
        watch->noise_ns = frame->first_ns >= 0 ? frame->first_ns : watch->heard_ns;
    }
}

static void see_status(struct lw_watch *watch, const struct lw_listen_value *value)
{
    static const char *const meanings[] = {"under voltage",  "sensor open", "over range",
                                           "stale identity", "fault",       "other"};
    const struct lw_status_bit *bits = value->entry->is->status_bits.items;
    for (size_t i = 0; i < value->entry->is->status_bits.count; i++) {
        if ((unsigned)value->value & (1U << bits[i].bit)) {
            const struct lw_watch_event seen = {.kind = LW_WATCH_STATUS,
                                                .address = value->entry->address,
                                                .detail = bits[i].bit,
                                                .name = meanings[bits[i].meaning]};
            happen(watch, &seen, value->at_ns);
        }
    }
}

// Limits that a person has set go before the profile's.
static void limits_of(const struct lw_watch *watch, const struct lw_listen_value *value,
                      double *low, double *high)
{
    const struct lw_profile *profile = value->entry->is;
    *low = *high = NAN;
    if (value->reg->role == LW_ROLE_SUPPLY_V) {
        *low = profile->electrical.minimum_v;
        *high = profile->electrical.maximum_v;
    }
    if (value->reg->role != LW_ROLE_READING) {
        return;
    }
    const double *range = profile->metrology.range.items;
    if (profile->metrology.range.count == 2) {
        *low = range[0];
        *high = range[1];
    }
    for (size_t i = 0; i < watch->options.limit_count; i++) {
        if (watch->options.limits[i].tap == value->tap) {
            *low = watch->options.limits[i].low;
            *high = watch->options.limits[i].high;
        }
    }
}

static void see_value(void *user, const struct lw_listen_value *value)
{
    struct lw_watch *watch = user;
    double low, high;
    if (value->reg->role == LW_ROLE_STATUS) {
        see_status(watch, value);
        return;
    }
    limits_of(watch, value, &low, &high);
    if (value->value < low || value->value > high) {
        const struct lw_watch_event seen = {.kind = LW_WATCH_VALUE,
                                            .address = value->entry->address,
                                            .name = value->reg->name,
                                            .unit = value->reg->unit,
                                            .value = value->value,
                                            .low = low,
                                            .high = high};
        happen(watch, &seen, value->at_ns);
    }
}

// A question whose answer was damaged has taken the damaged bytes for its own.
static void see_outcome(struct lw_watch *watch, const struct lw_exchange *exchange)
{
    struct lw_watch_event seen = {.address = exchange->address};
    switch (exchange->outcome) {
    case LW_NO_ANSWER:
        seen.kind = LW_WATCH_UNANSWERED;
        break;
    case LW_CRC_ERROR:
        seen.kind = LW_WATCH_DAMAGED;
        watch->noise_ns = -1;
        break;
    case LW_WRONG_ANSWER:
        seen.kind = LW_WATCH_WRONG;
        break;
    case LW_EXCEPTION:
        seen.kind = LW_WATCH_EXCEPTION;
        seen.detail = exchange->exception;
        break;
    case LW_ANSWERED:
    case LW_NOT_SENT:
        return;
    }
    if (exchange->address != 0) {
        int64_t at_ns = exchange->sent_first_ns;
        happen(watch, &seen, at_ns >= 0 ? at_ns : watch->heard_ns);
    }
}

void lw_watch_exchange(struct lw_watch *watch, const struct lw_exchange *exchange)
{
    if (exchange->request.count > 0) {
        see_outcome(watch, exchange);
        lw_listen_values(watch->plan, exchange, see_value, watch);
    }
    settle_noise(watch);
}

void lw_watch_lost(struct lw_watch *watch, int64_t now_ns)
{
    watch->heard_ns = now_ns;
    happen(watch, &(struct lw_watch_event){.kind = LW_WATCH_LOST}, now_ns);
}

void lw_watch_regained(struct lw_watch *watch, int64_t now_ns)
{
    lw_watch_lost(watch, now_ns);
    struct lw_watch_event *event =
        find_open(watch, &(struct lw_watch_event){.kind = LW_WATCH_LOST});
    if (event != NULL) {
        event->count = 1;
        close_event(watch, (size_t)(event - watch->open));
    }
}

void lw_watch_tick(struct lw_watch *watch, int64_t now_ns)
{
    if (now_ns - watch->heard_ns >= watch->silence_ns) {
        settle_noise(watch);
        const struct lw_watch_event silence = {.kind = LW_WATCH_SILENCE};
        bool known = find_open(watch, &silence) != NULL;
        happen(watch, &silence, known ? now_ns : watch->heard_ns);
        find_open(watch, &silence)->count = 1;
    }
    for (size_t i = 0; i < watch->count;) {
        if (now_ns - watch->open[i].last_ns >= watch->quiet_ns) {
            close_event(watch, i);
        } else {
            i++;
        }
    }
}

void lw_watch_end(struct lw_watch *watch, int64_t now_ns)
{
    settle_noise(watch);
    lw_watch_tick(watch, now_ns);
    while (watch->count > 0) {
        close_event(watch, 0);
    }
}

static void say_limits(const struct lw_watch_event *event, char *text, size_t size)
{
    const char *unit = event->unit != NULL ? event->unit : "";
    if (event->value < event->low) {
        lw_print(text, size, "%s %.6g %s, below %.6g", event->name, event->value, unit, event->low);
    } else {
        lw_print(text, size, "%s %.6g %s, above %.6g", event->name, event->value, unit,
                 event->high);
    }
}

static void say_what(const struct lw_watch_event *event, char *text, size_t size)
{
    const char *word = NULL;
    switch (event->kind) {
    case LW_WATCH_SILENCE:
        if (event->over) {
            lw_print(text, size, "nothing was heard for %.1f s",
                     (double)(event->last_ns - event->first_ns) / 1e9);
        } else {
            lw_copy(text, size, "nothing is heard any more");
        }
        break;
    case LW_WATCH_UNANSWERED:
        lw_copy(text, size, "did not answer");
        break;
    case LW_WATCH_DAMAGED:
        lw_copy(text, size, "damaged bytes");
        break;
    case LW_WATCH_WRONG:
        lw_copy(text, size, "an answer that does not fit the question");
        break;
    case LW_WATCH_EXCEPTION:
        word = lw_exception_word((uint8_t)event->detail);
        lw_print(text, size, "refused with exception %d (%s)", event->detail,
                 word != NULL ? word : "not in the standard");
        break;
    case LW_WATCH_STATUS:
        lw_print(text, size, "status bit %d (%s)", event->detail, event->name);
        break;
    case LW_WATCH_VALUE:
        say_limits(event, text, size);
        break;
    case LW_WATCH_LOST:
        if (event->over) {
            lw_print(text, size, "the line was gone for %.1f s (adapter or cable)",
                     (double)(event->last_ns - event->first_ns) / 1e9);
        } else {
            lw_copy(text, size, "the line is gone (adapter or cable)");
        }
        break;
    }
}

const char *lw_watch_says(const struct lw_watch_event *event, char *text, size_t size)
{
    char who[80] = "", what[200], times[40] = "";
    if (event->node != NULL) {
        lw_print(who, sizeof who, "%s: ", event->node);
    } else if (event->address > 0) {
        lw_print(who, sizeof who, "address %d: ", event->address);
    }
    if (event->count > 1) {
        lw_print(times, sizeof times, ", %.0f times", event->count);
    }
    say_what(event, what, sizeof what);
    lw_print(text, size, "%s%s%s", who, what, times);
    return text;
}

static enum lw_status parse_limit(const char *word, const struct lw_plan *plan,
                                  struct lw_watch_limit *limit, struct lw_error *error)
{
    char node[80], low[40], shown[120];
    const char *equals = strchr(word, '='), *dots = equals != NULL ? strstr(equals, "..") : NULL;
    lw_text_clean(shown, sizeof shown, word, strlen(word));
    if (dots == NULL || !lw_print(node, sizeof node, "%.*s", (int)(equals - word), word) ||
        !lw_print(low, sizeof low, "%.*s", (int)(dots - equals - 1), equals + 1)) {
        return lw_fail(error, LW_USAGE, "'%s': write it as P03=-0.5..0.5", shown);
    }
    if (lw_plan_by_name(plan, node, &limit->tap) == NULL) {
        return lw_fail(error, LW_USAGE, "'%s': the plan has no such node", shown);
    }
    enum lw_status status = lw_number_real(low, -1e300, 1e300, false, &limit->low, error);
    if (status == LW_OK) {
        status = lw_number_real(dots + 2, limit->low, 1e300, false, &limit->high, error);
    }
    return status;
}

enum lw_status lw_watch_limits_parse(const char *list, const struct lw_plan *plan,
                                     struct lw_watch_options *options, struct lw_error *error)
{
    options->limit_count = 0;
    for (const char *at = list; at != NULL;) {
        char word[160];
        size_t length = strcspn(at, ",");
        if (options->limit_count == LW_WATCH_LIMITS) {
            return lw_fail(error, LW_USAGE, "at most %d limits can be set", LW_WATCH_LIMITS);
        }
        lw_print(word, sizeof word, "%.*s", (int)length, at);
        enum lw_status status =
            parse_limit(word, plan, &options->limits[options->limit_count++], error);
        if (status != LW_OK) {
            return status;
        }
        at = at[length] == ',' ? at + length + 1 : NULL;
    }
    return LW_OK;
}
