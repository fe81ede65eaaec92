// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the noise check. Polling at even intervals folds the mains onto a slow wave
// that nobody can tell from drift; so the order of the nodes is drawn anew for each round, and a
// random pause of up to one exchange stands between two polls.
#include "check/noise.h"

#include "check/ask.h"
#include "stats/random.h"

// A sensor that stays silent from the start costs its whole time-out in each round, which all the
// others pay with fewer readings; after a few silences it is asked in every tenth round only.
enum { PATIENCE = 3, SELDOM = 10 };

struct sensor {
    size_t tap;
    const struct lw_chain_entry *entry;
    const struct lw_register *reg;
    struct lw_block block;
    double taken;
    int silences;
};

struct sampling {
    const struct lw_run *run;
    struct lw_client *client;
    const struct lw_noise_options *options;
    struct lw_series *series;
    struct lw_error *error;
    struct sensor *sensors;
    size_t count;
    int64_t start_ns;
    uint64_t drawn, rounds;
    double exchange_s; // of the last exchange
};

static bool find_sensor(const struct lw_plan *plan, size_t tap, struct sensor *sensor)
{
    struct lw_block blocks[LW_BLOCKS_MAX];
    *sensor = (struct sensor){.tap = tap, .entry = lw_plan_tap(plan, tap)};
    if (sensor->entry->is == NULL) {
        return false;
    }
    sensor->reg = lw_profile_register(sensor->entry->is, LW_ROLE_READING);
    if (sensor->reg == NULL ||
        lw_registers_plan(sensor->entry->is, LW_ROLE_BIT(LW_ROLE_READING), blocks) != 1) {
        return false;
    }
    sensor->block = blocks[0];
    return true;
}

static enum lw_status find_sensors(struct sampling *sampling, const struct lw_plan *plan)
{
    size_t taps = lw_plan_taps(plan);
    sampling->sensors = calloc(taps > 0 ? taps : 1, sizeof *sampling->sensors);
    if (sampling->sensors == NULL) {
        return lw_fail(sampling->error, LW_MEMORY, "no memory for %zu sensors", taps);
    }
    for (size_t tap = 1; tap <= taps; tap++) {
        bool selected = sampling->options->selected == NULL || sampling->options->selected[tap - 1];
        sampling->count += selected && find_sensor(plan, tap, &sampling->sensors[sampling->count]);
    }
    return LW_OK;
}

static double longest_noise_s(const struct sampling *sampling)
{
    double longest = 0;
    for (size_t i = 0; i < sampling->count; i++) {
        double over_s = sampling->sensors[i].entry->is->metrology.noise_over_s;
        longest = isfinite(over_s) ? fmax(longest, over_s) : longest;
    }
    return longest > 0 ? longest : 10;
}

static double draw(struct sampling *sampling)
{
    const struct lw_random key = {.seed = sampling->run->seed,
                                  .purpose = lw_random_word("noise polling")};
    return lw_random_uniform(key, sampling->drawn++);
}

// Fisher and Yates.
static void shuffle(struct sampling *sampling)
{
    for (size_t i = sampling->count; i > 1; i--) {
        size_t k = (size_t)(draw(sampling) * (double)i);
        struct sensor swapped = sampling->sensors[i - 1];
        sampling->sensors[i - 1] = sampling->sensors[k];
        sampling->sensors[k] = swapped;
    }
}

static enum lw_status keep(struct sampling *sampling, struct sensor *sensor,
                           const struct lw_exchange *exchange)
{
    struct lw_value value;
    if (exchange->outcome != LW_ANSWERED ||
        lw_register_decode(sensor->reg, &sensor->block, &exchange->reply, &value, NULL) != LW_OK) {
        return LW_OK;
    }
    struct lw_reading reading = {
        .time_s = (double)(exchange->reply_first_ns - sampling->start_ns) / 1e9,
        .timing_u_s = (double)exchange->timing_u_ns / 1e9,
        .node = sensor->entry->node,
        .unit = sensor->reg->unit,
        .value = value.number,
    };
    sensor->taken++;
    if (sampling->run->reading != NULL) {
        sampling->run->reading(sampling->run->user, &reading);
    }
    return lw_series_add(sampling->series, &reading, sampling->error);
}

static enum lw_status poll_sensor(struct sampling *sampling, struct sensor *sensor)
{
    struct lw_pdu request = lw_block_request(&sensor->block);
    struct lw_exchange exchange;
    enum lw_status status = lw_client_exchange(sampling->client, (uint8_t)sensor->entry->address,
                                               &request, &exchange, sampling->error);
    if (status != LW_OK) {
        return status;
    }
    sensor->silences += exchange.outcome == LW_NO_ANSWER;
    if (exchange.reply_last_ns > 0) {
        sampling->exchange_s = (double)(exchange.reply_last_ns - exchange.sent_first_ns) / 1e9;
    }
    status = keep(sampling, sensor, &exchange);
    return status == LW_OK ? lw_client_wait(sampling->client, draw(sampling) * sampling->exchange_s,
                                            sampling->error)
                           : status;
}

static bool is_silent(const struct sensor *sensor)
{
    return sensor->taken == 0 && sensor->silences >= PATIENCE;
}

static bool enough(const struct sampling *sampling)
{
    if (sampling->options->readings <= 0) {
        return false;
    }
    for (size_t i = 0; i < sampling->count; i++) {
        const struct sensor *sensor = &sampling->sensors[i];
        if (sensor->taken < sampling->options->readings && !is_silent(sensor)) {
            return false;
        }
    }
    return true;
}

static enum lw_status one_round(struct sampling *sampling)
{
    bool all = sampling->rounds++ % SELDOM == 0;
    enum lw_status status = LW_OK;
    shuffle(sampling);
    for (size_t i = 0; i < sampling->count && status == LW_OK; i++) {
        struct sensor *sensor = &sampling->sensors[i];
        if (all || !is_silent(sensor)) {
            status = poll_sensor(sampling, sensor);
        }
    }
    return status;
}

static enum lw_status sample(struct sampling *sampling, double seconds)
{
    const struct lw_clock *clock = lw_client_line(sampling->client)->clock;
    enum lw_status status = LW_OK;
    double elapsed_s = 0;
    sampling->start_ns = lw_clock_now_ns(clock);
    while (status == LW_OK && elapsed_s < seconds && !enough(sampling)) {
        status = one_round(sampling);
        elapsed_s = (double)(lw_clock_now_ns(clock) - sampling->start_ns) / 1e9;
        lw_run_progress(sampling->run, "readings", elapsed_s, seconds, "s", seconds - elapsed_s);
    }
    return status;
}

enum lw_status lw_noise_measure(const struct lw_run *run, struct lw_client *client,
                                const struct lw_plan *plan, const struct lw_noise_options *options,
                                struct lw_series *series, struct lw_error *error)
{
    struct sampling sampling = {
        .run = run, .client = client, .options = options, .series = series, .error = error};
    enum lw_status status = find_sensors(&sampling, plan);
    lw_client_attempts(client, 1);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(plan) * 2, 0.05));
    if (status == LW_OK && sampling.count > 0) {
        double most_s = options->readings > 0 ? 3600 : longest_noise_s(&sampling);
        status = sample(&sampling, options->seconds > 0 ? options->seconds : most_s);
    }
    free(sampling.sensors);
    return status;
}
