// SPDX-License-Identifier: GPL-3.0-or-later
//
// A run's surroundings may all be missing.
#include "client/run.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void keep_progress(void *user, const struct lw_progress *progress)
{
    *(struct lw_progress *)user = *progress;
}

static void a_run_without_a_cancel_flag_is_never_cancelled(void **state)
{
    (void)state;
    assert_false(lw_run_cancelled(&(struct lw_run){0}));
}

static void a_run_is_cancelled_once_the_flag_is_set(void **state)
{
    (void)state;
    struct lw_cancel cancel = {.wake_descriptor = -1};
    struct lw_run run = {.cancel = &cancel};
    assert_false(lw_run_cancelled(&run));
    cancel.flag = 1;
    assert_true(lw_run_cancelled(&run));
}

static void progress_reaches_its_sink_or_nobody(void **state)
{
    (void)state;
    struct lw_progress seen = {0};
    struct lw_run run = {.user = &seen};
    lw_run_progress(&run, "addresses", 1, 247, "addresses", 3.5);
    run.progress = keep_progress;
    lw_run_progress(&run, "addresses", 12, 247, "addresses", 3.5);
    assert_string_equal(seen.phase, "addresses");
    assert_true(seen.done == 12 && seen.total == 247 && seen.eta_s == 3.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_run_without_a_cancel_flag_is_never_cancelled),
        cmocka_unit_test(a_run_is_cancelled_once_the_flag_is_set),
        cmocka_unit_test(progress_reaches_its_sink_or_nobody),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
