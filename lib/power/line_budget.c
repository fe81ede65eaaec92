// SPDX-License-Identifier: GPL-3.0-or-later
//
// Direct current on the data pair, and its rules of thumb.
#include "power/line_budget.h"

#include <math.h>

static const double light_m_per_s = 299792458.0;

static bool has_bias(const struct lw_segment *segment)
{
    return segment->bias_supply_v > 0.0;
}

static double terminated_s(const struct lw_segment *segment)
{
    double siemens = 0.0;
    for (size_t i = 0; i < segment->terminator_count; i++) {
        siemens += 1.0 / segment->terminator_ohm[i];
    }
    return siemens;
}

void lw_line_load(const struct lw_segment *segment, double threshold_v, struct lw_line_load *load)
{
    double line_s = terminated_s(segment) + segment->unit_loads / LW_UNIT_LOAD_OHM;
    double bias_ohm = segment->pull_up_ohm + segment->pull_down_ohm;
    *load = (struct lw_line_load){.terminated_ohm = 1.0 / terminated_s(segment)};
    if (has_bias(segment)) {
        // The divider: bias resistors against all that lies between the lines.
        load->idle_v = segment->bias_supply_v / (1.0 + bias_ohm * line_s);
        line_s += 1.0 / bias_ohm;
    }
    load->driver_ohm = 1.0 / line_s;
    double room = LW_MOST_UNIT_LOADS - (has_bias(segment) ? LW_BIAS_COSTS_NODES : 0.0);
    load->too_many_loads = segment->unit_loads > room;
    load->driver_overloaded = load->driver_ohm < LW_TEST_LOAD_OHM;
    load->idle_undefined = load->idle_v < threshold_v;
}

double lw_biased_end_ohm(double bias_ohm, double cable_ohm)
{
    return 2.0 * bias_ohm > cable_ohm ? bias_ohm * cable_ohm / (bias_ohm - 0.5 * cable_ohm)
                                      : INFINITY;
}

double lw_longest_line_m(double bit_per_s, double length_rate)
{
    return length_rate / bit_per_s;
}

double lw_longest_stub_m(double rise_s, double velocity)
{
    return rise_s / 10.0 * velocity * light_m_per_s;
}

double lw_slowest_rise_s(double bit_per_s)
{
    return 0.3 / bit_per_s;
}

double lw_common_mode_margin_v(double rise_v)
{
    double above_v = LW_RECEIVER_HIGH_V - (LW_DRIVER_HIGH_V + rise_v);
    double below_v = (LW_DRIVER_LOW_V - rise_v) - LW_RECEIVER_LOW_V;
    return fmin(above_v, below_v);
}

static double silence_s(double bit_per_s, double bits_per_character)
{
    return bit_per_s > 19200.0 ? 0.00175 : 3.5 * bits_per_character / bit_per_s;
}

double lw_cycle_s(const struct lw_poll *polls, size_t count, double bit_per_s,
                  double bits_per_character)
{
    double seconds = 0.0;
    for (size_t i = 0; i < count; i++) {
        double bytes = (double)polls[i].request_bytes + (double)polls[i].reply_bytes;
        seconds += bytes * bits_per_character / bit_per_s + polls[i].latency_s +
                   2.0 * silence_s(bit_per_s, bits_per_character);
    }
    return seconds;
}
