// SPDX-License-Identifier: GPL-3.0-or-later
//
// Guided hand-meter steps: with the power off whether anything is shorted, swapped, missing or
// bonded twice, with the power on what arrives. Each value is held against its band with the
// meter's own uncertainty.
#ifndef LW_CHECK_METER_H
#define LW_CHECK_METER_H

#include "check/meter_bands.h"
#include "site/record.h"

enum lw_meter_kind {
    // power off
    LW_METER_DEAD,      // V+ to 0 V, volts: nothing is measured in ohms before this is under 0.5 V
    LW_METER_TIPS,      // the tips held together, ohm: taken off the resistances that follow
    LW_METER_RAILS,     // V+ to 0 V, ohm
    LW_METER_LEAD,      // a supply's V+ terminal to V+ at its tap, ohm: polarity
    LW_METER_PAIR,      // D1 to D0, ohm
    LW_METER_D1_ZERO,   // D1 to 0 V, ohm
    LW_METER_D0_ZERO,   // D0 to 0 V, ohm
    LW_METER_SHIELD,    // D1 to shield, ohm
    LW_METER_BOND,      // 0 V to the frame with the bond closed, ohm
    LW_METER_BOND_OPEN, // the same with the bond opened
    LW_METER_FUSE,      // rating of the fuse in a supply's lead, A, read and not measured
    // power on
    LW_METER_SUPPLY,  // V+ to 0 V at a supply's terminals, volts
    LW_METER_DRAW,    // through them, A
    LW_METER_TAP,     // V+ to 0 V at a tap, volts
    LW_METER_IDLE,    // D1 over D0, nobody sending, volts
    LW_METER_FRAME_V, // 0 V at the far end over the frame, volts
};
bool lw_meter_power_on(enum lw_meter_kind kind);

// One thing to measure. Plain memory.
struct lw_meter_step {
    enum lw_meter_kind kind;
    size_t tap;    // from 1; 0: at the supply
    size_t supply; // index, where the kind is about one
    struct lw_meter_band band;
};
// What the plan gives reason to measure, in order, as struct lw_meter_step: the head and the far
// end, every supply, the tap that will have the lowest voltage, and those `selected` (a flag per
// tap, NULL: none). A plan that cannot be computed (spans without length) leaves the voltages
// without expectation. LW_MEMORY.
enum lw_status lw_meter_steps(const struct lw_plan *plan, const bool *selected,
                              struct lw_list *steps, struct lw_error *error);

// Its id ("off.pair.P01"), the terminals as the file of values names them ("V+", "0V", "D1", "D0",
// "frame", "shield", "V+@P01" at another tap; "" where there is none), and where ("PS1", "P24",
// "3").
struct lw_meter_words {
    char id[48], at[40], to[48];
    const char *from, *unit;
};
void lw_meter_words(const struct lw_plan *plan, const struct lw_meter_step *step,
                    struct lw_meter_words *words);

// The maker's limits: half widths, a share of the value and a fixed part.
struct lw_meter_instrument {
    char *name, *serial, *due_on; // due_on NULL: it has no certificate
    double volt_pct, volt_fixed, ohm_pct, ohm_fixed, amp_pct, amp_fixed;
};
struct lw_meter_reading {
    char *id, *at, *from, *to, *unit;
    int tap;   // 0: at a supply
    bool open; // beyond the meter's range
    bool left; // left out
    bool read; // read from a label, not measured: no uncertainty
    double value, low, high, expected_low, expected_high, uncertainty; // NAN: none
    int verdict;
};
struct lw_meter_result {
    char *made_sure_by; // that the drives were locked out; NULL: not asked
    struct lw_meter_instrument instrument;
    double tips_ohm;         // taken off the resistances; NAN: not measured
    char *earth_by;          // the qualified person who tested the protective conductor
    double earth_ohm;        // what that person said, not judged here; NAN: not said
    bool earth_left;         // left to a qualified person
    struct lw_list readings; // of struct lw_meter_reading
};
extern const struct lw_shape lw_meter_shape;

// Standard uncertainty of a value in V, A or ohm: the maker's limits taken as even, divided by the
// square root of 3 (JCGM 100:2008, 4.3.7).
double lw_meter_uncertainty(const struct lw_meter_instrument *instrument, const char *unit,
                            double value);
// A value (INFINITY: open) against a band at one-sided 95 % confidence, the uncertainty counting
// against both proofs (ISO 14253-1:2017): pass, fail or undecided; attention inside the band but
// proved outside the expectation; not tested where there is no band.
enum lw_verdict lw_meter_judge(const struct lw_meter_band *band, double value, double uncertainty);

// Adds what was measured in a step: `value` as typed (INFINITY: open; NAN: left out). LW_MEMORY.
enum lw_status lw_meter_take(const struct lw_plan *plan, const struct lw_meter_step *step,
                             double value, struct lw_meter_result *result, struct lw_error *error);
// The findings of what was measured. `today` is days since 1970-01-01, for the certificate.
void lw_meter_findings(const struct lw_plan *plan, const struct lw_list *steps,
                       const struct lw_meter_result *result, int64_t today,
                       struct lw_findings *findings);
// The values as the file that `linewalk supply --meter` takes: see docs/formats/meter.md.
void lw_meter_csv(const struct lw_meter_result *result, struct lw_text *out);

#endif
