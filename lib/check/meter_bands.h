// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a hand meter ought to show, from the plan. Pure: a plan in, numbers out. A band is what is
// allowed; where the plan also tells what will be seen, that is the narrower expectation inside it.
//
// Sources: terminators of 120 ohm at both ends show 60 ohm across the pair with the drivers off (TI
// SLLA272), receivers of 12 kohm a unit load (TIA/EIA-485-A as in TI SLLSFU5A) and a bias on D1 and
// D0 ("MODBUS over Serial Line" V1.02, 3.4.6) lie beside them; AWG 24 as the thinnest data pair of
// that guide (3.6).
#ifndef LW_CHECK_METER_BANDS_H
#define LW_CHECK_METER_BANDS_H

#include "site/plan.h"

// NAN: no limit on that side, nothing expected.
struct lw_meter_band {
    double low, high;
    double expected_low, expected_high;
};

// How far terminators and bias resistors may be from their marked value: of the 5 % series, common
// practice.
#define LW_METER_RESISTOR_SHARE 0.05
// Continuity by a hand meter: below this a connection is there, and its quality not proved (common
// practice).
#define LW_METER_CONTINUITY_OHM 1.0
// A rail at rest is called dead below this.
#define LW_METER_DEAD_V 0.5
// 0 V with its bond opened: no second way to the frame above this (common practice).
#define LW_METER_OPEN_OHM 10e3
// A supply's terminals under load may be this far from nominal, or as far as its tolerance says
// (common practice).
#define LW_METER_SUPPLY_SHARE 0.05
// What a hand meter may see between 0 V and the frame beside the computed rise (common practice).
#define LW_METER_FRAME_SPREAD_V 0.1

// Terminators by taps and the pair's loop resistance, both wires there and back, of every span
// between them, seen by an ohm meter at one of the taps. Arrays of `taps`; terminator_ohm INFINITY:
// none there; loop_ohm[0] is not looked at. `at` counts from 0. INFINITY without any terminator.
double lw_meter_pair_ohm(const double *terminator_ohm, const double *loop_ohm, size_t taps,
                         size_t at);

// The pair D1 to D0 at a tap (from 1), all drivers off. Low: all receivers at their full unit load,
// the bias across a supply rail that is as good as a short, terminators at the low end, no copper.
// High: receivers and bias that do not load at all, terminators at the high end, AWG 24 between
// them. Repeaters and isolators end a pair. A plan without terminators: low as said, no upper
// limit.
struct lw_meter_band lw_meter_pair_band(const struct lw_plan *plan, size_t tap);
// The same with terminators left out (below 0) or of the same ohm too many (above): what a reading
// outside its band would fit. False when the plan has fewer.
bool lw_meter_pair_band_if(const struct lw_plan *plan, size_t tap, int terminators,
                           struct lw_meter_band *band);
// D1 (or D0) to 0 V of the pair at a tap, all drivers off: not below receivers at full load with
// the bias; with a bias of the plan on that pair not above what that alone gives.
struct lw_meter_band lw_meter_pair_zero_band(const struct lw_plan *plan, size_t tap, bool d1);
// D1 over D0 with nobody sending: at least the receivers' threshold where the plan has a bias.
struct lw_meter_band lw_meter_idle_band(const struct lw_plan *plan, size_t tap);
// V+ to 0 V with the supplies off: not below what the loads would be as plain resistors at the
// first supply's voltage; 10 ohm where the profiles name no load (common practice).
struct lw_meter_band lw_meter_rails_band(const struct lw_plan *plan, struct lw_error *error);
// From a supply's V+ terminal to V+ at its tap: continuity.
struct lw_meter_band lw_meter_lead_band(const struct lw_plan *plan, size_t supply,
                                        struct lw_error *error);
// Rating of the fuse in a supply's lead: above its share of the draw at 80 % of the fuse (common
// practice), not above what the thinnest span is rated for.
struct lw_meter_band lw_meter_fuse_band(const struct lw_plan *plan, size_t supply,
                                        struct lw_error *error);

// What is measured with the power on, all nodes running. LW_BAD_FILE as lw_plan_ladder().
struct lw_meter_volts {
    size_t taps, supplies;
    double *lowest_v, *highest_v; // per tap: the far ends of all tolerances
    double *rise_v;               // per tap: 0 V over the bond, the larger of both ends
    double *lowest_a, *highest_a; // per supply
};
enum lw_status lw_meter_volts_init(const struct lw_plan *plan, struct lw_meter_volts *volts,
                                   struct lw_error *error);
void lw_meter_volts_finish(struct lw_meter_volts *volts);
// Taps and supplies from 1 and from 0 as in the plan.
struct lw_meter_band lw_meter_tap_band(const struct lw_plan *plan,
                                       const struct lw_meter_volts *volts, size_t tap);
struct lw_meter_band lw_meter_supply_band(const struct lw_plan *plan, size_t supply);
struct lw_meter_band lw_meter_draw_band(const struct lw_plan *plan,
                                        const struct lw_meter_volts *volts, size_t supply);
struct lw_meter_band lw_meter_rise_band(const struct lw_plan *plan,
                                        const struct lw_meter_volts *volts, size_t tap);

#endif
