// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reading a profile: what its table cannot say is checked here, so that a slip in a profile is
// found when it is read and not when a node stands in front of the engineer.
#include "site/profile.h"

#include "base/unit.h"
#include "site/registers.h"
#include "site/semantic.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static bool is_bit_function(int function)
{
    return function == 1 || function == 2;
}

static enum lw_status register_type_check(const struct lw_register *reg, size_t i,
                                          struct lw_error *error)
{
    if (is_bit_function(reg->function) != (reg->type == LW_BIT)) {
        return lw_fail(error, LW_BAD_FILE,
                       "/registers/%zu/type: functions 1 and 2 read type 'bit', 3 and 4 all others",
                       i);
    }
    if ((reg->type == LW_REGISTER_TEXT) != (reg->length > 0)) {
        return lw_fail(error, LW_BAD_FILE, "/registers/%zu/length: belongs to type 'text' alone%s",
                       i, reg->length > 0 ? "" : ", which needs it");
    }
    bool whole = reg->type == LW_U16 || reg->type == LW_U32;
    if (reg->encoding != LW_ENCODING_PLAIN && !whole) {
        return lw_fail(error, LW_BAD_FILE,
                       "/registers/%zu/encoding: belongs to types 'u16' and 'u32' alone", i);
    }
    if (reg->scale == 0) {
        return lw_fail(error, LW_BAD_FILE, "/registers/%zu/scale: must not be 0", i);
    }
    return LW_OK;
}

static enum lw_status register_place_check(const struct lw_profile *profile, size_t i,
                                           struct lw_error *error)
{
    const struct lw_register *items = profile->registers.items;
    if ((size_t)items[i].at + lw_register_words(&items[i]) > 65536) {
        return lw_fail(error, LW_BAD_FILE, "/registers/%zu/register: ends past register 65535", i);
    }
    for (size_t k = 0; k < i && items[i].role != LW_ROLE_NONE; k++) {
        if (items[k].role == items[i].role) {
            return lw_fail(error, LW_BAD_FILE,
                           "/registers/%zu/role: '%s' is already the role of /registers/%zu", i,
                           lw_role_word((enum lw_role)items[i].role), k);
        }
    }
    return LW_OK;
}

// The reading and the metrology must speak of the same quantity.
static enum lw_status reading_unit_check(const struct lw_profile *profile, struct lw_error *error)
{
    const struct lw_register *reading = lw_profile_register(profile, LW_ROLE_READING);
    const char *unit = profile->metrology.unit;
    double factor;
    char from[LW_SITE_WORD], to[LW_SITE_WORD];
    if (!reading || !reading->unit || !unit || strcmp(reading->unit, unit) == 0 ||
        lw_unit_factor(reading->unit, unit, &factor)) {
        return LW_OK;
    }
    return lw_fail(error, LW_BAD_FILE,
                   "/metrology/unit: the reading is in '%s', which is no '%s' and cannot be turned "
                   "into it",
                   lw_site_word(from, reading->unit), lw_site_word(to, unit));
}

static enum lw_status registers_check(const struct lw_profile *profile, struct lw_error *error)
{
    const struct lw_register *items = profile->registers.items;
    for (size_t i = 0; i < profile->registers.count; i++) {
        enum lw_status status = register_type_check(&items[i], i, error);
        if (status == LW_OK) {
            status = register_place_check(profile, i, error);
        }
        if (status != LW_OK) {
            return status;
        }
    }
    return reading_unit_check(profile, error);
}

static enum lw_status status_bits_check(const struct lw_profile *profile, struct lw_error *error)
{
    const struct lw_status_bit *bits = profile->status_bits.items;
    uint32_t seen = 0;
    for (size_t i = 0; i < profile->status_bits.count; i++) {
        uint32_t bit = UINT32_C(1) << bits[i].bit;
        if (seen & bit) {
            return lw_fail(error, LW_BAD_FILE, "/status_bits/%zu/bit: %d is there already", i,
                           bits[i].bit);
        }
        seen |= bit;
    }
    return LW_OK;
}

// Each kind of load has its own figures; those of another kind are a slip.
static enum lw_status load_check(const struct lw_profile_load *load, struct lw_error *error)
{
    static const char *const keys[] = {"watts", "watts_max", "amps", "amps_max", "ohm", "ohm_min"};
    const double values[] = {load->watts,    load->watts_max, load->amps,
                             load->amps_max, load->ohm,       load->ohm_min};
    for (int i = 0; i < 6; i++) {
        if (!isnan(values[i]) && i / 2 != load->type) {
            return lw_fail(error, LW_BAD_FILE,
                           "/electrical/load/%s: does not belong to this type of load", keys[i]);
        }
    }
    if (load->watts_max < load->watts || load->amps_max < load->amps || load->ohm_min > load->ohm) {
        return lw_fail(
            error, LW_BAD_FILE,
            "/electrical/load/%s: the end of the tolerance lies on the wrong side of '%s'",
            keys[2 * load->type + 1], keys[2 * load->type]);
    }
    return LW_OK;
}

static enum lw_status ordered(double low, double high, const char *pointer, const char *other,
                              struct lw_error *error)
{
    if (low > high) { // false when one is absent
        return lw_fail(error, LW_BAD_FILE, "%s: %g is above '%s', %g", pointer, low, other, high);
    }
    return LW_OK;
}

static enum lw_status pair_check(const struct lw_list *pair, const char *pointer,
                                 struct lw_error *error)
{
    const double *values = pair->items;
    if (pair->count == 2 && !(values[0] < values[1])) {
        return lw_fail(error, LW_BAD_FILE, "%s: the first must be below the second", pointer);
    }
    return LW_OK;
}

static enum lw_status volts_check(const struct lw_electrical *has, struct lw_error *error)
{
    enum lw_status status =
        ordered(has->minimum_v, has->maximum_v, "/electrical/minimum_v", "maximum_v", error);
    if (status == LW_OK) {
        status =
            ordered(has->drop_out_v, has->minimum_v, "/electrical/drop_out_v", "minimum_v", error);
    }
    if (status == LW_OK) {
        status = ordered(has->drop_out_v, has->start_v, "/electrical/drop_out_v", "start_v", error);
    }
    if (status == LW_OK) {
        status = ordered(has->start_v, has->maximum_v, "/electrical/start_v", "maximum_v", error);
    }
    return status;
}

static enum lw_status electrical_check(const struct lw_profile *profile, struct lw_error *error)
{
    enum lw_status status = load_check(&profile->electrical.load, error);
    if (status == LW_OK) {
        status = volts_check(&profile->electrical, error);
    }
    if (status == LW_OK) {
        status = pair_check(&profile->electrical.receiver_threshold_v,
                            "/electrical/receiver_threshold_v", error);
    }
    if (status == LW_OK) {
        status = pair_check(&profile->metrology.range, "/metrology/range", error);
    }
    return status;
}

static enum lw_status setup_framings_check(const struct lw_setup *setup, struct lw_error *error)
{
    const struct lw_pair *pairs = setup->framing.values.items;
    for (size_t i = 0; i < setup->framing.values.count; i++) {
        enum lw_status status = lw_site_framing(pairs[i].name, "/setup/framing/values", error);
        if (status != LW_OK) {
            return status;
        }
        double value = pairs[i].value;
        if (!(value >= 0 && value <= 65535) || value != floor(value)) {
            return lw_fail(error, LW_BAD_FILE,
                           "/setup/framing/values: must be whole numbers of 0 to 65535");
        }
    }
    return LW_OK;
}

static enum lw_status setup_check(const struct lw_setup *setup, struct lw_error *error)
{
    if (!setup) {
        return LW_OK;
    }
    if (setup->write_function != 6 && setup->write_function != 16) {
        return lw_fail(error, LW_BAD_FILE, "/setup/write_function: must be 6 or 16, is %d",
                       setup->write_function);
    }
    enum lw_status status =
        ordered(setup->address.min, setup->address.max, "/setup/address/min", "max", error);
    if (status == LW_OK) {
        status = lw_site_framing(setup->factory_framing, "/setup/factory_framing", error);
    }
    return status == LW_OK ? setup_framings_check(setup, error) : status;
}

static enum lw_status profile_check(const struct lw_profile *profile, struct lw_error *error)
{
    enum lw_status status = lw_site_format(profile->format, "linewalk/profile/1", error);
    if (status == LW_OK && profile->name[0] == '\0') {
        status = lw_fail(error, LW_BAD_FILE, "/name: must not be empty");
    }
    if (status == LW_OK) {
        status = registers_check(profile, error);
    }
    if (status == LW_OK) {
        status = status_bits_check(profile, error);
    }
    if (status == LW_OK) {
        status = electrical_check(profile, error);
    }
    return status == LW_OK ? setup_check(profile->setup, error) : status;
}

enum lw_status lw_profile_read(const char *bytes, size_t length, const char *name,
                               struct lw_profile *profile, struct lw_error *error)
{
    assert(name && profile);
    enum lw_status status = lw_json_read(&lw_profile_shape, bytes, length, profile, error);
    if (status == LW_OK) {
        status = profile_check(profile, error);
        if (status != LW_OK) {
            lw_json_free(&lw_profile_shape, profile);
        }
    }
    return lw_site_within(status, "profile", name, error);
}

const struct lw_register *lw_profile_register(const struct lw_profile *profile, enum lw_role role)
{
    const struct lw_register *items = profile->registers.items;
    for (size_t i = 0; i < profile->registers.count; i++) {
        if (items[i].role == (int)role) {
            return &items[i];
        }
    }
    return NULL;
}
