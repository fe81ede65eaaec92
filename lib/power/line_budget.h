// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the data pair is loaded with: unit loads, terminators, bias, stubs, length, the rise of 0 V,
// and the cycle that the rate allows. Direct current and rules of thumb; nothing here says that a
// line works, only that it keeps its own standard's numbers.
//
// Sources: TIA/EIA-485-A as summarised in TI SLLA628 and SLLA272 (32 unit loads, 54 ohm test load,
// 200 mV threshold, receivers over -7..+12 V, drivers -1..+3 V common mode); "MODBUS over Serial
// Line" V1.02 (terminators 3.4.5, polarization 3.4.6, silences 2.5.1.1, characters 2.5.1).
#ifndef LW_POWER_LINE_BUDGET_H
#define LW_POWER_LINE_BUDGET_H

#include <stdbool.h>
#include <stddef.h>

#define LW_UNIT_LOAD_OHM    12000.0 // one unit load, counted between the lines: the careful way
#define LW_MOST_UNIT_LOADS  32.0
#define LW_TEST_LOAD_OHM    54.0
#define LW_THRESHOLD_V      0.2
#define LW_RECEIVER_LOW_V   (-7.0)
#define LW_RECEIVER_HIGH_V  12.0
#define LW_DRIVER_LOW_V     (-1.0)
#define LW_DRIVER_HIGH_V    3.0
#define LW_BIAS_COSTS_NODES 4.0 // polarization takes the room of four devices (serial line 3.4.6)

// One segment: between repeaters or isolators, or the whole line. NAN or 0: not there.
struct lw_segment {
    double unit_loads;            // of the nodes, the controller and the tester, 0 or more
    const double *terminator_ohm; // each above 0
    size_t terminator_count;
    double bias_supply_v; // 0: no bias
    double pull_up_ohm, pull_down_ohm;
};

struct lw_line_load {
    double terminated_ohm;  // all terminators side by side; INFINITY: none
    double idle_v;          // D1 over D0 with all drivers off; 0 without bias
    double driver_ohm;      // what a driver sees: terminators, unit loads and bias
    bool too_many_loads;    // over LW_MOST_UNIT_LOADS, less LW_BIAS_COSTS_NODES with bias
    bool driver_overloaded; // driver_ohm below LW_TEST_LOAD_OHM: outside what drivers are tested at
    bool idle_undefined; // |idle_v| under LW_THRESHOLD_V: receivers without a fail-safe threshold
                         // of their own may take silence for a signal
};

// `threshold_v` is the receivers' upper threshold (LW_THRESHOLD_V unless the profile says better; 0
// or below for receivers that take 0 V as idle).
void lw_line_load(const struct lw_segment *segment, double threshold_v, struct lw_line_load *load);

// Terminator for the end where the bias sits, so that it and the bias in series match the cable:
// R_B x Z0 / (R_B - Z0 / 2) with two equal bias resistors (Renesas TB509). INFINITY when the bias
// alone is lower than the cable.
double lw_biased_end_ohm(double bias_ohm, double cable_ohm);

// Rules of thumb, and to be called so in every report. Length times rate, metres x bit/s: sources
// differ between 1e8 (which fits the published end points 12 m at 10 Mbit/s and 1200 m at
// 100 kbit/s) and a careful 1e7 (TI SLLA272).
#define LW_LENGTH_RATE_USUAL   1e8
#define LW_LENGTH_RATE_CAREFUL 1e7
double lw_longest_line_m(double bit_per_s, double length_rate);

// Longest stub for a driver's rise time (10 to 90 %): t_r / 10 x velocity x c (TI SLLA272).
// `velocity` is the share of the speed of light on the cable (0.66 to 0.78).
double lw_longest_stub_m(double rise_s, double velocity);

// Largest rise time that TIA/EIA-485-A allows at this rate: 30 % of a bit.
double lw_slowest_rise_s(double bit_per_s);

// Whether receivers stay inside -7..+12 V when the 0 V of driver and receiver differ by up to
// `rise_v` (>= 0) either way, drivers at -1..+3 V common mode: `margin_v` is what is left, below 0
// when it is too much.
double lw_common_mode_margin_v(double rise_v);

// One exchange of a poll: bytes each way with address and CRC, and the node's own latency.
struct lw_poll {
    size_t request_bytes, reply_bytes;
    double latency_s;
};

// Seconds for one round of `count` polls: characters of `bits_per_character` (11), the silence
// after each frame (3.5 characters; fixed 1.75 ms above 19200 bit/s) and the latencies. No retries,
// no adapter: the least a cycle can take.
double lw_cycle_s(const struct lw_poll *polls, size_t count, double bit_per_s,
                  double bits_per_character);

#endif
