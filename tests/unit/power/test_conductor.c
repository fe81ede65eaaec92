// SPDX-License-Identifier: GPL-3.0-or-later
//
// Published resistances of copper conductors.
#include "power/conductor.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static double per_km(struct lw_conductor conductor, enum lw_conductor_end end, bool *from_table)
{
    double ohm_per_km = 0.0;
    struct lw_error error = {0};
    conductor.parallel = 1;
    assert_int_equal(lw_conductor_ohm_per_km(&conductor, end, &ohm_per_km, from_table, &error),
                     LW_OK);
    return ohm_per_km;
}

static void near(double value, double published, double share)
{
    if (!(fabs(value - published) <= share * published)) {
        fail_msg("%.6g is further than %g from %.6g", value, share, published);
    }
}

// IEC 60228, tables 1 to 3, maximum resistance at 20 C (as reprinted by cable makers).
static void sizes_of_the_table_have_its_maximum(void **state)
{
    (void)state;
    static const struct {
        double area_mm2, plain_2, plain_5, tinned_2, tinned_5;
    } rows[] = {{0.5, 36.0, 39.0, 36.7, 40.1},
                {0.75, 24.5, 26.0, 24.8, 26.7},
                {1.0, 18.1, 19.5, 18.2, 20.0},
                {1.5, 12.1, 13.3, 12.2, 13.7},
                {2.5, 7.41, 7.98, 7.56, 8.21}};
    for (size_t i = 0; i < sizeof(rows) / sizeof(*rows); i++) {
        struct lw_conductor conductor = {.kind = LW_CONDUCTOR_AREA, .value = rows[i].area_mm2};
        bool known = false;
        near(per_km(conductor, LW_CONDUCTOR_MAXIMUM, &known), rows[i].plain_5, 1e-12);
        assert_true(known);
        conductor.tinned = true;
        near(per_km(conductor, LW_CONDUCTOR_MAXIMUM, NULL), rows[i].tinned_5, 1e-12);
        conductor.class_1_2 = true;
        near(per_km(conductor, LW_CONDUCTOR_MAXIMUM, NULL), rows[i].tinned_2, 1e-12);
        conductor.tinned = false;
        near(per_km(conductor, LW_CONDUCTOR_MAXIMUM, NULL), rows[i].plain_2, 1e-12);
    }
}

// IEC 60028: 1/58 ohm mm2/m, hence 1000 / 58 / area, worked out by hand for these sizes.
static void nominal_copper_follows_its_resistivity(void **state)
{
    (void)state;
    static const double areas[][2] = {{0.22, 78.4},  {0.25, 69.0},  {0.34, 50.7},  {0.5, 34.48},
                                      {0.75, 22.99}, {1.0, 17.241}, {1.5, 11.494}, {2.5, 6.896}};
    for (size_t i = 0; i < sizeof(areas) / sizeof(*areas); i++) {
        struct lw_conductor conductor = {.kind = LW_CONDUCTOR_AREA, .value = areas[i][0]};
        near(per_km(conductor, LW_CONDUCTOR_NOMINAL, NULL), areas[i][1], 1e-3);
    }
}

// Published AWG tables ("table 1728": wp.1728.org AWG calculator), ohm per km of solid copper at
// 20 C; tolerance 0.1 %, since those are rounded from ohm per 1000 ft.
static void awg_numbers_match_published_tables(void **state)
{
    (void)state;
    static const double published[] = {13.17, 16.61, 20.94,  26.41,  33.29,  41.98, 52.94,
                                       66.78, 84.20, 106.17, 133.86, 168.82, 212.87};
    for (size_t i = 0; i < sizeof(published) / sizeof(*published); i++) {
        struct lw_conductor conductor = {.kind = LW_CONDUCTOR_AWG, .value = 16.0 + (double)i};
        near(per_km(conductor, LW_CONDUCTOR_MAXIMUM, NULL), published[i], 1e-3);
    }
}

// ASTM B258: number 36 is 0.0050 inch and number 4/0 is 0.4600 inch.
static void awg_diameters_pass_through_their_two_definitions(void **state)
{
    (void)state;
    near(lw_awg_diameter_mm(36.0), 0.0050 * 25.4, 1e-12);
    near(lw_awg_diameter_mm(-3.0), 0.4600 * 25.4, 1e-12);
}

static void stranded_awg_lies_thirteen_per_cent_above_solid(void **state)
{
    (void)state;
    struct lw_conductor conductor = {.kind = LW_CONDUCTOR_AWG, .value = 20.0};
    double solid = per_km(conductor, LW_CONDUCTOR_MAXIMUM, NULL);
    conductor.stranded = true;
    near(per_km(conductor, LW_CONDUCTOR_MAXIMUM, NULL), 1.13 * solid, 1e-12);
    near(per_km(conductor, LW_CONDUCTOR_NOMINAL, NULL), solid, 1e-12);
}

static void a_size_outside_the_table_is_estimated_and_said(void **state)
{
    (void)state;
    struct lw_conductor conductor = {.kind = LW_CONDUCTOR_AREA, .value = 0.34};
    bool known = true;
    near(per_km(conductor, LW_CONDUCTOR_MAXIMUM, &known), 1.13 * 1000.0 / 58.0 / 0.34, 1e-12);
    assert_false(known);
}

static void warmth_length_and_parallel_conductors_count(void **state)
{
    (void)state;
    struct lw_conductor conductor = {.kind = LW_CONDUCTOR_OHM_PER_KM, .value = 39.0, .parallel = 2};
    double ohm = 0.0;
    struct lw_error error = {0};
    assert_int_equal(lw_conductor_ohm(&conductor, LW_CONDUCTOR_MAXIMUM, 100.0, 45.0, &ohm, &error),
                     LW_OK);
    // By hand: 3.9 ohm, x (1 + 0.00393 x 25) = 4.283175, halved.
    near(ohm, 2.1415875, 1e-12);
}

static void nonsense_is_refused(void **state)
{
    (void)state;
    struct lw_error error = {0};
    double ohm = 0.0;
    struct lw_conductor area = {.kind = LW_CONDUCTOR_AREA, .value = 0.0, .parallel = 1};
    assert_int_equal(lw_conductor_ohm(&area, LW_CONDUCTOR_MAXIMUM, 1.0, 20.0, &ohm, &error),
                     LW_BAD_FILE);
    area.value = 0.5;
    assert_int_equal(lw_conductor_ohm(&area, LW_CONDUCTOR_MAXIMUM, -1.0, 20.0, &ohm, &error),
                     LW_BAD_FILE);
    assert_int_equal(lw_conductor_ohm(&area, LW_CONDUCTOR_MAXIMUM, 1.0, NAN, &ohm, &error),
                     LW_BAD_FILE);
    area.parallel = 0;
    assert_int_equal(lw_conductor_ohm(&area, LW_CONDUCTOR_MAXIMUM, 1.0, 20.0, &ohm, &error),
                     LW_BAD_FILE);
    struct lw_conductor awg = {.kind = LW_CONDUCTOR_AWG, .value = 20.5, .parallel = 1};
    assert_int_equal(lw_conductor_ohm(&awg, LW_CONDUCTOR_MAXIMUM, 1.0, 20.0, &ohm, &error),
                     LW_BAD_FILE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sizes_of_the_table_have_its_maximum),
        cmocka_unit_test(nominal_copper_follows_its_resistivity),
        cmocka_unit_test(awg_numbers_match_published_tables),
        cmocka_unit_test(awg_diameters_pass_through_their_two_definitions),
        cmocka_unit_test(stranded_awg_lies_thirteen_per_cent_above_solid),
        cmocka_unit_test(a_size_outside_the_table_is_estimated_and_said),
        cmocka_unit_test(warmth_length_and_parallel_conductors_count),
        cmocka_unit_test(nonsense_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
