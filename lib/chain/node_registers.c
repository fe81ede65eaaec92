// SPDX-License-Identifier: GPL-3.0-or-later
//
// A node's register image, made when it is asked for: the profile says which registers there are
// and what they mean, the sensor and the rails what is in them. Registers between two declared
// ones, up to eight in a row, read as 0, as in most maps; all others answer exception 02.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "chain/inside.h"
#include "site/registers.h"

#include <assert.h>

enum { GAP_MAX = 8, WORDS_MAX = 64 };

static const double warm_k_per_w = 8; // a small closed housing, common practice
static const int64_t day_ns = 86400LL * 1000000000;

static const struct lw_register *register_at(const struct lw_node *node, size_t index)
{
    return (const struct lw_register *)node->profile->registers.items + index;
}

static double unit_factor(const struct lw_node *node, const struct lw_register *reg)
{
    double factor = 1;
    const char *own = node->profile->metrology.unit;
    if (!own || !reg->unit || !lw_unit_factor(own, reg->unit, &factor)) {
        return 1;
    }
    return factor;
}

static struct lw_measured measure(struct lw_node *node, int64_t now_ns)
{
    struct lw_sensor *sensor = &node->sensor;
    int64_t at_ns = sensor->stuck && sensor->stuck_ns < now_ns ? sensor->stuck_ns : now_ns;
    double deflection = lw_chain_deflection(node->chain, node, at_ns);
    return lw_sensor_measure(sensor, deflection, now_ns);
}

// Where the reading stands in the range, 0 to 1.
static double range_share(const struct lw_node *node, double value)
{
    const struct lw_list *range = &node->profile->metrology.range;
    if (range->count != 2) {
        return value;
    }
    const double *ends = range->items;
    return ends[1] > ends[0] ? (value - ends[0]) / (ends[1] - ends[0]) : 0;
}

static unsigned status_word(struct lw_node *node, int64_t now_ns)
{
    const struct lw_list *bits = &node->profile->status_bits;
    struct lw_measured measured = measure(node, now_ns);
    double volts = lw_rails_volts(&node->chain->rails, node->tap);
    double minimum_v = node->profile->electrical.minimum_v;
    unsigned word = 0;
    for (size_t i = 0; i < bits->count; i++) {
        const struct lw_status_bit *bit = (const struct lw_status_bit *)bits->items + i;
        bool on = false;
        on |= bit->meaning == LW_BIT_UNDER_VOLTAGE &&
              lw_node_meter_v(node, volts, now_ns) < minimum_v;
        on |= bit->meaning == LW_BIT_SENSOR_OPEN && node->sensor.unplugged;
        on |= bit->meaning == LW_BIT_OVER_RANGE && measured.over_range;
        on |= bit->meaning == LW_BIT_STALE_IDENTITY && node->stale_identity;
        word |= on && bit->bit >= 0 && bit->bit < 16 ? 1U << bit->bit : 0;
    }
    return word;
}

uint8_t lw_node_status_bits(struct lw_node *node, int64_t now_ns)
{
    return (uint8_t)status_word(node, now_ns);
}

static double temperature_c(const struct lw_node *node, int64_t now_ns)
{
    double ambient_c = node->chain->plan->ambient_c;
    double watts = node->profile->electrical.load.watts;
    struct lw_random key = {node->chain->seed, node->key, LW_FOR_TEMPERATURE};
    double own = 0.5 * lw_random_normal(key, 0);
    double phase = 6.283185307 * lw_random_uniform(key, 1);
    double swing = 0.3 * sin(6.283185307 * 1e-9 * (double)now_ns / 1200 + phase); // the hall's air
    return (isnan(ambient_c) ? 20 : ambient_c) + (isnan(watts) ? 0 : warm_k_per_w * watts) + own +
           swing;
}

// A day within the last ten months before the chain's time 0.
static double calibrated_days(const struct lw_node *node)
{
    struct lw_random key = {node->chain->seed, node->module_key, LW_FOR_DATES};
    double today = floor((double)node->chain->utc_zero_ns / (double)day_ns);
    return today - 20 - floor(280 * lw_random_uniform(key, 0));
}

static double calibration_due_days(const struct lw_node *node)
{
    double interval = node->profile->metrology.calibration_interval_days;
    return calibrated_days(node) + (isnan(interval) ? 365 : interval);
}

// The module's serial, or one of six digits that the seed gives it.
static void serial_text(const struct lw_node *node, const char *planned, uint64_t which,
                        char text[LW_VALUE_TEXT])
{
    struct lw_random key = {node->chain->seed, node->module_key, LW_FOR_SERIAL};
    if (planned) {
        lw_copy(text, LW_VALUE_TEXT, planned);
    } else {
        lw_print(text, LW_VALUE_TEXT, "%u", 100000 + lw_random_below(key, which, 900000));
    }
}

static double supply_v(struct lw_node *node, int64_t now_ns)
{
    return lw_node_meter_v(node, lw_rails_volts(&node->chain->rails, node->tap), now_ns);
}

static double supply_a(const struct lw_node *node)
{
    return node->chain->rails.point.load_a[node->tap];
}

// Since its start; it moves when the reading does.
static uint64_t samples(struct lw_node *node, int64_t now_ns)
{
    int64_t before = node->booted_ns / node->sensor.update_ns;
    return measure(node, now_ns).updates - (uint64_t)before;
}

static double number_of(struct lw_node *node, const struct lw_register *reg, int64_t now_ns)
{
    struct lw_measured measured;
    switch ((enum lw_role)reg->role) {
    case LW_ROLE_READING:
        return measure(node, now_ns).value * unit_factor(node, reg);
    case LW_ROLE_SUPPLY_V:
        return supply_v(node, now_ns);
    case LW_ROLE_SUPPLY_MIN_V:
        return fmin(lw_node_meter_v(node, node->lowest_v, now_ns), supply_v(node, now_ns));
    case LW_ROLE_SUPPLY_A:
        return supply_a(node);
    case LW_ROLE_TEMPERATURE:
        return temperature_c(node, now_ns);
    case LW_ROLE_STATUS:
        return status_word(node, now_ns);
    case LW_ROLE_CALIBRATED_ON:
        return calibrated_days(node);
    case LW_ROLE_CALIBRATION_DUE:
        return calibration_due_days(node);
    case LW_ROLE_UPTIME_S:
        return floor(1e-9 * (double)(now_ns - node->booted_ns));
    case LW_ROLE_RESTART_COUNT:
        return node->restarts;
    case LW_ROLE_SAMPLE_COUNTER:
        return (double)(samples(node, now_ns) & 0xFFFF);
    case LW_ROLE_BUS_ERROR_COUNT:
        return node->counters[LW_COUNT_BUS_ERRORS - LW_COUNT_BUS_MESSAGES];
    case LW_ROLE_RAW:
        measured = measure(node, now_ns);
        return nearbyint(fmax(0, 32767 * range_share(node, measured.value)));
    case LW_ROLE_LOOP_MA:
        return node->sensor.unplugged ? 0 : 4 + 16 * range_share(node, measure(node, now_ns).value);
    case LW_ROLE_AIR_PRESSURE_KPA:
        return 300 + 0.5 * sin(1e-9 * (double)now_ns / 7); // a regulator that breathes a little
    case LW_ROLE_NONE:
    case LW_ROLE_SERIAL:
    case LW_ROLE_SENSOR_SERIAL:
    case LW_ROLE_FIRMWARE:
        break;
    }
    return 0;
}

// Serials and firmware are texts; where the register holds a number, it is the text's.
static double text_of(const struct lw_node *node, const struct lw_register *reg,
                      char text[LW_VALUE_TEXT])
{
    const char *revision = node->profile->identity.revision_at_least;
    text[0] = '\0';
    if (reg->role == LW_ROLE_SERIAL) {
        serial_text(node, node->entry->serial, 0, text);
    } else if (reg->role == LW_ROLE_SENSOR_SERIAL) {
        serial_text(node, node->entry->sensor_serial, 1, text);
    } else if (reg->role == LW_ROLE_FIRMWARE) {
        lw_copy(text, LW_VALUE_TEXT, revision ? revision : "1.0");
    }
    const char *digits = text;
    while (*digits && !(*digits >= '1' && *digits <= '9')) {
        digits++;
    }
    double number = 0;
    return lw_number_real(digits, 0, 1e15, false, &number, NULL) == LW_OK ? number : 0;
}

static size_t encode(struct lw_node *node, const struct lw_register *reg, int64_t now_ns,
                     uint16_t words[WORDS_MAX])
{
    char text[LW_VALUE_TEXT];
    double number = text_of(node, reg, text);
    if (text[0] == '\0') {
        number = number_of(node, reg, now_ns);
    }
    if (reg->type != LW_REGISTER_TEXT) {
        return lw_register_encode(reg, number, NULL, words, WORDS_MAX);
    }
    if (text[0] == '\0') {
        lw_number_for_people(number, NAN, text);
    }
    return lw_register_encode(reg, number, text, words, WORDS_MAX);
}

// Zeros where a short gap lies between declared registers. False: nobody knows this register.
static bool in_a_gap(const struct lw_node *node, int function, int at)
{
    int below = -1, above = INT32_MAX;
    for (size_t i = 0; i < node->profile->registers.count; i++) {
        const struct lw_register *reg = register_at(node, i);
        int end = reg->at + (int)lw_register_words(reg);
        if (reg->function != function) {
            continue;
        }
        below = end <= at && end > below ? end : below;
        above = reg->at > at && reg->at < above ? reg->at : above;
    }
    return below >= 0 && above != INT32_MAX && above - below <= GAP_MAX;
}

static bool in_setup(const struct lw_node *node, int function, int at, uint16_t *value)
{
    const struct lw_setup *setup = node->profile->setup;
    if (!setup || function != LW_READ_HOLDING) {
        return false;
    }
    if (at == setup->address.at) {
        *value = (uint16_t)node->set_address;
        return true;
    }
    if (setup->framing.values.count > 0 && at == setup->framing.at) {
        char text[LW_FRAMING_TEXT];
        lw_framing_text(&node->set_framing, text);
        for (size_t i = 0; i < setup->framing.values.count; i++) {
            const struct lw_pair *pair = (const struct lw_pair *)setup->framing.values.items + i;
            *value = strcmp(pair->name, text) == 0 ? (uint16_t)pair->value : *value;
        }
        return true;
    }
    return false;
}

static uint8_t read_registers(struct lw_node *node, const struct lw_request *request,
                              int64_t now_ns, struct lw_reply *reply)
{
    bool known[LW_READ_REGISTERS_MAX] = {false};
    int start = request->start, end = request->start + request->count;
    for (size_t i = 0; i < node->profile->registers.count; i++) {
        const struct lw_register *reg = register_at(node, i);
        if (reg->function != request->function || reg->at >= end ||
            reg->at + (int)lw_register_words(reg) <= start) {
            continue;
        }
        uint16_t words[WORDS_MAX];
        int count = (int)encode(node, reg, now_ns, words);
        for (int k = 0; k < count; k++) {
            int at = reg->at + k;
            if (at >= start && at < end) {
                reply->values[at - start] = words[k];
                known[at - start] = true;
            }
        }
        if (reg->role == LW_ROLE_SUPPLY_MIN_V && reg->clears_on_read) {
            node->lowest_v = INFINITY;
        }
    }
    for (int at = start; at < end; at++) {
        if (!known[at - start] &&
            !in_setup(node, request->function, at, &reply->values[at - start]) &&
            !in_a_gap(node, request->function, at)) {
            return LW_ILLEGAL_ADDRESS;
        }
    }
    reply->count = request->count;
    return 0;
}

// The number of a bit register among those of its function; -1: there is none.
static int bit_index(const struct lw_node *node, int function, int at)
{
    int index = 0;
    for (size_t i = 0; i < node->profile->registers.count; i++) {
        const struct lw_register *reg = register_at(node, i);
        if (reg->function == function && reg->at == at) {
            return index < LW_COILS_MAX ? index : -1;
        }
        index += reg->function == function;
    }
    return -1;
}

static uint8_t read_bits(struct lw_node *node, const struct lw_request *request, int64_t now_ns,
                         struct lw_reply *reply)
{
    unsigned status = status_word(node, now_ns);
    for (int i = 0; i < request->count; i++) {
        int index = bit_index(node, request->function, request->start + i);
        if (index < 0) {
            return LW_ILLEGAL_ADDRESS;
        }
        bool on = request->function == LW_READ_COILS ? lw_bit(node->coils, (size_t)index)
                                                     : index < 16 && (status >> index & 1);
        lw_bit_set(reply->bits, (size_t)i, on);
    }
    reply->count = request->count;
    return 0;
}

uint8_t lw_node_read(struct lw_node *node, const struct lw_request *request, int64_t now_ns,
                     struct lw_reply *reply)
{
    if (request->function == LW_READ_COILS || request->function == LW_READ_INPUTS) {
        return read_bits(node, request, now_ns, reply);
    }
    return read_registers(node, request, now_ns, reply);
}

static bool is_write(const struct lw_list *writes, size_t index, int at, int value)
{
    const struct lw_write *wanted = (const struct lw_write *)writes->items + index;
    return index < writes->count && wanted->at == at && wanted->value == value;
}

// The new address holds at once, or after the next start if it was saved before.
static uint8_t write_address(struct lw_node *node, const struct lw_setup *setup, int value)
{
    if (node->unlocked < setup->unlock.count) {
        return LW_DEVICE_FAILURE;
    }
    if (value < setup->address.min || value > setup->address.max) {
        return LW_ILLEGAL_VALUE;
    }
    node->set_address = value;
    if (setup->takes_effect == 0) {
        lw_node_readdress(node, value);
    }
    if (setup->save.count == 0) {
        node->saved_address = value;
    }
    return 0;
}

static uint8_t write_framing(struct lw_node *node, const struct lw_setup *setup, int value)
{
    if (node->unlocked < setup->unlock.count) {
        return LW_DEVICE_FAILURE;
    }
    for (size_t i = 0; i < setup->framing.values.count; i++) {
        const struct lw_pair *pair = (const struct lw_pair *)setup->framing.values.items + i;
        if ((int)pair->value == value &&
            lw_framing_parse(pair->name, &node->set_framing, NULL) == LW_OK) {
            if (setup->save.count == 0) {
                node->saved_framing = node->set_framing;
            }
            return 0;
        }
    }
    return LW_ILLEGAL_VALUE;
}

static uint8_t restart(struct lw_node *node, const struct lw_setup *setup)
{
    node->restarting++;
    node->restarts_itself = node->restarting == setup->restart.count;
    return 0;
}

static uint8_t write_register(struct lw_node *node, int at, int value)
{
    const struct lw_setup *setup = node->profile->setup;
    if (!setup) {
        return LW_ILLEGAL_ADDRESS;
    }
    if (is_write(&setup->unlock, node->unlocked, at, value)) {
        node->unlocked++;
        return 0;
    }
    for (size_t i = 0; i < setup->unlock.count && node->unlocked == setup->unlock.count; i++) {
        if (is_write(&setup->unlock, i, at, value)) { // open already
            return 0;
        }
    }
    if (at == setup->address.at) {
        return write_address(node, setup, value);
    }
    if (setup->framing.values.count > 0 && at == setup->framing.at) {
        return write_framing(node, setup, value);
    }
    for (size_t i = 0; i < setup->save.count; i++) {
        if (is_write(&setup->save, i, at, value)) {
            node->saved_address = node->set_address;
            node->saved_framing = node->set_framing;
            return 0;
        }
    }
    if (is_write(&setup->restart, node->restarting, at, value)) {
        return restart(node, setup);
    }
    return LW_ILLEGAL_ADDRESS;
}

static uint8_t write_coil(struct lw_node *node, int at, bool on)
{
    int index = bit_index(node, LW_READ_COILS, at);
    if (index < 0) {
        return LW_ILLEGAL_ADDRESS;
    }
    lw_bit_set(node->coils, (size_t)index, on);
    return 0;
}

uint8_t lw_node_write(struct lw_node *node, const struct lw_request *request)
{
    uint8_t exception = 0;
    switch (request->function) {
    case LW_WRITE_REGISTER:
        return write_register(node, request->start, request->value);
    case LW_WRITE_COIL:
        return write_coil(node, request->start, request->value != 0);
    case LW_WRITE_REGISTERS:
        for (int i = 0; i < request->count && exception == 0; i++) {
            exception = write_register(node, request->start + i, request->values[i]);
        }
        return exception;
    default:
        for (int i = 0; i < request->count && exception == 0; i++) {
            exception = write_coil(node, request->start + i, lw_bit(request->bits, (size_t)i));
        }
        return exception;
    }
}
