// SPDX-License-Identifier: GPL-3.0-or-later
//
// Every allocation of every operation refused in turn, until the operation succeeds: each time a
// clean LW_MEMORY, nothing lost (the sanitizers watch). The linker puts the calls below between the
// library and the allocators.
#include "stats/correlation.h"
#include "stats/floor.h"
#include "stats/jumps.h"
#include "stats/mains.h"
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/spread.h"
#include "stats/test.h"
#include "stats/times.h"
#include "stats/tones.h"

#include <fftw3.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { N = 200 };

static double time_s[N], value[N];
static int left = -1; // allocations that still succeed; negative: all do

static bool refuse(void)
{
    if (left < 0) {
        return false;
    }
    return left-- == 0;
}

void *__real_malloc(size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_malloc(size_t size)
{
    return refuse() ? NULL : __real_malloc(size);
}

void *__real_calloc(size_t count, size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_calloc(size_t count, size_t size)
{
    return refuse() ? NULL : __real_calloc(count, size);
}

double *__real_fftw_alloc_real(size_t count);
double *__wrap_fftw_alloc_real(size_t count);
double *__wrap_fftw_alloc_real(size_t count)
{
    return refuse() ? NULL : __real_fftw_alloc_real(count);
}

fftw_complex *__real_fftw_alloc_complex(size_t count);
fftw_complex *__wrap_fftw_alloc_complex(size_t count);
fftw_complex *__wrap_fftw_alloc_complex(size_t count)
{
    return refuse() ? NULL : __real_fftw_alloc_complex(count);
}

static enum lw_status spread(struct lw_error *error)
{
    struct lw_spread_options options = lw_spread_options();
    struct lw_spread found;
    return lw_spread_of(time_s, value, N, &options, &found, error);
}

static enum lw_status tones(struct lw_error *error)
{
    struct lw_tones found;
    return lw_tones_find(time_s, value, N, 20, 1, 0.05, &found, error);
}

static enum lw_status mains(struct lw_error *error)
{
    struct lw_mains found;
    return lw_mains_find(time_s, value, N, &found, error);
}

static enum lw_status jumps(struct lw_error *error)
{
    struct lw_jumps found;
    return lw_jumps_find(time_s, value, N, NAN, &found, error);
}

static enum lw_status levene(struct lw_error *error)
{
    static const size_t group_n[2] = {N / 2, N / 2};
    struct lw_test_result result;
    return lw_test_levene(LW_ABOUT_MEDIAN, value, group_n, 2, &result, error);
}

static enum lw_status tone(struct lw_error *error)
{
    struct lw_tone found;
    return lw_tone_fit(time_s, value, N, 3.3, &found, error);
}

static void refuse_each(enum lw_status (*operation)(struct lw_error *error), int least)
{
    for (int allowed = 0;; allowed++) {
        struct lw_error error = {0};
        left = allowed;
        enum lw_status status = operation(&error);
        bool all_granted = left >= 0;
        left = -1;
        if (all_granted) {
            assert_int_equal(status, LW_OK);
            assert_true(allowed >= least);
            return;
        }
        assert_int_equal(status, LW_MEMORY);
        assert_int_equal(error.status, LW_MEMORY);
        assert_true(strlen(error.says) > 0);
    }
}

static void every_refused_allocation_is_said_and_nothing_is_lost(void **state)
{
    (void)state;
    for (size_t i = 0; i < N; i++) {
        struct lw_random key = {1, 1, 1};
        time_s[i] = 0.1 * ((double)i + 0.8 * lw_random_uniform(key, i));
        value[i] = lw_random_normal(key, i) + 4 * cos(2 * M_PI * 3.3 * time_s[i]);
    }
    refuse_each(spread, 5);
    refuse_each(tones, 20);
    refuse_each(mains, 10);
    refuse_each(jumps, 1);
    refuse_each(levene, 1);
    refuse_each(tone, 1);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_refused_allocation_is_said_and_nothing_is_lost),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
