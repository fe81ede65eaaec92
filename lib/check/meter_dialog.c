// SPDX-License-Identifier: GPL-3.0-or-later
//
// Questions of the hand meter. A rail that is not dead stops all ohms: the question stands.
#include "check/meter_dialog.h"

#include "base/clock.h"
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "base/words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct ask {
    enum lw_meter_ask ask;
    size_t step; // LW_METER_ASK_STEP
};

enum { MOST_OHM = 100000000, MOST_VOLT = 60, MOST_AMP = 100 };

// Obvious limits: a plain hand meter's (common practice).
struct text {
    const char *id, *text, *help, *unit, *obvious;
    enum lw_question_kind kind;
    double high;
    bool lasting, may_skip;
};

static const char accuracy_help[] =
    N_("It stands in the meter's manual as so many % of the reading and so many digits; a digit is "
       "the last place shown. Enter takes a plain hand meter's.");
static const char *const earth_words[] = {N_("left"), N_("tested"), NULL};

static const struct text texts[] = {
    [LW_METER_ASK_NAME] = {"instrument.name", N_("Which meter is it? (maker and type)"),
                           N_("The report names the meter that the values come from."), NULL, NULL,
                           LW_QUESTION_TEXT, 0, true, false},
    [LW_METER_ASK_SERIAL] = {"instrument.serial", N_("Its serial number?"),
                             N_("It stands on the back."), NULL, NULL, LW_QUESTION_TEXT, 0, true,
                             false},
    [LW_METER_ASK_DUE] = {"instrument.due", N_("When does its certificate run out? (2027-03-01)"),
                          N_("Year, month, day, as on the sticker; skip when it has none."), NULL,
                          NULL, LW_QUESTION_TEXT, 0, true, true},
    [LW_METER_ASK_VOLT_PCT] = {"accuracy.volt_pct",
                               N_("Accuracy for DC volts, share of the "
                                  "reading?"),
                               accuracy_help, "%", "1", LW_QUESTION_NUMBER, 20, true, false},
    [LW_METER_ASK_VOLT_FIXED] = {"accuracy.volt_fixed", N_("Accuracy for DC volts, fixed part?"),
                                 accuracy_help, "V", "0.02", LW_QUESTION_NUMBER, 5, true, false},
    [LW_METER_ASK_OHM_PCT] = {"accuracy.ohm_pct",
                              N_("Accuracy for resistance, share of the "
                                 "reading?"),
                              accuracy_help, "%", "1", LW_QUESTION_NUMBER, 20, true, false},
    [LW_METER_ASK_OHM_FIXED] = {"accuracy.ohm_fixed", N_("Accuracy for resistance, fixed part?"),
                                accuracy_help, "ohm", "0.2", LW_QUESTION_NUMBER, 10, true, false},
    [LW_METER_ASK_AMP_PCT] = {"accuracy.amp_pct",
                              N_("Accuracy for DC current, share of the "
                                 "reading?"),
                              accuracy_help, "%", "2", LW_QUESTION_NUMBER, 20, true, false},
    [LW_METER_ASK_AMP_FIXED] = {"accuracy.amp_fixed", N_("Accuracy for DC current, fixed part?"),
                                accuracy_help, "A", "0.02", LW_QUESTION_NUMBER, 5, true, false},
    [LW_METER_ASK_OFF] = {"off",
                          N_("Are the chain's supplies off and secured against switching on, "
                             "every plug in?"),
                          N_("Resistances are only true on a dead chain with everything plugged. "
                             "The controller and the tester stay plugged, switched off."),
                          NULL, NULL, LW_QUESTION_YES, 0, false, false},
    [LW_METER_ASK_EARTH] =
        {
            "off.earth", N_("Protective conductor: left to a qualified person, or tested by one?"),
            N_("Testing it is a qualified person's work, with a tester that sends "
               "enough current; a hand meter proves nothing here. Who leaves it "
               "says so, and so does the report."),
            NULL, N_("left"), LW_QUESTION_WORD, 0, true, false},
    [LW_METER_ASK_EARTH_BY] = {"off.earth.by", N_("Which qualified person has tested it?"),
                               N_("The name stands in the report."), NULL, NULL, LW_QUESTION_TEXT,
                               0, true, false},
    [LW_METER_ASK_EARTH_OHM] = {"off.earth.ohm", N_("What did that person measure?"),
                                N_("It is written down and not judged: limit and tester are that "
                                   "person's."),
                                "ohm", NULL, LW_QUESTION_NUMBER, 1000, true, true},
    [LW_METER_ASK_ON] =
        {
            "on",
            N_("Power on: is everybody clear, are the supplies on and all nodes "
               "running?"),
            N_("Measuring on a live cabinet is for qualified persons; the chain is low "
               "voltage, what stands beside it may not be. Insulated tips, one hand. "
               "skip leaves the values with power on out."),
            NULL, NULL, LW_QUESTION_YES, 0, false, true},
};

static const struct ask *ask_at(const struct lw_meter_dialog *own, size_t index)
{
    return &((const struct ask *)own->asks.items)[index];
}

static const struct lw_meter_step *step_at(const struct lw_meter_dialog *own, size_t index)
{
    return &((const struct lw_meter_step *)own->steps->items)[index];
}

static void fill_text(struct lw_question *question, const struct text *text)
{
    lw_question_id(question, "%s", text->id);
    lw_copy(question->text, sizeof question->text, text->text);
    lw_copy(question->help, sizeof question->help, text->help);
    question->kind = text->kind;
    question->unit = text->unit;
    question->obvious = text->obvious;
    question->high = text->high;
    question->lasting = text->lasting;
    question->may_skip = text->may_skip;
    question->words = text->kind == LW_QUESTION_WORD ? earth_words : NULL;
}

// What stands at each kind of step: where the tips go, with at most one %s for the place, and why.
static const struct {
    const char *text, *help;
} wheres[] = {
    [LW_METER_DEAD] = {N_("DC volts. Red on V+, black on 0 V at %s"),
                       N_("First prove that it is dead: under 0.5 V. Try the meter on a known "
                          "voltage before and after.")},
    [LW_METER_TIPS] = {N_("Ohms. Hold the tips together"),
                       N_("The leads' own resistance is taken off what follows. Skip when the "
                          "meter has taken it off itself.")},
    [LW_METER_RAILS] = {N_("Ohms. Red on V+, black on 0 V at %s"),
                        N_("Wait until the value stands: capacitors charge. OL is fine.")},
    [LW_METER_LEAD] =
        {N_("Ohms. Red on the V+ terminal of %s, black on V+ at the tap that it feeds"),
         N_("Near 0 proves that V+ is V+ at both ends. OL: swapped, open, or the "
            "fuse is out.")},
    [LW_METER_PAIR] = {N_("Ohms. Red on D1, black on D0 at %s"),
                       N_("Two terminators of 120 ohm show about 60, less with receivers and "
                          "bias beside them.")},
    [LW_METER_D1_ZERO] = {N_("Ohms. Red on D1, black on 0 V at %s"),
                          N_("Receivers and bias lie between; a few ohms are a short.")},
    [LW_METER_D0_ZERO] = {N_("Ohms. Red on D0, black on 0 V at %s"),
                          N_("Receivers and bias lie between; a few ohms are a short.")},
    [LW_METER_SHIELD] = {N_("Ohms. Red on D1, black on the shield at %s"),
                         N_("Try D0 too and type the smaller value.")},
    [LW_METER_BOND] = {N_("Ohms. Red on 0 V, black on bare metal of the frame at %s"),
                       N_("The one bond of 0 V is closed.")},
    [LW_METER_BOND_OPEN] =
        {N_("Ohms. Open the bond of 0 V, never a protective conductor. Red on 0 V, black on "
            "the frame at %s; then close the bond again"),
         N_("What still conducts is a second way: an end clamp, a shield, a "
            "laptop's charger. Skip where the bond cannot be opened.")},
    [LW_METER_FUSE] = {N_("What is the fuse in the lead of %s marked with?"),
                       N_("Skip when there is none.")},
    [LW_METER_SUPPLY] = {N_("DC volts. Red on V+, black on 0 V at the terminals of %s"),
                         N_("Under load, all nodes running.")},
    [LW_METER_DRAW] = {N_("DC amperes. Clamp around the V+ wire of %s"),
                       N_("With a clamp; without one skip, and open no wire for it.")},
    [LW_METER_TAP] = {N_("DC volts. Red on V+, black on 0 V at %s, all nodes running"),
                      N_("At the tap itself, not at the plug before it.")},
    [LW_METER_IDLE] = {N_("DC volts. Red on D1, black on D0 at %s, nobody sending"),
                       N_("Controller stopped, no check running. Type the sign, too.")},
    [LW_METER_FRAME_V] = {N_("DC volts. Red on 0 V, black on the frame at %s"),
                          N_("All nodes running. Type the sign, too.")},
};

static void fill_where(struct lw_question *question, enum lw_meter_kind kind, const char *at)
{
    const char *text = wheres[kind].text, *mark = strstr(text, "%s");
    lw_copy(question->help, sizeof question->help, wheres[kind].help);
    if (mark == NULL) {
        lw_copy(question->text, sizeof question->text, text);
        return;
    }
    lw_print(question->text, sizeof question->text, "%.*s%s%s", (int)(mark - text), text, at,
             mark + 2);
}

static void fill_step(struct lw_question *question, const struct lw_plan *plan,
                      const struct lw_meter_step *step)
{
    struct lw_meter_words words;
    lw_meter_words(plan, step, &words);
    lw_question_id(question, "%s", words.id);
    fill_where(question, step->kind, words.at);
    bool ohms = strcmp(words.unit, "ohm") == 0, volts = strcmp(words.unit, "V") == 0;
    question->kind = LW_QUESTION_NUMBER;
    question->unit = words.unit;
    question->high = ohms ? MOST_OHM : volts ? MOST_VOLT : MOST_AMP;
    question->low = volts ? -MOST_VOLT : 0;
    question->may_be_open = ohms && step->kind != LW_METER_TIPS;
    question->may_skip = step->kind != LW_METER_DEAD;
    question->lasting = step->kind != LW_METER_DEAD;
}

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct lw_meter_dialog *own = (const struct lw_meter_dialog *)dialog;
    if (own->at >= own->asks.count) {
        return LW_DIALOG_DONE;
    }
    const struct ask *ask = ask_at(own, own->at);
    if (ask->ask == LW_METER_ASK_STEP) {
        fill_step(question, own->plan, step_at(own, ask->step));
    } else {
        fill_text(question, &texts[ask->ask]);
    }
    return LW_DIALOG_ASK;
}

static enum lw_status keep_text(char **to, const char *text, struct lw_error *error)
{
    free(*to);
    *to = lw_duplicate(text);
    return *to != NULL ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for an answer");
}

static enum lw_status take_due(struct lw_meter_dialog *own, const struct lw_answer *answer,
                               struct lw_error *error)
{
    int64_t utc_ns;
    free(own->result.instrument.due_on);
    own->result.instrument.due_on = NULL;
    if (answer->skipped) {
        return LW_OK;
    }
    return lw_time_parse(answer->text, &utc_ns) == 0
               ? keep_text(&own->result.instrument.due_on, answer->text, error)
               : lw_fail(error, LW_USAGE, "a date is wanted as 2027-03-01, or skip");
}

// A resistance on a live rail is false and may harm the meter.
static enum lw_status take_step(struct lw_meter_dialog *own, const struct lw_meter_step *step,
                                const struct lw_answer *answer, struct lw_error *error)
{
    if (step->kind == LW_METER_DEAD && fabs(answer->number) >= LW_METER_DEAD_V) {
        return lw_fail(error, LW_USAGE,
                       "it is not dead: switch the supply off and secure it, wait, measure again");
    }
    return lw_meter_take(own->plan, step, answer->skipped ? NAN : answer->number, &own->result,
                         error);
}

static bool of_power_on(const struct lw_meter_dialog *own, size_t index)
{
    const struct ask *ask = ask_at(own, index);
    return ask->ask == LW_METER_ASK_STEP && lw_meter_power_on(step_at(own, ask->step)->kind);
}

// Without power the rest is left out, and stands as left out.
static enum lw_status leave_rest(struct lw_meter_dialog *own, struct lw_error *error)
{
    enum lw_status status = LW_OK;
    while (status == LW_OK && own->at + 1 < own->asks.count && of_power_on(own, own->at + 1)) {
        own->at++;
        const struct lw_meter_step *step = step_at(own, ask_at(own, own->at)->step);
        status = lw_meter_take(own->plan, step, NAN, &own->result, error);
    }
    return status;
}

static enum lw_status take_yes(const struct lw_answer *answer, struct lw_error *error)
{
    return answer->yes ? LW_OK
                       : lw_fail(error, LW_USAGE, "answer yes when it is so, back, or stop");
}

static enum lw_status take_number(double *to, const struct lw_answer *answer)
{
    *to = answer->skipped ? NAN : answer->number;
    return LW_OK;
}

static enum lw_status take_earth(struct lw_meter_dialog *own, const struct lw_answer *answer)
{
    own->result.earth_left = answer->word == 0;
    own->at += own->result.earth_left ? 2 : 0; // nobody's name, no value
    return LW_OK;
}

static enum lw_status take(struct lw_meter_dialog *own, const struct ask *ask,
                           const struct lw_answer *answer, struct lw_error *error)
{
    struct lw_meter_instrument *instrument = &own->result.instrument;
    switch (ask->ask) {
    case LW_METER_ASK_NAME:
        return keep_text(&instrument->name, answer->text, error);
    case LW_METER_ASK_SERIAL:
        return keep_text(&instrument->serial, answer->text, error);
    case LW_METER_ASK_DUE:
        return take_due(own, answer, error);
    case LW_METER_ASK_VOLT_PCT:
        return take_number(&instrument->volt_pct, answer);
    case LW_METER_ASK_VOLT_FIXED:
        return take_number(&instrument->volt_fixed, answer);
    case LW_METER_ASK_OHM_PCT:
        return take_number(&instrument->ohm_pct, answer);
    case LW_METER_ASK_OHM_FIXED:
        return take_number(&instrument->ohm_fixed, answer);
    case LW_METER_ASK_AMP_PCT:
        return take_number(&instrument->amp_pct, answer);
    case LW_METER_ASK_AMP_FIXED:
        return take_number(&instrument->amp_fixed, answer);
    case LW_METER_ASK_OFF:
        return take_yes(answer, error);
    case LW_METER_ASK_EARTH:
        return take_earth(own, answer);
    case LW_METER_ASK_EARTH_BY:
        return keep_text(&own->result.earth_by, answer->text, error);
    case LW_METER_ASK_EARTH_OHM:
        return take_number(&own->result.earth_ohm, answer);
    case LW_METER_ASK_ON:
        return answer->skipped ? leave_rest(own, error) : take_yes(answer, error);
    case LW_METER_ASK_STEP:
        break;
    }
    return take_step(own, step_at(own, ask->step), answer, error);
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error)
{
    struct lw_meter_dialog *own = (struct lw_meter_dialog *)dialog;
    enum lw_status status = take(own, ask_at(own, own->at), answer, error);
    own->at += status == LW_OK;
    return status;
}

static void forget_last(struct lw_meter_result *result)
{
    const size_t size = sizeof(struct lw_meter_reading);
    struct lw_meter_reading *last =
        (struct lw_meter_reading *)result->readings.items + --result->readings.count;
    char *const owned[] = {last->id, last->at, last->from, last->to, last->unit};
    for (size_t i = 0; i < sizeof owned / sizeof *owned; i++) {
        free(owned[i]);
    }
    memset(last, 0, size);
}

static bool back(struct lw_dialog *dialog)
{
    struct lw_meter_dialog *own = (struct lw_meter_dialog *)dialog;
    bool can = own->at > 0;
    own->at -= can;
    while (own->result.earth_left && own->at > 0 &&
           (ask_at(own, own->at)->ask == LW_METER_ASK_EARTH_BY ||
            ask_at(own, own->at)->ask == LW_METER_ASK_EARTH_OHM)) {
        own->at--;
    }
    if (can && ask_at(own, own->at)->ask == LW_METER_ASK_STEP) {
        forget_last(&own->result);
    }
    return can;
}

static bool add(struct lw_meter_dialog *dialog, enum lw_meter_ask ask, size_t step)
{
    struct ask *added = lw_list_add(&dialog->asks, sizeof *added);
    if (added != NULL) {
        *added = (struct ask){ask, step};
    }
    return added != NULL;
}

static bool add_steps(struct lw_meter_dialog *dialog, bool on)
{
    bool fine = true;
    for (size_t i = 0; i < dialog->steps->count; i++) {
        if (lw_meter_power_on(step_at(dialog, i)->kind) == on) {
            fine = fine && add(dialog, LW_METER_ASK_STEP, i);
        }
    }
    return fine;
}

static bool add_asks(struct lw_meter_dialog *dialog, enum lw_meter_ask from, enum lw_meter_ask to)
{
    bool fine = true;
    for (int ask = (int)from; ask <= (int)to; ask++) {
        fine = fine && add(dialog, (enum lw_meter_ask)ask, 0);
    }
    return fine;
}

enum lw_status lw_meter_dialog_init(struct lw_meter_dialog *dialog, const struct lw_plan *plan,
                                    const struct lw_list *steps, enum lw_meter_part part,
                                    struct lw_error *error)
{
    static const struct lw_dialog_ops ops = {next, answer, back};
    *dialog = (struct lw_meter_dialog){.dialog.ops = &ops, .plan = plan, .steps = steps};
    lw_json_init(&lw_meter_shape, &dialog->result);
    bool fine = add_asks(dialog, LW_METER_ASK_NAME, LW_METER_ASK_AMP_FIXED);
    if (part != LW_METER_ONLY_ON) {
        fine = fine && add(dialog, LW_METER_ASK_OFF, 0) && add_steps(dialog, false) &&
               add_asks(dialog, LW_METER_ASK_EARTH, LW_METER_ASK_EARTH_OHM);
    }
    if (part != LW_METER_ONLY_OFF) {
        fine = fine && add(dialog, LW_METER_ASK_ON, 0) && add_steps(dialog, true);
    }
    return fine ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for the meter's questions");
}

void lw_meter_dialog_finish(struct lw_meter_dialog *dialog)
{
    free(dialog->asks.items);
    dialog->asks = (struct lw_list){0};
}
