// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the readings carry: noise as planned, sines after averaging, voltmeters with their own
// constant errors.
#include "fixture.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

enum { READINGS = 2000 };

struct taken {
    size_t count;
    double time_s[READINGS], value[READINGS];
};

static void take(struct fixture *fixture, uint8_t address, struct taken *taken)
{
    struct answer answer;
    taken->count = 0;
    for (size_t i = 0; i < READINGS; i++) {
        ask_registers(fixture->line, address, 4, 0, 2, &answer);
        assert_true(answer.whole);
        taken->time_s[i] = 1e-9 * (double)answer.sent_last_ns;
        taken->value[i] = float_of(&answer, 0);
        taken->count++;
        listen_ms(fixture->line, 7.3 + 0.37 * (double)(i % 11), &answer);
    }
}

static double mean(const struct taken *taken)
{
    double sum = 0;
    for (size_t i = 0; i < taken->count; i++) {
        sum += taken->value[i];
    }
    return sum / (double)taken->count;
}

static double spread(const struct taken *taken)
{
    double centre = mean(taken), sum = 0;
    for (size_t i = 0; i < taken->count; i++) {
        sum += (taken->value[i] - centre) * (taken->value[i] - centre);
    }
    return sqrt(sum / (double)(taken->count - 1));
}

// Amplitude of a sine at `hz` by projection; good to about spread / sqrt(n / 2).
static double amplitude(const struct taken *taken, double hz)
{
    double centre = mean(taken), c = 0, s = 0;
    for (size_t i = 0; i < taken->count; i++) {
        double phase = 6.283185307179586 * hz * taken->time_s[i];
        c += (taken->value[i] - centre) * cos(phase);
        s += (taken->value[i] - centre) * sin(phase);
    }
    return 2 * sqrt(c * c + s * s) / (double)taken->count;
}

static void measured(const char *virtually, uint8_t address, struct taken *taken)
{
    struct fixture fixture;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 3, .virtually = virtually}, NULL);
    take(&fixture, address, taken);
    fixture_close(&fixture);
}

// 2000 readings: the spread of a spread is 1 / sqrt(2 n) = 1.6 %.
static void white_noise_spreads_as_planned(void **state)
{
    (void)state;
    struct taken taken;
    measured(", \"noise\": {\"white\": 0.002}", 1, &taken);
    assert_true(fabs(spread(&taken) - 0.002) < 0.00016);
}

// The node averages 8 ms: of 50 Hz it leaves sin(x)/x with x = pi 50 0.008, that is 0.7568. It
// holds a value for 4 ms, which the projection on request times sees as another 0.9355 (x = pi 50
// 0.004), and a delay that does not matter here.
static void mains_is_as_large_as_the_averaging_leaves_it(void **state)
{
    (void)state;
    struct taken taken;
    measured(", \"noise\": {\"white\": 0.0001, \"mains\": 0.01, \"mains_hz\": 50}", 1, &taken);
    double held = 0.01 * 0.75683 * 0.93549;
    assert_true(fabs(amplitude(&taken, 50) - held) < 0.03 * held);
    assert_true(amplitude(&taken, 37) < 0.1 * held);
}

static void a_magnet_is_strongest_where_it_is_and_shifts(void **state)
{
    (void)state;
    struct taken here, beside, without;
    const char *magnet = ", \"noise\": {\"white\": 0.0001}, \"faults\": [{\"kind\": "
                         "\"magnet_near\", \"tap\": 2, \"field\": 0.02, \"steady\": 0.05, "
                         "\"reach_taps\": 1}]";
    measured(magnet, 2, &here);
    measured(magnet, 3, &beside);
    measured(", \"noise\": {\"white\": 0.0001}", 2, &without);
    double ratio = amplitude(&beside, 50) / amplitude(&here, 50);
    assert_true(fabs(ratio - exp(-1)) < 0.03);
    assert_true(fabs(mean(&here) - mean(&without) - 0.05) < 0.002);
}

static void drift_goes_at_its_rate(void **state)
{
    (void)state;
    struct taken taken;
    measured(", \"noise\": {\"white\": 0, \"drift_per_min\": 0.6}", 1, &taken);
    double rate = (taken.value[READINGS - 1] - taken.value[0]) /
                  (taken.time_s[READINGS - 1] - taken.time_s[0]);
    assert_true(fabs(rate - 0.01) < 0.0001);
}

// Octaves from 10 ms to 655 s, each with the variance of the planned decade over log2(10): what is
// slower than the 70 s of readings only shifts them; about twelve octaves are left, 1.9 times the
// decade's deviation. One run of 1/f noise is far from its mean, so the band is wide.
static void flicker_noise_is_slow(void **state)
{
    (void)state;
    struct taken taken;
    measured(", \"noise\": {\"white\": 0, \"flicker\": 0.01}", 1, &taken);
    double all = spread(&taken), steps = 0;
    for (size_t i = 1; i < taken.count; i++) {
        steps += pow(taken.value[i] - taken.value[i - 1], 2);
    }
    double step = sqrt(steps / (2.0 * (double)(taken.count - 1)));
    assert_true(all > 0.008 && all < 0.04);
    assert_true(step < 0.7 * all); // white noise would have step = all
}

static void a_stuck_reading_stays_and_its_counter_goes_on(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer first, later;
    fixture_open(&fixture,
                 &(struct fixture_plan){.probes = 2,
                                        .virtually = ", \"faults\": [{\"kind\": "
                                                     "\"stuck_reading\", \"tap\": 2}]"},
                 NULL);
    ask_registers(fixture.line, 2, 4, 0, 2, &first);
    listen_ms(fixture.line, 1234, &later);
    ask_registers(fixture.line, 2, 4, 0, 8, &later);
    assert_int_equal(word_of(&first, 0), word_of(&later, 0));
    assert_int_equal(word_of(&first, 1), word_of(&later, 1));
    assert_true(word_of(&later, 7) > 200);
    fixture_close(&fixture);
}

static void an_unplugged_sensor_is_flagged_and_stale_when_plugged_in_again(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture,
                 &(struct fixture_plan){.probes = 1,
                                        .virtually = ", \"faults\": [{\"kind\": "
                                                     "\"unplugged_sensor\", \"tap\": 1, "
                                                     "\"to_s\": 3}]"},
                 NULL);
    ask_registers(fixture.line, 1, 4, 0, 5, &answer);
    assert_true(word_of(&answer, 4) & 2);
    assert_true(float_of(&answer, 0) > 10);
    listen_ms(fixture.line, 4000, &answer);
    ask_registers(fixture.line, 1, 4, 0, 5, &answer);
    assert_int_equal(word_of(&answer, 4), 8);
    fixture_close(&fixture);
}

// The profile gives a node 0.03 V and its kind 0.02 V at k = 2: 5 sigma of both is 0.09 V.
static void a_voltmeters_error_is_its_own_and_constant(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    double errors[6];
    fixture_open(&fixture, &(struct fixture_plan){.probes = 6}, NULL);
    for (uint8_t i = 0; i < 6; i++) {
        double sum = 0, true_v = lw_chain_true_volts(fixture.chain, i + 1U);
        for (int k = 0; k < 100; k++) {
            ask_registers(fixture.line, i + 1, 4, 2, 1, &answer);
            sum += 0.01 * word_of(&answer, 0) - true_v;
        }
        errors[i] = sum / 100;
        assert_true(fabs(errors[i] - lw_chain_true_offset_v(fixture.chain, i + 1U)) < 0.003);
        assert_true(fabs(errors[i]) < 0.09);
    }
    assert_true(fabs(errors[0] - errors[1]) > 1e-4);
    fixture_close(&fixture);
}

static void a_hand_moves_one_sensor_and_lets_go(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 2}, NULL);
    assert_int_equal(lw_chain_move(fixture.chain, 2, 1, 0.2, 8.0, NULL), LW_OK);
    assert_int_equal(lw_chain_move(fixture.chain, 2, 3, 0.2, 2.0, NULL), LW_OK);
    listen_ms(fixture.line, 1100, &answer);
    ask_registers(fixture.line, 2, 4, 0, 2, &answer);
    assert_true(float_of(&answer, 0) > 5.5 && float_of(&answer, 0) < 7.9); // half way
    listen_ms(fixture.line, 1000, &answer);
    ask_registers(fixture.line, 2, 4, 0, 2, &answer);
    assert_true(fabs(float_of(&answer, 0) - 8) < 0.01);
    ask_registers(fixture.line, 1, 4, 0, 2, &answer);
    assert_true(float_of(&answer, 0) < 6);
    listen_ms(fixture.line, 2000, &answer);
    ask_registers(fixture.line, 2, 4, 0, 2, &answer);
    assert_true(fabs(float_of(&answer, 0) - 2) < 0.01);
    assert_int_equal(lw_chain_move(fixture.chain, 3, 1, 0.2, 8.0, NULL), LW_USAGE);
    fixture_close(&fixture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(white_noise_spreads_as_planned),
        cmocka_unit_test(mains_is_as_large_as_the_averaging_leaves_it),
        cmocka_unit_test(a_magnet_is_strongest_where_it_is_and_shifts),
        cmocka_unit_test(drift_goes_at_its_rate),
        cmocka_unit_test(flicker_noise_is_slow),
        cmocka_unit_test(a_stuck_reading_stays_and_its_counter_goes_on),
        cmocka_unit_test(an_unplugged_sensor_is_flagged_and_stale_when_plugged_in_again),
        cmocka_unit_test(a_voltmeters_error_is_its_own_and_constant),
        cmocka_unit_test(a_hand_moves_one_sensor_and_lets_go),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
