// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a hand meter says of the supply, put beside what was computed. It reads what voltmeters in
// nodes cannot: one rail by itself, the supply's own terminals, 0 V against the machine's frame.
#include "check/supply_inside.h"

// A voltage or current that the plan names without saying how it was measured: a plain hand meter.
static const double plan_u_v = 0.02, plan_u_a_share = LW_METER_SHARE;

static bool between(const struct lw_meter_value *value, enum lw_terminal from, enum lw_terminal to)
{
    return value->from.terminal == from && value->to.terminal == to;
}

static bool is_rail(enum lw_terminal terminal)
{
    return terminal == LW_TERMINAL_V_PLUS || terminal == LW_TERMINAL_ZERO_V;
}

static double whole_u(const struct lw_meter_file *file, const struct lw_meter_value *value)
{
    return hypot(lw_meter_common_u(file, value), lw_meter_own_u(file, value));
}

static void take_plan(const struct lw_plan *plan, struct lw_supply_result *result)
{
    const struct lw_supply *planned = plan->supplies.items;
    struct lw_supply_supply *supplies = result->supplies.items;
    for (size_t i = 0; i < result->supplies.count; i++) {
        supplies[i].measured_v = planned[i].measured_v;
        supplies[i].measured_a = planned[i].measured_a;
        supplies[i].measured_u_v = isfinite(planned[i].measured_v) ? plan_u_v : NAN;
        supplies[i].measured_u_a = plan_u_a_share * planned[i].measured_a;
    }
}

static bool take_at_supply(const struct lw_meter_file *file, const struct lw_meter_value *value,
                           struct lw_supply_supply *supply)
{
    if (value->quantity == LW_METER_AMPS && is_rail(value->from.terminal)) {
        supply->measured_a = fabs(value->value);
        supply->measured_u_a = whole_u(file, value);
        return true;
    }
    if (value->quantity == LW_METER_VOLTS &&
        between(value, LW_TERMINAL_V_PLUS, LW_TERMINAL_ZERO_V)) {
        supply->measured_v = value->value;
        supply->measured_u_v = whole_u(file, value);
        return true;
    }
    return false;
}

static bool take_at_tap(const struct lw_meter_file *file, const struct lw_meter_value *value,
                        struct lw_supply_tap *tap)
{
    if (value->quantity == LW_METER_VOLTS && value->from.tap == value->to.tap &&
        between(value, LW_TERMINAL_V_PLUS, LW_TERMINAL_ZERO_V)) {
        tap->hand_v = value->value;
        tap->hand_u_v = whole_u(file, value);
    }
    bool rails = is_rail(value->from.terminal) && is_rail(value->to.terminal);
    return value->quantity == LW_METER_VOLTS &&
           (rails || between(value, LW_TERMINAL_ZERO_V, LW_TERMINAL_FRAME));
}

void lw_supply_take_hand(const struct lw_plan *plan, const struct lw_meter_file *file,
                         struct lw_supply_result *result)
{
    struct lw_supply_supply *supplies = result->supplies.items;
    struct lw_supply_tap *taps = result->taps.items;
    take_plan(plan, result);
    result->hand_values = result->hand_used = 0;
    if (file == NULL) {
        return;
    }
    result->hand_meter =
        lw_duplicate(file->instrument[0] != '\0' ? file->instrument : "a hand meter");
    result->hand_values = (double)file->values.count;
    for (size_t i = 0; i < file->values.count; i++) {
        const struct lw_meter_value *value = (const struct lw_meter_value *)file->values.items + i;
        bool used = isfinite(value->value) &&
                    (value->from.tap == 0 ? take_at_supply(file, value, &supplies[value->supply])
                                          : take_at_tap(file, value, &taps[value->from.tap - 1]));
        result->hand_used += used;
    }
}

static struct lw_probe probe_of(const struct lw_meter_file *file,
                                const struct lw_meter_value *value)
{
    return (struct lw_probe){
        .meter = {.volts = value->value,
                  .node_u_v = lw_meter_own_u(file, value),
                  .kind_u_v = lw_meter_common_u(file, value),
                  .kind = -1},
        .tap = {value->from.tap - 1, value->to.tap - 1},
        .rail = {value->from.terminal == LW_TERMINAL_V_PLUS ? LW_RAIL_PLUS : LW_RAIL_ZERO,
                 value->to.terminal == LW_TERMINAL_V_PLUS ? LW_RAIL_PLUS : LW_RAIL_ZERO},
    };
}

enum lw_status lw_supply_probes(const struct lw_meter_file *file, struct lw_list *probes,
                                struct lw_error *error)
{
    for (size_t i = 0; file != NULL && i < file->values.count; i++) {
        const struct lw_meter_value *value = (const struct lw_meter_value *)file->values.items + i;
        if (value->quantity != LW_METER_VOLTS || !isfinite(value->value) || value->from.tap == 0 ||
            value->to.tap == 0 || !is_rail(value->from.terminal) || !is_rail(value->to.terminal)) {
            continue;
        }
        struct lw_probe *probe = lw_list_add(probes, sizeof *probe);
        if (probe == NULL) {
            return lw_fail(error, LW_MEMORY, "no memory for hand-meter values");
        }
        *probe = probe_of(file, value);
    }
    return LW_OK;
}

// Drops along one rail: what was measured and what is planned, in all.
struct drops {
    double measured_v, planned_v, own_square;
};

static double rail_v(const struct lw_supply_result *result, size_t tap, enum lw_terminal terminal)
{
    const struct lw_supply_tap *at = (const struct lw_supply_tap *)result->taps.items + (tap - 1);
    return at->zero_rise_v + (terminal == LW_TERMINAL_V_PLUS ? at->volts : 0);
}

// Where 0 V meets the frame, at one place alone, the frame stands for 0 V there.
static size_t frame_tap(const struct lw_plan *plan)
{
    const struct lw_zero_v_bond *bonds = plan->zero_v_bonds.items;
    return plan->zero_v_bonds.count == 1 ? lw_plan_at(plan, bonds[0].at) : 0;
}

static void add_drop(const struct lw_supply_result *result, const struct lw_meter_file *file,
                     const struct lw_meter_value *value, size_t to_tap, struct drops *drops)
{
    double planned_v = rail_v(result, value->from.tap, value->from.terminal) -
                       rail_v(result, to_tap, value->from.terminal);
    double own_u_v = lw_meter_own_u(file, value);
    // Either way round is the same drop.
    double sign = planned_v < 0 ? -1 : 1;
    drops->planned_v += sign * planned_v;
    drops->measured_v += sign * value->value;
    drops->own_square += own_u_v * own_u_v;
}

static void gather_drops(const struct lw_plan *plan, const struct lw_meter_file *file,
                         const struct lw_supply_result *result, struct drops *plus,
                         struct drops *zero)
{
    for (size_t i = 0; i < file->values.count; i++) {
        const struct lw_meter_value *value = (const struct lw_meter_value *)file->values.items + i;
        if (value->quantity != LW_METER_VOLTS || !isfinite(value->value) || value->from.tap == 0) {
            continue;
        }
        if (value->from.terminal == value->to.terminal && is_rail(value->from.terminal) &&
            value->to.tap > 0) {
            add_drop(result, file, value, value->to.tap,
                     value->from.terminal == LW_TERMINAL_V_PLUS ? plus : zero);
        } else if (between(value, LW_TERMINAL_ZERO_V, LW_TERMINAL_FRAME) && frame_tap(plan) > 0) {
            add_drop(result, file, value, frame_tap(plan), zero);
        }
    }
}

// Both rails carry the same current unless 0 V has a second way: so their drops, each over its
// plan, are alike whatever the nodes draw.
void lw_supply_zero_v_ratio(const struct lw_plan *plan, const struct lw_meter_file *file,
                            double draw_u, struct lw_supply_result *result)
{
    struct drops plus = {0}, zero = {0};
    if (file == NULL) {
        return;
    }
    gather_drops(plan, file, result, &plus, &zero);
    if (!(zero.planned_v > 0)) {
        return;
    }
    bool has_plus = plus.planned_v > 0 && plus.measured_v > 0;
    double plus_ratio = has_plus ? plus.measured_v / plus.planned_v : 1;
    double plus_u = has_plus ? sqrt(plus.own_square) / plus.planned_v : draw_u;
    double zero_ratio = zero.measured_v / zero.planned_v;
    double zero_u = sqrt(zero.own_square) / zero.planned_v;
    result->zero_v_ratio = zero_ratio / plus_ratio;
    // What copper may have less than planned, either rail for itself.
    result->zero_v_ratio_u = hypot(hypot(zero_u, LW_SUPPLY_CONDUCTOR_U),
                                   result->zero_v_ratio * hypot(plus_u, LW_SUPPLY_CONDUCTOR_U)) /
                             plus_ratio;
}
