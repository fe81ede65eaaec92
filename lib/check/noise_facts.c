// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a noise run finds out about the nodes beside their readings: how often they renew them, how
// well the readings' times are known, the feed pressure of air
// gauges, the current of loops. Polls made for that are
// no readings: they come too close together.
#include "check/ask.h"
#include "check/noise_inside.h"
#include "check/noise_update.h"

enum { BURST = 48, LOOK_AFTER = 4 };

static double now_s(const struct lw_noise_sampling *sampling, int64_t at_ns)
{
    return (double)(at_ns - sampling->start_ns) / 1e9;
}

static bool has_counter(const struct lw_noise_sensor *sensor)
{
    return lw_profile_register(sensor->entry->is, LW_ROLE_SAMPLE_COUNTER) != NULL;
}

// Polls that take longer than half the update interval of the profile see no repeats.
static bool too_slow(const struct lw_noise_sensor *sensor, const double *time_s, size_t n)
{
    double update_s = sensor->entry->is->metrology.update_ms / 1e3;
    return n >= LOOK_AFTER && (time_s[n - 1] - time_s[0]) / (double)(n - 1) > update_s / 2;
}

enum lw_status lw_noise_burst(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor)
{
    double time_s[BURST], value[BURST];
    size_t n = 0;
    struct lw_pdu request = lw_block_request(&sensor->block);
    if (has_counter(sensor)) {
        return LW_OK;
    }
    for (int i = 0; i < BURST && !too_slow(sensor, time_s, n); i++) {
        struct lw_exchange exchange;
        struct lw_value read;
        enum lw_status status =
            lw_client_exchange(sampling->client, (uint8_t)sensor->entry->address, &request,
                               &exchange, sampling->error);
        if (status != LW_OK) {
            return status;
        }
        if (exchange.outcome != LW_ANSWERED ||
            lw_register_decode(sensor->reg, &sensor->block, &exchange.reply, &read, NULL) !=
                LW_OK) {
            return LW_OK; // a node that doesn't answer well is not asked in a hurry
        }
        time_s[n] = now_s(sampling, exchange.reply_first_ns);
        value[n++] = read.number;
    }
    sensor->facts.update_s = lw_update_from_burst(time_s, value, n);
    sensor->facts.update_from =
        isfinite(sensor->facts.update_s) ? LW_UPDATE_BURST : LW_UPDATE_UNKNOWN;
    return LW_OK;
}

enum lw_status lw_noise_count(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor,
                              size_t k)
{
    struct lw_node_values values;
    if (sensor->counts != k || !has_counter(sensor)) {
        return LW_OK;
    }
    enum lw_status status =
        lw_ask_roles(sampling->client, sensor->entry->is, (uint8_t)sensor->entry->address,
                     LW_ROLE_BIT(LW_ROLE_SAMPLE_COUNTER), &values, sampling->error);
    if (status != LW_OK || !values.have[LW_ROLE_SAMPLE_COUNTER]) {
        return status;
    }
    sensor->count_at_s[k] = now_s(sampling, values.last.reply_first_ns);
    sensor->count[k] = values.value[LW_ROLE_SAMPLE_COUNTER].number;
    sensor->counts = k + 1;
    return LW_OK;
}

// The role of what is read beside the readings; LW_ROLE_NONE where there is nothing.
static enum lw_role side_role(const struct lw_noise_sensor *sensor)
{
    const struct lw_profile *profile = sensor->entry->is;
    enum lw_role role = profile->kind == LW_AIR         ? LW_ROLE_AIR_PRESSURE_KPA
                        : profile->kind == LW_LOOP_4_20 ? LW_ROLE_LOOP_MA
                                                        : LW_ROLE_NONE;
    return lw_profile_register(profile, role) != NULL ? role : LW_ROLE_NONE;
}

enum lw_status lw_noise_side(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor)
{
    struct lw_node_values values;
    enum lw_role role = side_role(sensor);
    if (role == LW_ROLE_NONE) {
        return LW_OK;
    }
    enum lw_status status =
        lw_ask_roles(sampling->client, sensor->entry->is, (uint8_t)sensor->entry->address,
                     LW_ROLE_BIT(role), &values, sampling->error);
    if (status == LW_OK && values.have[role]) {
        struct lw_noise_tap_facts *facts = &sensor->facts;
        double value = values.value[role].number;
        facts->side_n++;
        facts->side_low = fmin(facts->side_low, value); // NAN gives way
        facts->side_high = fmax(facts->side_high, value);
    }
    return status;
}

static void settle(struct lw_noise_sensor *sensor)
{
    if (sensor->counts == 3) {
        sensor->facts.update_s = lw_update_from_counter(sensor->count_at_s, sensor->count);
        sensor->facts.update_from =
            isfinite(sensor->facts.update_s) ? LW_UPDATE_COUNTER : LW_UPDATE_UNKNOWN;
    }
    sensor->facts.timing_u_s =
        sensor->taken > 0 ? sqrt(sensor->timing_squares / sensor->taken) : (double)NAN;
}

enum lw_status lw_noise_keep_facts(struct lw_noise_sampling *sampling, size_t taps)
{
    for (size_t tap = 1; tap <= taps; tap++) {
        struct lw_noise_tap_facts *facts =
            lw_list_add(&sampling->facts->taps, sizeof(struct lw_noise_tap_facts));
        if (facts == NULL) {
            return lw_fail(sampling->error, LW_MEMORY, "no memory for what was found out");
        }
        *facts = (struct lw_noise_tap_facts){
            .update_s = NAN, .timing_u_s = NAN, .side_low = NAN, .side_high = NAN};
    }
    struct lw_noise_tap_facts *all = sampling->facts->taps.items;
    for (size_t i = 0; i < sampling->count; i++) {
        settle(&sampling->sensors[i]);
        all[sampling->sensors[i].tap - 1] = sampling->sensors[i].facts;
    }
    return LW_OK;
}

void lw_noise_facts_finish(struct lw_noise_facts *facts)
{
    free(facts->taps.items);
    *facts = (struct lw_noise_facts){0};
}
