// SPDX-License-Identifier: GPL-3.0-or-later
//
// Off, on, on, off: a drift that is steady moves both pairs alike.
#include "check/noise_switch.h"

#include "base/text.h"
#include "base/words.h"

#include <assert.h>

enum { FOUR = 4 };

void lw_switch_finish(struct lw_switch *dialog)
{
    free(dialog->stretches.items);
    *dialog = (struct lw_switch){0};
}

static bool is_on(size_t stretch)
{
    return stretch == 1 || stretch == 2;
}

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    static const char *const asks[FOUR] = {
        N_("1 of 4: is '%s' off?"),
        N_("2 of 4: switch '%s' on and let it come to its speed; nobody reaches in. Is it on?"),
        N_("3 of 4: leave '%s' on. Is it still on?"),
        N_("4 of 4: switch '%s' off and let it come to rest. Is it off?"),
    };
    const struct lw_switch *own = (const struct lw_switch *)dialog;
    size_t stretch = own->stretches.count;
    if (stretch == FOUR || own->answered) {
        return stretch == FOUR ? LW_DIALOG_DONE : LW_DIALOG_ACT;
    }
    const char *mark = strstr(asks[stretch], "%s");
    lw_question_id(question, "switch.%zu", stretch + 1);
    lw_print(question->text, sizeof question->text, "%.*s%s%s", (int)(mark - asks[stretch]),
             asks[stretch], own->source, mark + 2);
    lw_print(question->help, sizeof question->help,
             "Yes starts the measuring. Whoever switches stands where the maker of the machine "
             "wants the operator to stand.");
    question->kind = LW_QUESTION_YES;
    question->obvious = N_("yes");
    return LW_DIALOG_ASK;
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error)
{
    struct lw_switch *own = (struct lw_switch *)dialog;
    own->answered = answer->yes;
    return answer->yes ? LW_OK
                       : lw_fail(error, LW_USAGE, "answer yes when it is so, back, or stop");
}

static bool back(struct lw_dialog *dialog)
{
    struct lw_switch *own = (struct lw_switch *)dialog;
    bool can = own->stretches.count > 0;
    own->stretches.count -= can;
    return can;
}

void lw_switch_init(struct lw_switch *dialog, const char *source)
{
    static const struct lw_dialog_ops ops = {next, answer, back};
    *dialog = (struct lw_switch){.dialog.ops = &ops, .source = source};
}

enum lw_status lw_switch_measured(struct lw_switch *dialog, double from_s, double to_s,
                                  struct lw_error *error)
{
    assert(dialog->answered);
    bool on = is_on(dialog->stretches.count);
    struct lw_noise_stretch *stretch = lw_list_add(&dialog->stretches, sizeof *stretch);
    if (stretch == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a stretch");
    }
    *stretch = (struct lw_noise_stretch){.from_s = from_s, .to_s = to_s, .on = on};
    dialog->answered = false;
    return LW_OK;
}
