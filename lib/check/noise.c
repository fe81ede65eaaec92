// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the noise check. Polling at even intervals folds the mains onto a slow wave
// that nobody can tell from drift; so the order of the nodes is drawn anew for each round, and a
// random pause of up to one exchange stands between two polls.
#include "check/noise.h"

#include "check/ask.h"
#include "check/noise_inside.h"
#include "stats/random.h"

// A sensor that stays silent from the start costs its whole time-out in each round, which all the
// others pay with fewer readings; after a few silences it is asked in every tenth round only.
enum { PATIENCE = 3, SELDOM = 10 };

// The first look at a run that ends when it is decided. Few readings that are alike look quieter
// than they are: their slow part has not shown yet.
enum { FIRST_LOOK = 128, DECIDED_IN_S = 600 };

// 40 readings: the 95 % upper bound of a normal spread is 1.23 times the spread (chi-square).
enum { ROUNDS_LEAST = 40 };

// Counts of a sample counter are read over at least so long before they tell a rate.
static const double first_count_s = 0.25;

static bool find_sensor(const struct lw_plan *plan, size_t tap, struct lw_noise_sensor *sensor)
{
    struct lw_block blocks[LW_BLOCKS_MAX];
    *sensor =
        (struct lw_noise_sensor){.tap = tap,
                                 .entry = lw_plan_tap(plan, tap),
                                 .facts = {.update_s = NAN, .side_low = NAN, .side_high = NAN}};
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

static enum lw_status find_sensors(struct lw_noise_sampling *sampling, const struct lw_plan *plan)
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

static double longest_noise_s(const struct lw_noise_sampling *sampling)
{
    double longest = 0;
    for (size_t i = 0; i < sampling->count; i++) {
        double over_s = sampling->sensors[i].entry->is->metrology.noise_over_s;
        longest = isfinite(over_s) ? fmax(longest, over_s) : longest;
    }
    return longest > 0 ? longest : 10;
}

static double draw(struct lw_noise_sampling *sampling)
{
    const struct lw_random key = {.seed = sampling->run->seed,
                                  .purpose = lw_random_word("noise polling")};
    return lw_random_uniform(key, sampling->drawn++);
}

// Fisher and Yates.
static void shuffle(struct lw_noise_sampling *sampling)
{
    for (size_t i = sampling->count; i > 1; i--) {
        size_t k = (size_t)(draw(sampling) * (double)i);
        struct lw_noise_sensor swapped = sampling->sensors[i - 1];
        sampling->sensors[i - 1] = sampling->sensors[k];
        sampling->sensors[k] = swapped;
    }
}

static enum lw_status keep(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor,
                           const struct lw_exchange *exchange)
{
    struct lw_value value;
    if (exchange->outcome != LW_ANSWERED ||
        lw_register_decode(sensor->reg, &sensor->block, &exchange->reply, &value, NULL) != LW_OK) {
        return LW_OK;
    }
    struct lw_reading reading = {
        .time_s =
            sampling->options->at_s + (double)(exchange->reply_first_ns - sampling->start_ns) / 1e9,
        .timing_u_s = (double)exchange->timing_u_ns / 1e9,
        .node = sensor->entry->node,
        .unit = sensor->reg->unit,
        .value = value.number,
    };
    sensor->taken++;
    sensor->timing_squares += reading.timing_u_s * reading.timing_u_s;
    if (sampling->run->reading != NULL) {
        sampling->run->reading(sampling->run->user, &reading);
    }
    return lw_series_add(sampling->series, &reading, sampling->error);
}

static enum lw_status poll_sensor(struct lw_noise_sampling *sampling,
                                  struct lw_noise_sensor *sensor)
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

static bool is_silent(const struct lw_noise_sensor *sensor)
{
    return sensor->taken == 0 && sensor->silences >= PATIENCE;
}

static bool enough(const struct lw_noise_sampling *sampling)
{
    if (sampling->options->readings <= 0) {
        return false;
    }
    for (size_t i = 0; i < sampling->count; i++) {
        const struct lw_noise_sensor *sensor = &sampling->sensors[i];
        if (sensor->taken < sampling->options->readings && !is_silent(sensor)) {
            return false;
        }
    }
    return true;
}

// Beside the readings: what is asked of a sensor that has answered before.
static enum lw_status learn(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor,
                            bool seldom)
{
    const struct lw_clock *clock = lw_client_line(sampling->client)->clock;
    double elapsed_s = (double)(lw_clock_now_ns(clock) - sampling->start_ns) / 1e9;
    enum lw_status status = lw_noise_count(sampling, sensor, 0);
    if (status == LW_OK && sensor->counts == 1 &&
        elapsed_s - sensor->count_at_s[0] > first_count_s) {
        status = lw_noise_count(sampling, sensor, 1);
    }
    return status == LW_OK && seldom ? lw_noise_side(sampling, sensor) : status;
}

static enum lw_status one_round(struct lw_noise_sampling *sampling)
{
    bool seldom = sampling->rounds++ % SELDOM == 0;
    enum lw_status status = LW_OK;
    shuffle(sampling);
    for (size_t i = 0; i < sampling->count && status == LW_OK; i++) {
        struct lw_noise_sensor *sensor = &sampling->sensors[i];
        if (seldom || !is_silent(sensor)) {
            status = poll_sensor(sampling, sensor);
        }
        if (status == LW_OK && sensor->taken > 0) {
            status = learn(sampling, sensor, seldom);
        }
    }
    return status;
}

// Enough readings of every sensor for the next look: twice those of the look before.
static bool time_to_look(const struct lw_noise_sampling *sampling, double elapsed_s)
{
    bool any = false;
    double wanted = ldexp(FIRST_LOOK, (int)sampling->facts->look);
    for (size_t i = 0; i < sampling->count; i++) {
        const struct lw_noise_sensor *sensor = &sampling->sensors[i];
        if (sensor->taken < wanted && !is_silent(sensor)) {
            return false;
        }
        any = any || sensor->taken > 0;
    }
    return any && elapsed_s >= longest_noise_s(sampling);
}

static enum lw_status look(struct lw_noise_sampling *sampling, const struct lw_plan *plan,
                           bool *decided)
{
    size_t open = 0;
    sampling->facts->look++;
    enum lw_status status = lw_noise_open(plan, sampling->options, sampling->series,
                                          sampling->facts, &open, sampling->error);
    *decided = status == LW_OK && open == 0;
    return status;
}

// How long the readings take in all, as far as is known after `elapsed_s`. When nobody has said, a
// long chain takes as long as it needs to be asked ROUNDS_LEAST times.
static double whole_s(const struct lw_noise_sampling *sampling, double elapsed_s)
{
    const struct lw_noise_options *options = sampling->options;
    if (options->seconds > 0) {
        return options->seconds;
    }
    if (options->decide) {
        return DECIDED_IN_S;
    }
    if (options->readings > 0) {
        return 3600;
    }
    double rounds_s =
        sampling->rounds > 0 ? elapsed_s * ROUNDS_LEAST / (double)sampling->rounds : 0;
    return fmax(longest_noise_s(sampling), fmin(rounds_s, DECIDED_IN_S));
}

static enum lw_status sample(struct lw_noise_sampling *sampling, const struct lw_plan *plan)
{
    const struct lw_clock *clock = lw_client_line(sampling->client)->clock;
    enum lw_status status = LW_OK;
    double elapsed_s = 0, seconds = whole_s(sampling, 0);
    bool decided = false;
    while (status == LW_OK && elapsed_s < seconds && !enough(sampling) && !decided) {
        status = one_round(sampling);
        elapsed_s = (double)(lw_clock_now_ns(clock) - sampling->start_ns) / 1e9;
        seconds = whole_s(sampling, elapsed_s);
        lw_run_progress(sampling->run, "readings", elapsed_s, seconds, "s", seconds - elapsed_s);
        if (status == LW_OK && sampling->options->decide && time_to_look(sampling, elapsed_s)) {
            status = look(sampling, plan, &decided);
        }
    }
    sampling->facts->look += sampling->options->decide && !decided;
    for (size_t i = 0; i < sampling->count && status == LW_OK; i++) {
        status = lw_noise_count(sampling, &sampling->sensors[i], 2);
    }
    return status;
}

static enum lw_status burst_all(struct lw_noise_sampling *sampling)
{
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < sampling->count && status == LW_OK; i++) {
        lw_run_progress(sampling->run, "update intervals", (double)i, (double)sampling->count,
                        "nodes", NAN);
        status = lw_noise_burst(sampling, &sampling->sensors[i]);
    }
    return status;
}

enum lw_status lw_noise_measure(const struct lw_run *run, struct lw_client *client,
                                const struct lw_plan *plan, const struct lw_noise_options *options,
                                struct lw_series *series, struct lw_noise_facts *facts,
                                struct lw_error *error)
{
    struct lw_noise_sampling sampling = {.run = run,
                                         .client = client,
                                         .options = options,
                                         .series = series,
                                         .facts = facts,
                                         .error = error};
    const struct lw_clock *clock = lw_client_line(client)->clock;
    *facts = (struct lw_noise_facts){0};
    enum lw_status status = find_sensors(&sampling, plan);
    lw_client_attempts(client, 1);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(plan) * 2, 0.05));
    if (status == LW_OK && sampling.count > 0) {
        sampling.start_ns = lw_clock_now_ns(clock);
        status = options->at_s > 0 ? LW_OK : burst_all(&sampling);
        sampling.start_ns = facts->start_ns = lw_clock_now_ns(clock);
        status = status == LW_OK ? sample(&sampling, plan) : status;
    }
    if (sampling.sensors != NULL) {
        enum lw_status kept = lw_noise_keep_facts(&sampling, lw_plan_taps(plan));
        status = status == LW_OK ? kept : status;
    }
    free(sampling.sensors);
    return status;
}
