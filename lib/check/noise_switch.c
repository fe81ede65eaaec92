// SPDX-License-Identifier: GPL-3.0-or-later
//
// Off, on, on, off: a drift that is steady moves both pairs alike.
#include "check/noise_switch.h"

#include "base/text.h"

#include <assert.h>

enum { FOUR = 4 };

void lw_switch_init(struct lw_switch *dialog, const char *source)
{
    *dialog = (struct lw_switch){.source = source};
}

void lw_switch_finish(struct lw_switch *dialog)
{
    free(dialog->stretches.items);
    *dialog = (struct lw_switch){0};
}

static bool is_on(size_t stretch)
{
    return stretch == 1 || stretch == 2;
}

enum lw_switch_next lw_switch_next(const struct lw_switch *dialog, char *question, size_t size)
{
    static const char *const asks[FOUR] = {
        "1 of 4: is '%s' off?",
        "2 of 4: switch '%s' on and let it come to its speed; nobody reaches in. Is it on?",
        "3 of 4: leave '%s' on. Is it still on?",
        "4 of 4: switch '%s' off and let it come to rest. Is it off?",
    };
    size_t stretch = dialog->stretches.count;
    question[0] = '\0';
    if (stretch == FOUR) {
        return LW_SWITCH_DONE;
    }
    if (dialog->answered) {
        return LW_SWITCH_MEASURE;
    }
    const char *mark = strstr(asks[stretch], "%s");
    lw_print(question, size, "%.*s%s%s", (int)(mark - asks[stretch]), asks[stretch], dialog->source,
             mark + 2);
    return LW_SWITCH_ASK;
}

enum lw_status lw_switch_answer(struct lw_switch *dialog, const char *answer,
                                struct lw_error *error)
{
    assert(dialog->stretches.count < FOUR && !dialog->answered);
    if (answer[0] == '\0' || strcmp(answer, "yes") == 0) {
        dialog->answered = true;
        return LW_OK;
    }
    if (strcmp(answer, "back") != 0) {
        return lw_fail(error, LW_USAGE, "answer yes when it is so, or back");
    }
    if (dialog->stretches.count == 0) {
        return lw_fail(error, LW_USAGE, "there is nothing to go back to");
    }
    dialog->stretches.count--;
    return LW_OK;
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
