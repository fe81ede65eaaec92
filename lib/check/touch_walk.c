// SPDX-License-Identifier: GPL-3.0-or-later
//
// The walk from place to place: what was heard becomes a tick, a contradiction or a word to the
// person. A place is ticked when its own node was named by the ears alone; whatever contradicts the
// plan has to come twice, and then the person is asked, before it is written down.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "base/words.h"
#include "check/ask.h"
#include "check/touch_inside.h"

#include <assert.h>

// A deflection by hand is a fifth of the planned travel, or a fiftieth of the range where the plan
// says none. Rest noise raises it (touch_hear.c).
static const double share_of_travel = 0.2, share_of_range = 0.02;

enum { TRACE_MOST = 400, TWICE = 2, THRICE = 3 };

struct lw_touch_node *lw_touch_place(const struct lw_touch *touch, int i)
{
    return &((struct lw_touch_node *)touch->result.nodes.items)[i];
}

const char *lw_touch_name(const struct lw_touch *touch, int i)
{
    return lw_touch_place(touch, i)->node;
}

// "P07, station 2, top", or the name alone.
const char *lw_touch_full_name(const struct lw_touch *touch, int i, char text[160])
{
    const struct lw_touch_node *node = lw_touch_place(touch, i);
    bool has = node->place != NULL && node->place[0] != '\0';
    lw_copy(text, 160, node->node);
    if (has) {
        size_t used = strlen(text);
        lw_copy(text + used, 160 - used, ", ");
        used = strlen(text);
        lw_copy(text + used, 160 - used, node->place);
    }
    return text;
}

static double width_of(const struct lw_profile *profile)
{
    const struct lw_list *range = &profile->metrology.range;
    const double *ends = range->items;
    return range->count == 2 ? fabs(ends[1] - ends[0]) : (double)NAN;
}

// The factor from metrology.unit to that of the reading; 1 where one of them is not said.
static double to_reading(const struct lw_profile *profile, const struct lw_register *reg)
{
    double factor = 1;
    if (profile->metrology.unit != NULL && reg->unit != NULL &&
        !lw_unit_factor(profile->metrology.unit, reg->unit, &factor)) {
        factor = 1;
    }
    return factor;
}

static struct lw_hear_node ear_of(const struct lw_chain_entry *entry, const struct lw_register *reg)
{
    const struct lw_profile *profile = entry->is;
    double factor = to_reading(profile, reg), width = width_of(profile) * factor;
    double step = profile->metrology.resolution * factor;
    double need =
        entry->travel > 0 ? share_of_travel * entry->travel * factor : share_of_range * width;
    bool turns = profile->kind == LW_ENCODER && reg->unit != NULL &&
                 strcmp(reg->unit, "deg") == 0 && width > 0;
    return (struct lw_hear_node){
        .need = need > 0 ? need : 1e-9,
        .step = step > 0 ? step : 0,
        .turns = turns ? width : 0,
        .comes_back = profile->kind != LW_ENCODER,
    };
}

static double return_limit(const struct lw_touch_options *options,
                           const struct lw_chain_entry *entry, const struct lw_register *reg)
{
    const struct lw_error_limit *maker = entry->is->metrology.error_limit;
    bool comes_back = entry->is->kind == LW_DISPLACEMENT || entry->is->kind == LW_AIR;
    if (!comes_back) {
        return NAN;
    }
    if (isfinite(options->return_limit)) {
        return options->return_limit;
    }
    return maker != NULL && maker->fixed > 0 ? maker->fixed * to_reading(entry->is, reg)
                                             : (double)NAN;
}

static bool add_place(struct lw_touch *touch, size_t tap, struct lw_hear_node *ear)
{
    const struct lw_chain_entry *entry = lw_plan_tap(touch->plan, tap);
    const struct lw_register *reg =
        entry->is != NULL ? lw_profile_register(entry->is, LW_ROLE_READING) : NULL;
    if (reg == NULL) {
        return true;
    }
    struct lw_touch_node *node = lw_list_add(&touch->result.nodes, sizeof *node);
    if (node == NULL) {
        return false;
    }
    lw_json_init(lw_touch_node_shape, node);
    node->node = lw_duplicate(entry->node);
    node->place = lw_duplicate(entry->place);
    node->unit = lw_duplicate(reg->unit);
    node->tap = (int)tap;
    node->address = entry->address;
    node->travel = entry->travel > 0 ? entry->travel * to_reading(entry->is, reg) : (double)NAN;
    node->return_limit = return_limit(&touch->options, entry, reg);
    node->margin = NAN;
    ear[touch->result.nodes.count - 1] = ear_of(entry, reg);
    return node->node != NULL;
}

static enum lw_status add_places(struct lw_touch *touch, struct lw_error *error)
{
    size_t taps = lw_plan_taps(touch->plan);
    struct lw_hear_node *ears = calloc(taps + 1, sizeof *ears);
    bool good = ears != NULL;
    for (size_t tap = 1; tap <= taps && good; tap++) {
        good = add_place(touch, tap, ears);
    }
    touch->count = touch->result.nodes.count;
    touch->own = calloc(touch->count + 1, sizeof *touch->own);
    good = good && touch->own != NULL;
    for (size_t i = 0; good && i < touch->count; i++) {
        const bool *selected = touch->options.selected;
        touch->own[i].stays_put = !ears[i].comes_back;
        touch->own[i].asked = selected == NULL || selected[lw_touch_place(touch, (int)i)->tap - 1];
    }
    enum lw_status status = good ? lw_hear_new(ears, touch->count, &touch->hear, error)
                                 : lw_fail(error, LW_MEMORY, "no memory for a walk");
    free(ears);
    return status;
}

// The first place in plan order that is still open; LW_NO_NODE: none.
static int next_open(const struct lw_touch *touch)
{
    for (size_t i = 0; i < touch->count; i++) {
        if (touch->own[i].asked && lw_touch_place(touch, (int)i)->state == LW_TOUCH_UNTOUCHED) {
            return (int)i;
        }
    }
    return LW_NO_NODE;
}

// The place that is to be touched now: the one under way until it is done, else the next open one.
int lw_touch_wanted(const struct lw_touch *touch)
{
    return touch->current >= 0 ? touch->current : touch->expected;
}

void lw_touch_move_on(struct lw_touch *touch)
{
    bool more = touch->current >= 0 && touch->own[touch->current].touches < touch->options.returns;
    touch->expected = touch->options.any_order ? LW_NO_NODE : next_open(touch);
    lw_hear_expect(touch->hear, more ? touch->current : touch->expected);
    touch->current = more ? touch->current : LW_NO_NODE;
    touch->last_other = LW_NO_NODE;
    touch->others = touch->refusals = 0;
    if (touch->current < 0 && next_open(touch) < 0) {
        touch->phase = LW_TOUCH_DONE;
    }
}

int lw_touch_index(const struct lw_touch *touch, const char *name)
{
    for (size_t i = 0; name != NULL && i < touch->count; i++) {
        if (strcmp(lw_touch_name(touch, (int)i), name) == 0) {
            return (int)i;
        }
    }
    return LW_NO_NODE;
}

// What the interrupted walk had proved, moved over: the texts change their owner by copying.
static enum lw_status take_over(struct lw_touch *touch, const struct lw_touch_result *earlier,
                                struct lw_error *error)
{
    struct lw_text text = {0};
    struct lw_touch_result copy;
    enum lw_status status = lw_json_write(&lw_touch_shape, earlier, false, &text, error);
    if (status == LW_OK) {
        status = lw_json_read(&lw_touch_shape, text.bytes, text.length, &copy, error);
    }
    lw_text_finish(&text);
    if (status != LW_OK) {
        return status;
    }
    struct lw_touch_node *old = copy.nodes.items;
    for (size_t k = 0; k < copy.nodes.count; k++) {
        int i = lw_touch_index(touch, old[k].node);
        bool anew = touch->options.selected != NULL && i >= 0 && touch->own[i].asked;
        if (i >= 0 && !anew && old[k].state != LW_TOUCH_UNTOUCHED) {
            struct lw_touch_node swapped = *lw_touch_place(touch, i);
            *lw_touch_place(touch, i) = old[k];
            old[k] = swapped;
            touch->orders = lw_touch_place(touch, i)->order > touch->orders
                                ? lw_touch_place(touch, i)->order
                                : touch->orders;
            int other = lw_touch_index(touch, lw_touch_place(touch, i)->answered_by);
            if (other >= 0 && other != i) {
                touch->own[other].answers_elsewhere = true;
            }
        }
    }
    lw_json_free(&lw_touch_shape, &copy);
    return LW_OK;
}

enum lw_status lw_touch_new(const struct lw_plan *plan, const struct lw_touch_options *options,
                            const struct lw_touch_result *earlier, struct lw_touch **touch,
                            struct lw_error *error)
{
    struct lw_touch *own = calloc(1, sizeof *own);
    *touch = NULL;
    if (own == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a walk");
    }
    lw_json_init(&lw_touch_shape, &own->result);
    own->dialog.ops = &lw_touch_dialog_ops;
    own->plan = plan;
    own->options = *options;
    own->result.any_order = options->any_order;
    own->result.returns_wanted = options->returns;
    own->current = own->expected = own->last_other = own->last_named = LW_NO_NODE;
    own->since_s = own->began_s = NAN;
    enum lw_status status = add_places(own, error);
    if (status == LW_OK && earlier != NULL) {
        status = take_over(own, earlier, error);
    }
    if (status != LW_OK) {
        lw_touch_free(own);
        return status;
    }
    lw_touch_move_on(own);
    *touch = own;
    return LW_OK;
}

void lw_touch_free(struct lw_touch *touch)
{
    if (touch != NULL) {
        lw_hear_free(touch->hear);
        lw_json_free(&lw_touch_shape, &touch->result);
        free(touch->own);
        free(touch);
    }
}

struct lw_dialog *lw_touch_dialog(struct lw_touch *touch)
{
    return &touch->dialog;
}

size_t lw_touch_next(const struct lw_touch *touch, uint32_t *roles)
{
    size_t i = lw_hear_next(touch->hear);
    size_t tap = (size_t)lw_touch_place(touch, (int)i)->tap;
    struct lw_block blocks[LW_BLOCKS_MAX];
    *roles = LW_ROLE_BIT(LW_ROLE_READING) | LW_ROLE_BIT(LW_ROLE_SUPPLY_V);
    if (lw_registers_plan(lw_plan_tap(touch->plan, tap)->is, *roles, blocks) != 1) {
        *roles = LW_ROLE_BIT(LW_ROLE_READING);
    }
    return tap;
}

void lw_touch_pause(struct lw_touch *touch)
{
    if (touch->phase == LW_TOUCH_LISTENING) {
        touch->phase = LW_TOUCH_MATTER;
        touch->cause = LW_CAUSE_TYPED;
    }
}

static void say(struct lw_touch_word *word, enum lw_touch_tone tone, const char *name)
{
    word->tone = tone;
    lw_copy(word->name, sizeof word->name, name);
}

static void say_progress(const struct lw_touch *touch, int i, struct lw_touch_word *word)
{
    char next[160];
    int left = touch->options.returns - touch->own[i].touches;
    const char *name = lw_touch_name(touch, i);
    if (left > 0) {
        lw_print(word->text, sizeof word->text, "%s: %d of %d", name, touch->own[i].touches,
                 touch->options.returns);
    } else if (touch->expected >= 0) {
        say(word, LW_TONE_NONE, lw_touch_name(touch, touch->expected));
        lw_print(word->text, sizeof word->text, "%s is done. Next: %s", name,
                 lw_touch_full_name(touch, touch->expected, next));
    } else {
        lw_print(word->text, sizeof word->text, "%s is done", name);
    }
}

void lw_touch_asks(const struct lw_touch *touch, struct lw_touch_word *word)
{
    char name[160];
    *word = (struct lw_touch_word){0};
    if (lw_touch_wanted(touch) >= 0) {
        say(word, LW_TONE_NONE, lw_touch_name(touch, lw_touch_wanted(touch)));
        lw_print(word->text, sizeof word->text,
                 "Deflect %s; hold it until the tone, let go; %d times",
                 lw_touch_full_name(touch, lw_touch_wanted(touch), name), touch->options.returns);
    } else if (touch->options.any_order) {
        lw_print(word->text, sizeof word->text,
                 "Deflect one sensor after the other; hold each until the tone, let go; %d times",
                 touch->options.returns);
    }
}

static void tick(struct lw_touch *touch, int i, const struct lw_heard_move *move,
                 struct lw_touch_word *word)
{
    struct lw_touch_node *node = lw_touch_place(touch, i);
    char name[160];
    if (node->state != LW_TOUCH_RIGHT) {
        node->state = LW_TOUCH_RIGHT;
        node->order = ++touch->orders;
        node->answered_by = lw_duplicate(node->node);
    }
    touch->current = i;
    touch->last_ticked = i;
    say(word, LW_TONE_RIGHT, node->node);
    lw_print(word->text, sizeof word->text, "%s: right", lw_touch_full_name(touch, i, name));
    node->margin = isfinite(move->margin)
                       ? fmin(move->margin, isnan(node->margin) ? INFINITY : node->margin)
                       : node->margin;
    lw_touch_move_on(touch);
}

static void say_other(const struct lw_touch *touch, int i, struct lw_touch_word *word)
{
    char that[160], name[160];
    say(word, LW_TONE_WRONG, lw_touch_name(touch, i));
    if (lw_touch_wanted(touch) < 0) {
        lw_print(word->text, sizeof word->text, "that was %s", lw_touch_full_name(touch, i, that));
    } else {
        lw_print(word->text, sizeof word->text, "that was %s; expected is %s",
                 lw_touch_full_name(touch, i, that),
                 lw_touch_full_name(touch, lw_touch_wanted(touch), name));
    }
}

// Another than the expected one: heard twice in a row, the person is asked what was deflected.
static void contradict(struct lw_touch *touch, int i, struct lw_touch_word *word)
{
    touch->others = touch->last_other == i ? touch->others + 1 : 1;
    touch->last_other = i;
    say_other(touch, i, word);
    if (touch->others >= TWICE) {
        touch->phase = LW_TOUCH_MATTER;
        touch->cause = LW_CAUSE_OTHER;
    }
}

// What stays where it is put is put back when it is done; that is no touch of another place.
static bool is_way_back(const struct lw_touch *touch, int i)
{
    return touch->own[i].stays_put && i == touch->last_ticked && i != touch->current &&
           lw_touch_place(touch, i)->state == LW_TOUCH_RIGHT;
}

static void hear_moved(struct lw_touch *touch, const struct lw_heard_move *move,
                       struct lw_touch_word *word)
{
    int i = move->node;
    struct lw_touch_node *node = lw_touch_place(touch, i);
    double answered_s = move->at_s - move->onset_s;
    touch->last_named = i;
    node->answered_s = isnan(node->answered_s) ? answered_s : fmax(node->answered_s, answered_s);
    bool again = i == touch->current;
    bool first = touch->options.any_order
                     ? node->state == LW_TOUCH_UNTOUCHED && !touch->own[i].answers_elsewhere
                     : touch->current < 0 && i == touch->expected;
    if (is_way_back(touch, i)) {
        return;
    }
    if (again || first) {
        tick(touch, i, move, word);
    } else if (touch->options.any_order) {
        say_other(touch, i, word);
    } else {
        contradict(touch, i, word);
    }
}

static void add_number(struct lw_touch *touch, struct lw_list *list, double value)
{
    double *added = lw_list_add(list, sizeof *added);
    if (added != NULL) {
        *added = value;
    }
    touch->failed |= added == NULL;
}

// A sign belongs to a deflection that has ended and that began at rest: a probe let go while its
// rest was learnt, or an encoder turned back, moves the other way.
static void judge_sign(const struct lw_touch *touch, struct lw_touch_node *node,
                       const struct lw_heard_move *move)
{
    int planned = lw_plan_tap(touch->plan, (size_t)node->tap)->moves;
    if (node->moved_to != 0 || !move->from_home) {
        return;
    }
    node->moved_to = move->moved > 0 ? 1 : 2;
    node->sign = planned == 0                ? LW_SIGN_NOT_PLANNED
                 : planned == node->moved_to ? LW_SIGN_RIGHT
                                             : LW_SIGN_REVERSED;
}

// A neighbour that moves by less than its readings may spread at rest does not matter; where no
// limit says how much that is, four of its own standard deviations (readings of one averaging time
// are alike, so their mean is worth less than their number says).
static double own_noise_limit(const struct lw_touch *touch, const struct lw_touch_node *node)
{
    const struct lw_profile *profile = lw_plan_tap(touch->plan, (size_t)node->tap)->is;
    double limit = lw_plan_limits(touch->plan, (size_t)node->tap).noise_limit;
    size_t i = (size_t)(node - (const struct lw_touch_node *)touch->result.nodes.items);
    return limit > 0 ? limit * to_reading(profile, lw_profile_register(profile, LW_ROLE_READING))
                     : 4 * lw_hear_facts(touch->hear, i).noise;
}

static void couple(struct lw_touch *touch, struct lw_touch_node *node, int i)
{
    const struct lw_touch_node *other = lw_touch_place(touch, i);
    struct lw_hear_facts facts = lw_hear_facts(touch->hear, (size_t)i);
    double least = fmax(6 * facts.with_winner_u, own_noise_limit(touch, other));
    if (!(fabs(facts.with_winner) > least)) {
        return;
    }
    struct lw_touch_coupled *list = node->coupled.items, *found = NULL;
    for (size_t k = 0; k < node->coupled.count; k++) {
        found = list[k].tap == other->tap ? &list[k] : found;
    }
    if (found == NULL) {
        found = lw_list_add(&node->coupled, sizeof *found);
        if (found == NULL) {
            touch->failed = true;
            return;
        }
        *found = (struct lw_touch_coupled){.node = lw_duplicate(other->node),
                                           .unit = lw_duplicate(other->unit),
                                           .tap = other->tap,
                                           .moved = 0,
                                           .share = NAN};
    }
    if (fabs(facts.with_winner) > fabs(found->moved)) {
        bool alike =
            node->unit != NULL && other->unit != NULL && strcmp(node->unit, other->unit) == 0;
        found->moved = facts.with_winner;
        found->moved_u = facts.with_winner_u;
        found->share = alike ? fabs(facts.with_winner / node->deflection) : (double)NAN;
    }
}

// Where it rests now, from where it did before the first deflection.
static void judge_return(struct lw_touch *touch, int i, const struct lw_heard_move *move)
{
    struct lw_touch_node *node = lw_touch_place(touch, i);
    struct own *own = &touch->own[i];
    if (isfinite(node->return_limit) && isfinite(move->off)) {
        own->off += move->off;
        own->off_u = hypot(own->off_u, move->off_u);
        add_number(touch, &node->returns, own->off);
        node->return_u = own->off_u;
    }
}

// Its deflection has ended; with `stays` somewhere else than it began.
static void hear_returned(struct lw_touch *touch, const struct lw_heard_move *move, bool stays,
                          struct lw_touch_word *word)
{
    int i = move->node;
    struct lw_touch_node *node = lw_touch_place(touch, i);
    if (node->state != LW_TOUCH_RIGHT || i != touch->current) {
        return;
    }
    if (isnan(node->deflection) || fabs(move->moved) > fabs(node->deflection)) {
        node->deflection = move->moved;
    }
    touch->own[i].touches++;
    node->touches = touch->own[i].touches;
    judge_sign(touch, node, move);
    node->stayed = node->stayed || (stays && isfinite(node->return_limit));
    if (!stays) {
        judge_return(touch, i, move);
    }
    for (size_t k = 0; k < touch->count; k++) {
        if ((int)k != i) {
            couple(touch, node, (int)k);
        }
    }
    lw_touch_move_on(touch);
    say_progress(touch, i, word);
}

static void refuse(struct lw_touch *touch, enum lw_hear_event event,
                   const struct lw_heard_move *move, struct lw_touch_word *word)
{
    int at = lw_touch_wanted(touch);
    say(word, LW_TONE_WRONG, "");
    if (at >= 0) {
        lw_touch_place(touch, at)->refused++;
    }
    if (event == LW_HEAR_TWO) {
        lw_print(word->text, sizeof word->text, "two at once, %s and %s: again, one alone",
                 lw_touch_name(touch, move->node), lw_touch_name(touch, move->other));
    } else if (event == LW_HEAR_UNCLEAR) {
        lw_copy(word->text, sizeof word->text,
                N_("again: deflect it further, and hold it still until the tone"));
    } else {
        lw_copy(word->text, sizeof word->text, N_("again: hold it until the tone"));
    }
    if (++touch->refusals >= THRICE && lw_touch_wanted(touch) >= 0) {
        touch->phase = LW_TOUCH_MATTER;
        touch->cause = LW_CAUSE_UNCLEAR;
    }
}

static void hear_learnt(struct lw_touch *touch, struct lw_touch_word *word)
{
    touch->learnt = true;
    touch->result.cycle_s = lw_hear_cycle_s(touch->hear);
    lw_touch_asks(touch, word);
    word->tone = LW_TONE_RIGHT;
}

static void hear(struct lw_touch *touch, enum lw_hear_event event, const struct lw_heard_move *move,
                 struct lw_touch_word *word)
{
    switch (event) {
    case LW_HEAR_LEARNT:
        hear_learnt(touch, word);
        break;
    case LW_HEAR_RESTLESS:
        say(word, LW_TONE_NONE, lw_touch_name(touch, move->node));
        lw_print(word->text, sizeof word->text, "%s moves: hands off while the rest is learnt",
                 lw_touch_name(touch, move->node));
        break;
    case LW_HEAR_MOVED:
        hear_moved(touch, move, word);
        break;
    case LW_HEAR_RETURNED:
    case LW_HEAR_STAYS:
        hear_returned(touch, move, event == LW_HEAR_STAYS, word);
        break;
    case LW_HEAR_TWO:
    case LW_HEAR_UNCLEAR:
    case LW_HEAR_SHORT:
        refuse(touch, event, move, word);
        break;
    case LW_HEAR_NOTHING:
    case LW_HEAR_REST:
        break;
    }
}

static void halve(struct lw_list *list)
{
    double *values = list->items;
    for (size_t k = 0; k < list->count / 2; k++) {
        values[k] = values[2 * k];
    }
    list->count /= 2;
}

// The readings of the sensor that the walk is at, thinned evenly.
static void trace(struct lw_touch *touch, int i, double time_s, double value)
{
    struct lw_touch_node *node = lw_touch_place(touch, i);
    struct own *own = &touch->own[i];
    if (i != lw_touch_wanted(touch) || own->seen++ % (own->stride > 0 ? own->stride : 1) != 0) {
        return;
    }
    add_number(touch, &node->trace_time_s, time_s - touch->began_s);
    add_number(touch, &node->trace_value, value);
    if (node->trace_value.count >= TRACE_MOST) {
        halve(&node->trace_time_s);
        halve(&node->trace_value);
        own->stride = own->stride > 0 ? 2 * own->stride : 2;
    }
}

static void note_volts(struct lw_touch *touch, int i, double volts)
{
    struct lw_touch_node *node = lw_touch_place(touch, i);
    struct own *own = &touch->own[i];
    if (isnan(volts)) {
        return;
    }
    if (!touch->learnt) {
        own->volts_sum += volts;
        node->volts = own->volts_sum / ++own->volts_count;
    } else if (!(node->volts_least <= volts)) {
        int at = lw_touch_wanted(touch);
        node->volts_least = volts;
        free(node->volts_least_at);
        node->volts_least_at = at >= 0 ? lw_duplicate(lw_touch_name(touch, at)) : NULL;
    }
}

static void count(struct lw_touch *touch, int i, double reading, bool damaged)
{
    struct lw_touch_node *node = lw_touch_place(touch, i);
    if (touch->learnt) {
        node->polls++;
        node->damaged += damaged;
        node->unanswered += isnan(reading) && !damaged;
    }
}

static void look_at_clock(struct lw_touch *touch, double time_s, enum lw_hear_event event)
{
    bool something = event != LW_HEAR_NOTHING && event != LW_HEAR_REST;
    touch->since_s = something || isnan(touch->since_s) ? time_s : touch->since_s;
    if (touch->phase == LW_TOUCH_LISTENING && touch->learnt &&
        time_s - touch->since_s > touch->options.wait_s) {
        touch->phase = LW_TOUCH_MATTER;
        touch->cause = LW_CAUSE_NOTHING;
        touch->since_s = NAN;
    }
}

enum lw_status lw_touch_take(struct lw_touch *touch, size_t tap, double time_s, double reading,
                             double volts, bool damaged, struct lw_touch_word *word,
                             struct lw_error *error)
{
    struct lw_heard_move move = {.node = LW_NO_NODE, .other = LW_NO_NODE};
    int i = 0;
    *word = (struct lw_touch_word){0};
    while (lw_touch_place(touch, i)->tap != (int)tap) {
        i++;
    }
    touch->began_s = isnan(touch->began_s) ? time_s : touch->began_s;
    touch->result.seconds = time_s - touch->began_s;
    count(touch, i, reading, damaged);
    note_volts(touch, i, volts);
    if (isfinite(reading)) {
        trace(touch, i, time_s, reading);
    }
    enum lw_hear_event event = lw_hear_take(touch->hear, (size_t)i, time_s, reading, &move);
    hear(touch, event, &move, word);
    look_at_clock(touch, time_s, event);
    return touch->failed ? lw_fail(error, LW_MEMORY, "no memory for a walk") : LW_OK;
}

enum lw_status lw_touch_result(const struct lw_touch *touch, struct lw_touch_result *result,
                               struct lw_error *error)
{
    struct lw_text text = {0};
    for (size_t i = 0; i < touch->count; i++) {
        struct lw_hear_facts facts = lw_hear_facts(touch->hear, i);
        struct lw_touch_node *node = lw_touch_place(touch, (int)i);
        node->need = facts.need;
        node->noise = facts.noise;
        node->spikes = (int)facts.spikes;
    }
    enum lw_status status = lw_json_write(&lw_touch_shape, &touch->result, false, &text, error);
    if (status == LW_OK) {
        status = lw_json_read(&lw_touch_shape, text.bytes, text.length, result, error);
    }
    lw_text_finish(&text);
    return status;
}
