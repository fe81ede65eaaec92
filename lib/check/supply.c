// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the supply check: each node's own voltmeter, read a few times. A node that
// answers without a voltmeter still tells that it runs.
#include "check/supply.h"

#include "check/ask.h"
#include "modbus/pdu.h"

enum { READS = LW_SUPPLY_READS };

enum lw_status lw_supply_measured_init(size_t taps, struct lw_supply_measured *measured,
                                       struct lw_error *error)
{
    *measured = (struct lw_supply_measured){.tap_count = taps};
    size_t room = taps > 0 ? taps : 1;
    measured->volts = calloc(room, sizeof *measured->volts);
    measured->step_v = calloc(room, sizeof *measured->step_v);
    measured->answered = calloc(room, sizeof *measured->answered);
    measured->asked = calloc(room, sizeof *measured->asked);
    if (measured->volts == NULL || measured->step_v == NULL || measured->answered == NULL ||
        measured->asked == NULL) {
        lw_supply_measured_free(measured);
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", taps);
    }
    for (size_t i = 0; i < taps; i++) {
        measured->volts[i] = NAN;
        measured->step_v[i] = NAN;
    }
    return LW_OK;
}

void lw_supply_measured_free(struct lw_supply_measured *measured)
{
    if (measured != NULL) {
        free(measured->volts);
        free(measured->step_v);
        free(measured->earlier_v);
        free(measured->answered);
        free(measured->asked);
        *measured = (struct lw_supply_measured){0};
    }
}

// Readings of one node, and of all for their scatter.
struct readings {
    double sum, square, count;
    double squares, freedom; // of all nodes together
};

static void take_reading(struct readings *readings, double volts)
{
    readings->sum += volts;
    readings->square += volts * volts;
    readings->count++;
}

// The mean; what the node's readings scatter goes to all.
static double end_node(struct readings *readings)
{
    double count = readings->count;
    double mean = count > 0 ? readings->sum / count : NAN;
    if (count > 1) {
        readings->squares += fmax(readings->square - count * mean * mean, 0);
        readings->freedom += count - 1;
    }
    readings->sum = readings->square = readings->count = 0;
    return mean;
}

static enum lw_status is_there(struct lw_client *client, uint8_t address, bool *answered,
                               struct lw_error *error)
{
    const struct lw_pdu request = lw_read_request(LW_READ_HOLDING, 0, 1);
    struct lw_exchange exchange;
    enum lw_status status = lw_client_exchange(client, address, &request, &exchange, error);
    *answered = exchange.outcome == LW_ANSWERED || exchange.outcome == LW_EXCEPTION;
    return status;
}

static enum lw_status read_volts(struct lw_client *client, const struct lw_chain_entry *entry,
                                 struct readings *readings, double *volts, bool *answered,
                                 struct lw_error *error)
{
    uint8_t address = (uint8_t)entry->address;
    if (lw_profile_register(entry->is, LW_ROLE_SUPPLY_V) == NULL) {
        return is_there(client, address, answered, error);
    }
    for (int i = 0; i < READS; i++) {
        struct lw_node_values values;
        enum lw_status status =
            lw_ask_roles(client, entry->is, address, LW_ROLE_BIT(LW_ROLE_SUPPLY_V), &values, error);
        if (status != LW_OK) {
            return status;
        }
        *answered = *answered || values.answered + values.exceptions > 0;
        if (values.have[LW_ROLE_SUPPLY_V]) {
            take_reading(readings, values.value[LW_ROLE_SUPPLY_V].number);
        }
        if (i == 0 && values.silent > 0) {
            break;
        }
    }
    *volts = end_node(readings);
    return LW_OK;
}

enum lw_status lw_supply_measure(const struct lw_run *run, struct lw_client *client,
                                 const struct lw_plan *plan, const bool *selected,
                                 struct lw_supply_measured *measured, struct lw_error *error)
{
    size_t taps = lw_plan_taps(plan);
    struct readings readings = {0};
    enum lw_status status = LW_OK;
    lw_client_attempts(client, 2);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(plan) * 2, 0.05));
    for (size_t tap = 1; tap <= taps && status == LW_OK; tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (entry->is == NULL || (selected != NULL && !selected[tap - 1])) {
            continue;
        }
        measured->asked[tap - 1] = true;
        status = read_volts(client, entry, &readings, &measured->volts[tap - 1],
                            &measured->answered[tap - 1], error);
        lw_run_progress(run, "voltages", (double)tap, (double)taps, "taps", NAN);
    }
    measured->scatter_v =
        readings.freedom > 0 ? sqrt(readings.squares / readings.freedom) : measured->scatter_v;
    return status;
}
