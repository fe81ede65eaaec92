// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the supply check: each node's own voltmeter, read a few times. A node that
// answers without a voltmeter still tells that it runs.
#include "check/supply.h"

#include "check/ask.h"
#include "modbus/pdu.h"

enum { READS = 4 };

static enum lw_status new_measured(size_t taps, struct lw_supply_measured *measured,
                                   struct lw_error *error)
{
    *measured = (struct lw_supply_measured){.tap_count = taps};
    size_t room = taps > 0 ? taps : 1;
    measured->volts = calloc(room, sizeof *measured->volts);
    measured->answered = calloc(room, sizeof *measured->answered);
    measured->asked = calloc(room, sizeof *measured->asked);
    if (measured->volts == NULL || measured->answered == NULL || measured->asked == NULL) {
        lw_supply_measured_free(measured);
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", taps);
    }
    for (size_t i = 0; i < taps; i++) {
        measured->volts[i] = NAN;
    }
    return LW_OK;
}

void lw_supply_measured_free(struct lw_supply_measured *measured)
{
    if (measured != NULL) {
        free(measured->volts);
        free(measured->answered);
        free(measured->asked);
        *measured = (struct lw_supply_measured){0};
    }
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
                                 double *volts, bool *answered, struct lw_error *error)
{
    double sum = 0, count = 0;
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
            sum += values.value[LW_ROLE_SUPPLY_V].number;
            count++;
        }
        if (i == 0 && values.silent > 0) {
            break;
        }
    }
    *volts = count > 0 ? sum / count : NAN;
    return LW_OK;
}

enum lw_status lw_supply_measure(const struct lw_run *run, struct lw_client *client,
                                 const struct lw_plan *plan, const bool *selected,
                                 struct lw_supply_measured *measured, struct lw_error *error)
{
    size_t taps = lw_plan_taps(plan);
    enum lw_status status = new_measured(taps, measured, error);
    lw_client_attempts(client, 2);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(plan) * 2, 0.05));
    for (size_t tap = 1; tap <= taps && status == LW_OK; tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (entry->is == NULL || (selected != NULL && !selected[tap - 1])) {
            continue;
        }
        measured->asked[tap - 1] = true;
        status = read_volts(client, entry, &measured->volts[tap - 1], &measured->answered[tap - 1],
                            error);
        lw_run_progress(run, "voltages", (double)tap, (double)taps, "taps", NAN);
    }
    return status;
}
