// SPDX-License-Identifier: GPL-3.0-or-later
//
// Who is still on, by a stated path. The judge of the rule is an enumeration of all states of small
// chains, each solved in another way than the library does: dense elimination, and the loads'
// currents put in again and again from the no-load voltages down.
#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct lw_ladder_path running(const struct lw_ladder *ladder)
{
    struct lw_ladder_path path;
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_check(ladder, &error), LW_OK);
    assert_int_equal(lw_ladder_running(ladder, &path, &error), LW_OK);
    return path;
}

static struct lw_ladder_path cold(const struct lw_ladder *ladder)
{
    struct lw_ladder_path path;
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_cold(ladder, &path, &error), LW_OK);
    return path;
}

static double volts(const struct lw_point *point, size_t tap)
{
    return point->plus_v[tap] - point->zero_v[tap];
}

static void a_healthy_chain_keeps_everybody_on(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 24);
    chain_fill(&chain, 0.02, 0.02, power_load(0.9));
    chain_feed(&chain, 0, 24.0, 0.1, 0.06, 2.5);
    struct lw_ladder_path path = running(&chain.ladder);
    assert_true(path.all_on && path.all_on_exists);
    assert_true(path.load_factor == 1.0);
    lw_ladder_path_finish(&path);
    path = cold(&chain.ladder);
    assert_true(path.all_on);
    lw_ladder_path_finish(&path);
}

// 60 taps of 1.0 W on a thin cable: shedding one by one keeps more than half of them, where
// switching all starved ones off at once would keep fewer.
static void nodes_are_shed_from_the_far_end_one_by_one(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 60);
    chain_fill(&chain, 0.06, 0.06, power_load(1.0));
    chain_feed(&chain, 0, 24.0, 0.1, 0.06, INFINITY);
    struct lw_ladder_path path = running(&chain.ladder);
    assert_false(path.all_on);
    assert_true(path.shed_count > 0 && path.shed_count < 60);
    for (size_t i = 0; i < path.shed_count; i++) {
        assert_int_equal(path.shed[i], 59 - i);
    }
    for (size_t i = 0; i < 60 - path.shed_count; i++) {
        assert_true(volts(&path.point, i) >= 16.0);
    }
    lw_ladder_path_finish(&path);
}

// Without its own draw the node sees 24 V, with it 24 V behind 9 ohm and 20 W is past the fold.
static void a_shed_node_that_would_start_again_resets_in_turn(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_fill(&chain, 0.0, 0.0, power_load(20.0));
    chain_feed(&chain, 0, 24.0, 9.0, 0.0, INFINITY);
    struct lw_ladder_path path = running(&chain.ladder);
    assert_false(path.all_on_exists);
    assert_true(path.point.exists);
    assert_int_equal(path.shed_count, 1);
    assert_true(path.resets_in_turn[0]);
    assert_true(fabs(path.load_factor - 0.8) <= 1e-3);
    lw_ladder_path_finish(&path);
}

// 2.5 A carry 27 start-up currents of 0.09 A and no more; 28 hang at the drop-out voltage for ever,
// though all 28 would run: 28 x 0.9 W at 24 V are 1.05 A.
static void a_cold_start_needs_the_start_up_current_of_all(void **state)
{
    (void)state;
    struct chain chain;
    struct lw_ladder_path path;
    chain_begin(&chain, 27);
    chain_fill(&chain, 0.0, 0.0, power_load(0.9));
    chain_feed(&chain, 0, 24.0, 0.02, 0.0, 2.5);
    path = cold(&chain.ladder);
    assert_true(path.all_on);
    lw_ladder_path_finish(&path);
    chain_begin(&chain, 28);
    chain_fill(&chain, 0.0, 0.0, power_load(0.9));
    chain_feed(&chain, 0, 24.0, 0.02, 0.0, 2.5);
    path = cold(&chain.ladder);
    assert_false(path.all_on);
    for (size_t i = 0; i < 28; i++) {
        assert_true(path.trapped[i]);
        assert_true(fabs(volts(&path.point, i) - 16.0) < 2e-3);
    }
    lw_ladder_path_finish(&path);
    path = running(&chain.ladder);
    assert_true(path.all_on);
    lw_ladder_path_finish(&path);
}

static void a_latched_supply_takes_its_whole_chain_down(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 5);
    chain_fill(&chain, 0.01, 0.01, power_load(6.0));
    chain_feed(&chain, 0, 24.0, 0.02, 0.0, 1.0)->past_limit = LW_LATCH_OFF;
    struct lw_ladder_path path = running(&chain.ladder);
    assert_int_equal(path.shed_count, 5);
    assert_int_equal(path.point.source_mode[0], LW_SOURCE_OFF);
    assert_true(path.point.exists);
    lw_ladder_path_finish(&path);
}

// 40 nodes of 0.9 W run on 2.5 A, but 40 start-up currents of 0.09 A are 3.6 A: a dip that throws
// all of them off locks the chain up, one that throws nobody off does not.
static void after_a_dip_a_chain_can_stay_down(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 40);
    chain_fill(&chain, 0.001, 0.001, power_load(0.9));
    struct lw_source *source = chain_feed(&chain, 0, 24.0, 0.02, 0.0, 2.5);
    struct lw_error error = {0};
    static const enum lw_past_limit kinds[] = {LW_CONSTANT_CURRENT, LW_FOLD_BACK};
    for (size_t k = 0; k < 2; k++) {
        struct lw_ladder_path path;
        source->past_limit = kinds[k];
        source->fold_back_a = 0.5;
        assert_int_equal(lw_ladder_after_dip(&chain.ladder, 0.9, &path, &error), LW_OK);
        assert_true(path.all_on);
        lw_ladder_path_finish(&path);
        assert_int_equal(lw_ladder_after_dip(&chain.ladder, 0.5, &path, &error), LW_OK);
        assert_false(path.all_on);
        assert_true(path.trapped[0] && path.trapped[39]);
        assert_true(path.all_on_exists);
        lw_ladder_path_finish(&path);
    }
}

// What a node draws must fit its state and its voltage, whatever the path.
static void assert_fits(const struct lw_load *load, enum lw_load_state state, double at_v,
                        double amperes)
{
    if (state == LW_LOAD_RUNNING) {
        assert_true(at_v >= load->drop_out_v - 1e-9);
    } else if (state == LW_LOAD_OFF || at_v < load->drop_out_v - 0.00101) {
        assert_true(fabs(amperes) < 1e-9);
    } else if (at_v > load->drop_out_v + 2e-9) {
        assert_true(fabs(amperes - load->start_up_a) < 1e-9);
    } else {
        assert_true(amperes > -1e-9 && amperes < load->start_up_a + 1e-6);
    }
    assert_true(state != LW_LOAD_WAITING || at_v < load->start_v);
}

static void every_path_ends_in_a_state_that_holds_itself(void **state)
{
    (void)state;
    uint64_t seed = 404;
    int trapped = 0;
    int shed = 0;
    for (int trial = 0; trial < 400; trial++) {
        struct chain chain;
        chain_draw(&chain, 1 + draw_below(&seed, 40), &seed);
        double heavier = exp(draw_in(&seed, 0.0, 3.0));
        for (size_t i = 0; i < chain.ladder.tap_count; i++) {
            struct lw_load *load = &chain.taps[i].load;
            load->value *= load->kind == LW_LOAD_RESISTOR ? 1.0 / heavier : heavier;
            load->start_up_a *= exp(draw_in(&seed, 0.0, 2.0));
        }
        for (size_t s = 0; s < chain.ladder.source_count; s++) {
            chain.sources[s].past_limit = (enum lw_past_limit)draw_below(&seed, 4);
            chain.sources[s].fold_back_a =
                isinf(chain.sources[s].limit_a) ? 0.0 : 0.3 * chain.sources[s].limit_a;
            if (isinf(chain.sources[s].limit_a)) {
                chain.sources[s].past_limit = LW_CONSTANT_CURRENT;
            }
        }
        struct lw_ladder_path path = cold(&chain.ladder);
        assert_true(path.point.exists);
        for (size_t i = 0; i < chain.ladder.tap_count; i++) {
            if (chain.taps[i].load.kind != LW_LOAD_NONE) {
                assert_fits(&chain.taps[i].load, path.point.load_state[i], volts(&path.point, i),
                            path.point.load_a[i]);
            }
            trapped += path.trapped[i];
        }
        shed += path.shed_count > 0;
        lw_ladder_path_finish(&path);
    }
    print_message("400 cold starts: %d nodes trapped, %d starts with nodes shed\n", trapped, shed);
    assert_true(trapped > 100 && shed > 10);
}

static void a_step_sheds_starts_and_says_so(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 2);
    chain_fill(&chain, 0.5, 0.5, power_load(2.0));
    chain_feed(&chain, 0, 24.0, 0.1, 0.0, INFINITY);
    struct lw_point point;
    struct lw_error error = {0};
    bool changed = false;
    assert_int_equal(lw_point_init(&chain.ladder, &point, &error), LW_OK);
    point.load_state[0] = LW_LOAD_WAITING;
    point.load_state[1] = LW_LOAD_WAITING;
    assert_int_equal(lw_ladder_step(&chain.ladder, &point, &changed, &error), LW_OK);
    assert_true(changed);
    assert_int_equal(point.load_state[1], LW_LOAD_RUNNING);
    assert_int_equal(lw_ladder_step(&chain.ladder, &point, &changed, &error), LW_OK);
    assert_false(changed);
    chain.sources[0].volts = 15.0;
    assert_int_equal(lw_ladder_step(&chain.ladder, &point, &changed, &error), LW_OK);
    assert_true(changed);
    assert_int_equal(point.load_state[0], LW_LOAD_OFF);
    lw_point_finish(&point);
}

// The transfer resistances of a small chain whose sources are plain voltages behind resistances:
// volts[i] = no_load[i] - sum over j of ohm[i][j] * load_a[j].
enum { MOST_NODES = 12, MOST_ROWS = 2 * MOST_NODES + 1 };

struct judge {
    const struct lw_ladder *ladder;
    double no_load_v[MOST_NODES];
    double ohm[MOST_NODES][MOST_NODES];
};

static void add_branch(double matrix[MOST_ROWS][MOST_ROWS], size_t one, size_t other,
                       double siemens)
{
    matrix[one][one] += siemens;
    matrix[other][other] += siemens;
    matrix[one][other] -= siemens;
    matrix[other][one] -= siemens;
}

// Rows: V+ of tap i, 0 V of tap i, frame. A trace to ground per stretch makes floating parts
// definite; at 1e-9 S it moves no voltage by more than some 1e-7 V.
static void build_matrix(const struct lw_ladder *ladder, double matrix[MOST_ROWS][MOST_ROWS])
{
    size_t count = ladder->tap_count;
    for (size_t i = 0; i < count; i++) {
        bool begins = i == 0 || ladder->taps[i].cut_zero || ladder->taps[i].cut_plus;
        matrix[count + i][count + i] += begins ? 1e-9 : 0.0;
        if (i > 0 && !ladder->taps[i].cut_plus) {
            add_branch(matrix, i - 1, i, 1.0 / ladder->taps[i].span_plus_ohm);
        }
        if (i > 0 && !ladder->taps[i].cut_zero) {
            add_branch(matrix, count + i - 1, count + i, 1.0 / ladder->taps[i].span_zero_ohm);
        }
    }
    for (size_t s = 0; s < ladder->source_count; s++) {
        const struct lw_source *source = &ladder->sources[s];
        add_branch(matrix, source->tap, count + source->tap,
                   1.0 / (source->plus_ohm + source->zero_ohm));
    }
    matrix[2 * count][2 * count] += 1e-9;
    for (size_t b = 0; b < ladder->bond_count; b++) {
        add_branch(matrix, count + ladder->bonds[b].tap, 2 * count, 1.0 / ladder->bonds[b].ohm);
    }
}

// Gauss-Jordan with row exchange on `rows` rows; the right-hand side becomes the solution.
static void solve_dense(double matrix[MOST_ROWS][MOST_ROWS], double *right, size_t rows)
{
    for (size_t k = 0; k < rows; k++) {
        size_t best = k;
        for (size_t r = k + 1; r < rows; r++) {
            best = fabs(matrix[r][k]) > fabs(matrix[best][k]) ? r : best;
        }
        for (size_t c = 0; c < rows; c++) {
            double held = matrix[k][c];
            matrix[k][c] = matrix[best][c];
            matrix[best][c] = held;
        }
        double held = right[k];
        right[k] = right[best];
        right[best] = held;
        for (size_t r = 0; r < rows; r++) {
            double share = r == k ? 0.0 : matrix[r][k] / matrix[k][k];
            for (size_t c = k; c < rows && share != 0.0; c++) {
                matrix[r][c] -= share * matrix[k][c];
            }
            right[r] -= share * right[k];
        }
    }
    for (size_t k = 0; k < rows; k++) {
        right[k] /= matrix[k][k];
    }
}

static void between_rails(const struct lw_ladder *ladder, double *right, double *volts_out)
{
    double matrix[MOST_ROWS][MOST_ROWS] = {{0.0}};
    build_matrix(ladder, matrix);
    solve_dense(matrix, right, 2 * ladder->tap_count + 1);
    for (size_t i = 0; i < ladder->tap_count; i++) {
        volts_out[i] = right[i] - right[ladder->tap_count + i];
    }
}

static void judge_init(struct judge *judge, const struct lw_ladder *ladder)
{
    *judge = (struct judge){.ladder = ladder};
    size_t count = ladder->tap_count;
    double right[MOST_ROWS] = {0.0};
    for (size_t s = 0; s < ladder->source_count; s++) {
        const struct lw_source *source = &ladder->sources[s];
        double amperes = source->volts / (source->plus_ohm + source->zero_ohm);
        right[source->tap] += amperes;
        right[count + source->tap] -= amperes;
    }
    between_rails(ladder, right, judge->no_load_v);
    for (size_t j = 0; j < count; j++) {
        double unit[MOST_ROWS] = {0.0};
        double column[MOST_NODES];
        unit[j] = 1.0;
        unit[count + j] = -1.0;
        between_rails(ladder, unit, column);
        for (size_t i = 0; i < count; i++) {
            judge->ohm[i][j] = column[i];
        }
    }
}

static double drawn_a(const struct lw_load *load, double at_v)
{
    return load->kind == LW_LOAD_POWER     ? load->value / at_v
           : load->kind == LW_LOAD_CURRENT ? load->value
                                           : at_v / load->value;
}

// The highest operating point of one pattern, by repeated substitution. False when a voltage falls
// to 0, or still falls after many rounds.
static bool judge_solve(const struct judge *judge, unsigned pattern, double *volts_out)
{
    size_t count = judge->ladder->tap_count;
    memcpy(volts_out, judge->no_load_v, count * sizeof(*volts_out));
    for (int round = 0; round < 20000; round++) {
        double amperes[MOST_NODES] = {0.0};
        for (size_t i = 0; i < count; i++) {
            amperes[i] =
                pattern >> i & 1U ? drawn_a(&judge->ladder->taps[i].load, volts_out[i]) : 0.0;
        }
        double change_v = 0.0;
        for (size_t i = 0; i < count; i++) {
            double next_v = judge->no_load_v[i];
            for (size_t j = 0; j < count; j++) {
                next_v -= judge->ohm[i][j] * amperes[j];
            }
            change_v = fmax(change_v, fabs(next_v - volts_out[i]));
            volts_out[i] = next_v;
            if (!(next_v > 0.0)) {
                return false;
            }
        }
        if (change_v < 1e-11) {
            return true;
        }
    }
    return false;
}

static bool judge_consistent(const struct judge *judge, unsigned pattern, const double *at_v)
{
    for (size_t i = 0; i < judge->ladder->tap_count; i++) {
        if ((pattern >> i & 1U) && at_v[i] < judge->ladder->taps[i].load.drop_out_v) {
            return false;
        }
    }
    return true;
}

static unsigned pattern_of(const struct lw_point *point, size_t count)
{
    unsigned pattern = 0;
    for (size_t i = 0; i < count; i++) {
        pattern |= (unsigned)(point->load_state[i] == LW_LOAD_RUNNING) << i;
    }
    return pattern;
}

// A small chain with heavy loads on thin cable and plain sources.
static unsigned draw_starved(struct chain *chain, uint64_t *seed)
{
    size_t count = 1 + draw_below(seed, MOST_NODES);
    chain_draw(chain, count, seed);
    for (size_t s = 0; s < chain->ladder.source_count; s++) {
        chain->sources[s].limit_a = INFINITY;
        chain->sources[s].reverse = LW_REVERSE_SINKS;
    }
    double heavier = exp(draw_in(seed, 0.0, 6.0));
    unsigned everybody = 0;
    for (size_t i = 0; i < count; i++) {
        struct lw_load *load = &chain->taps[i].load;
        load->value *= load->kind == LW_LOAD_RESISTOR ? 1.0 / heavier : heavier;
        chain->taps[i].span_plus_ohm *= 20.0;
        chain->taps[i].span_zero_ohm *= 20.0;
        everybody |= (unsigned)(load->kind != LW_LOAD_NONE) << i;
    }
    return everybody;
}

// Whether `pattern` is among the states that hold themselves; counts them.
static bool enumerate(const struct judge *judge, unsigned everybody, unsigned pattern, int *states)
{
    bool found = false;
    *states = 0;
    for (unsigned other = 0; other <= everybody; other++) {
        double at_v[MOST_NODES];
        if ((other & ~everybody) == 0 && judge_solve(judge, other, at_v) &&
            judge_consistent(judge, other, at_v)) {
            ++*states;
            found = found || other == pattern;
        }
    }
    return found;
}

static void the_rule_ends_in_a_state_that_enumeration_finds(void **state)
{
    (void)state;
    uint64_t seed = 20261125;
    int shedding = 0;
    int without = 0;
    int most_states = 0;
    for (int trial = 0; trial < 100; trial++) {
        struct chain chain;
        unsigned everybody = draw_starved(&chain, &seed);
        struct lw_ladder_path path = running(&chain.ladder);
        struct judge judge;
        judge_init(&judge, &chain.ladder);
        double at_v[MOST_NODES];
        bool solvable = judge_solve(&judge, everybody, at_v);
        assert_int_equal(path.all_on_exists, solvable);
        assert_int_equal(path.all_on, solvable && judge_consistent(&judge, everybody, at_v));
        unsigned pattern = pattern_of(&path.point, chain.ladder.tap_count);
        int states;
        assert_true(enumerate(&judge, everybody, pattern, &states));
        assert_true(judge_solve(&judge, pattern, at_v));
        for (size_t i = 0; i < chain.ladder.tap_count; i++) {
            assert_true(fabs(at_v[i] - volts(&path.point, i)) < 1e-6);
        }
        shedding += path.shed_count > 0;
        without += !path.all_on_exists;
        most_states = states > most_states ? states : most_states;
        lw_ladder_path_finish(&path);
    }
    print_message("of 100 chains %d shed, %d have no operating point with all on; up to %d states "
                  "hold themselves\n",
                  shedding, without, most_states);
    assert_true(shedding >= 20 && without >= 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_healthy_chain_keeps_everybody_on),
        cmocka_unit_test(nodes_are_shed_from_the_far_end_one_by_one),
        cmocka_unit_test(a_shed_node_that_would_start_again_resets_in_turn),
        cmocka_unit_test(a_cold_start_needs_the_start_up_current_of_all),
        cmocka_unit_test(a_latched_supply_takes_its_whole_chain_down),
        cmocka_unit_test(after_a_dip_a_chain_can_stay_down),
        cmocka_unit_test(every_path_ends_in_a_state_that_holds_itself),
        cmocka_unit_test(a_step_sheds_starts_and_says_so),
        cmocka_unit_test(the_rule_ends_in_a_state_that_enumeration_finds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
