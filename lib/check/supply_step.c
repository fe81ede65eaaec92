// SPDX-License-Identifier: GPL-3.0-or-later
//
// Off, on, on, off with a load that the tail carries.
#include "check/supply_step.h"

#include "base/text.h"
#include "base/words.h"
#include "check/supply_inside.h"
#include "power/load_step.h"

#include <assert.h>

static bool is_on(size_t stretch)
{
    return stretch == 1 || stretch == 2;
}

bool lw_supply_step_is_on(const struct lw_supply_step *step)
{
    return is_on(step->done);
}

static void ask_plugged(const struct lw_supply_step *own, struct lw_question *question)
{
    lw_question_id(question, "step.plugged");
    lw_print(question->text, sizeof question->text,
             "Is a known load plugged in at %s, between V+ and 0 V, switched off?", own->where);
    lw_print(question->help, sizeof question->help,
             "A power resistor or an electronic load with a switch of its own. Switch the section "
             "off while it is plugged in or out. A resistor gets hot: put it where nobody touches "
             "it.");
    question->kind = LW_QUESTION_YES;
}

static void ask_amps(const struct lw_supply_step *own, struct lw_question *question)
{
    lw_question_id(question, "step.amps");
    lw_print(question->text, sizeof question->text,
             "What current does it draw there, in A (at most %.2f A)?", own->most_a);
    lw_print(question->help, sizeof question->help,
             "Measured, or volts over ohms. With more than %.2f A a node would fall below its "
             "minimum, a supply reach its limit or a span its rating; the ohms found are as "
             "certain as this current.",
             own->most_a);
    question->kind = LW_QUESTION_NUMBER;
    question->unit = "A";
    question->low = LW_SUPPLY_LEAST_STEP_A;
    question->high = own->most_a;
}

static void ask_switch(const struct lw_supply_step *own, struct lw_question *question)
{
    static const char *const asks[LW_SUPPLY_STRETCHES] = {
        N_("1 of 4: is the load off?"),
        N_("2 of 4: switch the load on. Is it on?"),
        N_("3 of 4: leave the load on. Is it still on?"),
        N_("4 of 4: switch the load off. Is it off?"),
    };
    lw_question_id(question, "step.%zu", own->done + 1);
    lw_print(question->text, sizeof question->text, "%s", asks[own->done]);
    lw_print(question->help, sizeof question->help,
             "Yes starts the reading of all voltmeters; it takes some seconds.");
    question->kind = LW_QUESTION_YES;
    question->obvious = "yes";
}

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct lw_supply_step *own = (const struct lw_supply_step *)dialog;
    if (own->done == LW_SUPPLY_STRETCHES || own->answered) {
        return own->answered ? LW_DIALOG_ACT : LW_DIALOG_DONE;
    }
    if (!own->plugged) {
        ask_plugged(own, question);
    } else if (!(own->amps > 0)) {
        ask_amps(own, question);
    } else {
        ask_switch(own, question);
    }
    return LW_DIALOG_ASK;
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error)
{
    struct lw_supply_step *own = (struct lw_supply_step *)dialog;
    if (own->plugged && !(own->amps > 0)) {
        own->amps = answer->number;
        return LW_OK;
    }
    if (!answer->yes) {
        return lw_fail(error, LW_USAGE, "answer yes when it is so, back, or stop");
    }
    own->answered = own->plugged;
    own->plugged = true;
    return LW_OK;
}

static void drop_last(struct lw_supply_step *own)
{
    own->done--;
    lw_supply_measured_free(&own->stretches[own->done]);
}

static bool back(struct lw_dialog *dialog)
{
    struct lw_supply_step *own = (struct lw_supply_step *)dialog;
    if (!own->plugged) {
        return false;
    }
    if (own->done > 0) {
        drop_last(own);
    } else if (own->amps > 0) {
        own->amps = 0;
    } else {
        own->plugged = false;
    }
    return true;
}

static enum lw_load_state *all_running(const struct lw_ladder *ladder)
{
    enum lw_load_state *states = calloc(ladder->tap_count, sizeof *states);
    for (size_t i = 0; states != NULL && i < ladder->tap_count; i++) {
        states[i] = LW_LOAD_RUNNING;
    }
    return states;
}

// Both rails from the last section's first source to the tail.
static double way_ohm(const struct lw_ladder *ladder)
{
    double ohm = 0;
    size_t tap = ladder->tap_count;
    while (tap-- > 1 && !ladder->taps[tap].cut_plus) {
        ohm += ladder->taps[tap].span_plus_ohm + ladder->taps[tap].span_zero_ohm;
    }
    for (size_t s = 0; s < ladder->source_count; s++) {
        ohm += ladder->sources[s].tap == tap
                   ? ladder->sources[s].plus_ohm + ladder->sources[s].zero_ohm
                   : 0;
    }
    return fmax(ohm, 1e-3);
}

static enum lw_status find_most(const struct lw_plan *plan, double asked_a,
                                struct lw_supply_step *step, struct lw_error *error)
{
    struct lw_ladder ladder;
    struct lw_supply_needs needs = {0};
    enum lw_status status = lw_plan_ladder(plan, LW_LADDER_VERDICT, &ladder, error);
    if (status != LW_OK) {
        return status;
    }
    enum lw_load_state *states = all_running(&ladder);
    status = states == NULL ? lw_fail(error, LW_MEMORY, "no memory for %zu taps", ladder.tap_count)
                            : lw_supply_needs_init(plan, &needs, error);
    if (status == LW_OK) {
        const struct lw_carry_limits limits = {needs.minimum_v, needs.rated_a};
        status = lw_load_step_size(&ladder, states, &limits, asked_a, &step->most_a, error);
        step->most_a = floor(step->most_a * 100) / 100;
        step->way_ohm = way_ohm(&ladder);
    }
    lw_supply_needs_finish(&needs);
    free(states);
    lw_ladder_free(&ladder);
    return status;
}

enum lw_status lw_supply_step_init(struct lw_supply_step *step, const struct lw_plan *plan,
                                   double asked_a, struct lw_error *error)
{
    static const struct lw_dialog_ops ops = {next, answer, back};
    *step = (struct lw_supply_step){.dialog.ops = &ops, .plan = plan};
    size_t tail = lw_plan_taps(plan);
    const char *node = lw_plan_tap(plan, tail)->node;
    if (node != NULL) {
        lw_print(step->where, sizeof step->where, "%s (tap %zu)", node, tail);
    } else {
        lw_print(step->where, sizeof step->where, "tap %zu", tail);
    }
    enum lw_status status = find_most(plan, asked_a, step, error);
    if (status == LW_OK && step->most_a < LW_SUPPLY_LEAST_STEP_A) {
        return lw_fail(error, LW_USAGE,
                       "no room for a load step: at %s even %.2f A more would take a node below "
                       "its minimum, a supply to its limit or a span to its rating",
                       step->where, LW_SUPPLY_LEAST_STEP_A);
    }
    return status;
}

void lw_supply_step_finish(struct lw_supply_step *step)
{
    for (size_t i = 0; i < LW_SUPPLY_STRETCHES; i++) {
        lw_supply_measured_free(&step->stretches[i]);
    }
    *step = (struct lw_supply_step){0};
}

// The most that the measured voltages leave room for: a node's volts above its minimum over the
// planned resistance of the whole way, which is more than what any node sees of it.
static double room_a(const struct lw_supply_step *step)
{
    double least_v = INFINITY;
    for (size_t i = 0; i < step->stretches[0].tap_count; i++) {
        const struct lw_profile *profile = lw_plan_tap(step->plan, i + 1)->is;
        double minimum_v = profile != NULL
                               ? fmax(profile->electrical.minimum_v, profile->electrical.drop_out_v)
                               : NAN;
        double spare_v = step->stretches[0].volts[i] - minimum_v;
        least_v = spare_v < least_v ? spare_v : least_v;
    }
    return fmax(least_v, 0) / step->way_ohm;
}

void lw_supply_step_measured(struct lw_supply_step *step, struct lw_supply_measured *measured)
{
    assert(step->answered);
    step->answered = false;
    step->stretches[step->done++] = *measured;
    *measured = (struct lw_supply_measured){0};
    if (step->done == 1 && room_a(step) < step->amps) {
        step->most_a = fmax(floor(room_a(step) * 100) / 100, LW_SUPPLY_LEAST_STEP_A);
        step->amps = 0;
        step->plugged = false;
        drop_last(step);
    }
}

static double between(const struct lw_supply_step *step, size_t tap)
{
    const double signs[LW_SUPPLY_STRETCHES] = {0.5, -0.5, -0.5, 0.5};
    double fall_v = 0;
    for (size_t i = 0; i < LW_SUPPLY_STRETCHES; i++) {
        fall_v += signs[i] * step->stretches[i].volts[tap];
    }
    return fall_v;
}

enum lw_status lw_supply_step_join(const struct lw_supply_step *step,
                                   struct lw_supply_measured *measured, struct lw_error *error)
{
    assert(step->done == LW_SUPPLY_STRETCHES);
    const struct lw_supply_measured *first = &step->stretches[0], *last = &step->stretches[3];
    enum lw_status status = lw_supply_measured_init(first->tap_count, measured, error);
    if (status != LW_OK) {
        return status;
    }
    for (size_t i = 0; i < first->tap_count; i++) {
        measured->volts[i] = (first->volts[i] + last->volts[i]) / 2;
        measured->step_v[i] = between(step, i);
        measured->asked[i] = first->asked[i];
        measured->answered[i] = first->answered[i] && last->answered[i];
        measured->scatter_v = fmax(first->scatter_v, last->scatter_v);
    }
    measured->step_a = step->amps;
    return LW_OK;
}
