// SPDX-License-Identifier: GPL-3.0-or-later
//
// A profile: what one kind of device is. Its registers, its appetite for power, its limits and its
// timing, as JSON
// ("linewalk/profile/1"). Absent values make the fewest claims: what a profile does not say is not
// tested.
#ifndef LW_SITE_PROFILE_H
#define LW_SITE_PROFILE_H

#include "base/json.h"

#include <stdbool.h>
#include <stdint.h>

enum lw_device_kind { LW_DISPLACEMENT, LW_LOOP_4_20, LW_ENCODER, LW_AIR, LW_KIND_NONE };

enum lw_role {
    LW_ROLE_NONE,
    LW_ROLE_READING,
    LW_ROLE_SUPPLY_V,
    LW_ROLE_SUPPLY_MIN_V,
    LW_ROLE_SUPPLY_A,
    LW_ROLE_TEMPERATURE,
    LW_ROLE_STATUS,
    LW_ROLE_SERIAL,
    LW_ROLE_SENSOR_SERIAL,
    LW_ROLE_FIRMWARE,
    LW_ROLE_CALIBRATED_ON,
    LW_ROLE_CALIBRATION_DUE,
    LW_ROLE_UPTIME_S,
    LW_ROLE_RESTART_COUNT,
    LW_ROLE_SAMPLE_COUNTER,
    LW_ROLE_BUS_ERROR_COUNT,
    LW_ROLE_RAW,
    LW_ROLE_LOOP_MA,
    LW_ROLE_AIR_PRESSURE_KPA,
};

enum lw_register_type { LW_U16, LW_I16, LW_U32, LW_I32, LW_F32, LW_REGISTER_TEXT, LW_BIT };
enum lw_word_order { LW_HIGH_FIRST, LW_LOW_FIRST };
enum lw_encoding { LW_ENCODING_PLAIN, LW_DAYS_SINCE_1970, LW_YYYYMMDD, LW_BCD };

// value = raw * scale + offset, in `unit`. Text registers hold `length` characters, two a register.
struct lw_register {
    char *name;
    int role;     // enum lw_role
    int function; // 1, 2, 3 or 4
    int at;       // "register": zero-based as on the wire, 0..65535
    char *manual_ref;
    int type;       // enum lw_register_type
    int word_order; // enum lw_word_order
    int encoding;   // enum lw_encoding
    int length;     // characters, LW_REGISTER_TEXT
    double scale, offset;
    char *unit; // NULL: none
    bool clears_on_read;
};

struct lw_status_bit {
    int bit;
    int meaning; // enum lw_bit_meaning
};
enum lw_bit_meaning {
    LW_BIT_UNDER_VOLTAGE,
    LW_BIT_SENSOR_OPEN,
    LW_BIT_OVER_RANGE,
    LW_BIT_STALE_IDENTITY,
    LW_BIT_FAULT,
    LW_BIT_OTHER,
};

struct lw_indicator {
    char *pattern, *node_thinks, *what_to_do /* "do" */, *manual_page;
};

struct lw_profile_load {
    int type; // 0 constant_power, 1 constant_current, 2 resistive
    double watts, watts_max, amps, amps_max, ohm, ohm_min;
};

struct lw_supply_reading {
    double step_v, node_error_v, kind_error_v, error_k;
    int at; // 0 terminals, 1 after_protection
};

struct lw_electrical {
    struct lw_profile_load load;
    double minimum_v, maximum_v, start_v, drop_out_v;
    double start_up_a, start_up_ms, input_uf;
    double through_rated_a, through_ohm;
    double unit_loads;
    struct lw_list receiver_threshold_v; // two doubles
    struct lw_supply_reading *supply_reading;
    int hot_plug; // 0 unknown, 1 allowed, 2 forbidden
};

struct lw_error_limit {
    double fixed, per_unit;
};

struct lw_metrology {
    char *unit;           // of every key here without a unit in its name
    struct lw_list range; // two doubles
    double resolution, repeatability_1s;
    double noise_limit;
    int noise_is; // 0 standard_deviation, 1 peak_to_peak
    double noise_over_s;
    struct lw_error_limit *error_limit;
    int linearity_is; // 0 best_fit, 1 end_points
    double update_ms, averaging_ms, warm_up_min;
    double calibration_interval_days;
};

struct lw_timing {
    double slowest_reply_ms, gap_ms;
};

struct lw_write {
    int at; // "register"
    int value;
};
// The address as switches: address = offset + the sum of the switches that are on.
struct lw_switches {
    int count;  // of them, 1..8
    int offset; // address with all of them off
    int first;  // what switch 1 is worth: 0 one, 1 most
};
struct lw_setup {
    int factory_address;
    char *factory_framing;
    int write_function;
    struct lw_list unlock; // of struct lw_write
    struct {
        int at, min, max;
    } address;
    struct {
        int at;
        struct lw_list values; // of struct lw_pair
    } framing;
    struct lw_list save;    // of struct lw_write
    struct lw_list restart; // of struct lw_write; empty: by hand
    int takes_effect;       // 0 at_once, 1 after_restart
    struct lw_switches *switches;
};

struct lw_profile_identity {
    char *vendor, *product_code, *revision_at_least;
};

struct lw_teds {
    int function, at, count;
};

struct lw_profile {
    char *format, *name, *title;
    int kind; // enum lw_device_kind
    struct lw_profile_identity identity;
    struct lw_list registers;   // of struct lw_register
    struct lw_list status_bits; // of struct lw_status_bit
    struct lw_list indicators;  // of struct lw_indicator
    struct lw_electrical electrical;
    struct lw_metrology metrology;
    struct lw_timing timing;
    struct lw_setup *setup;
    struct lw_teds *teds;
};

extern const struct lw_shape lw_profile_shape;

// Reads and checks one profile; `name` is for messages ("profile 'probe.json': ..."). Free with
// lw_json_free(&lw_profile_shape, profile).
enum lw_status lw_profile_read(const char *bytes, size_t length, const char *name,
                               struct lw_profile *profile, struct lw_error *error);

// The first register with that role, NULL when there is none.
const struct lw_register *lw_profile_register(const struct lw_profile *profile, enum lw_role role);

// Compares revisions number by number between the dots: <0, 0, >0 as strcmp. Non-numbers compare as
// text.
int lw_revision_compare(const char *a, const char *b);

const char *lw_role_word(enum lw_role role);
const char *lw_device_kind_word(enum lw_device_kind kind);

#endif
