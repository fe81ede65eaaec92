// SPDX-License-Identifier: GPL-3.0-or-later
//
// The table of a profile's keys. Each says what it means and what its absence means; the schema and
// the docs are made from it.
#include "site/fields.h"
#include "site/profile.h"

static const char *const kind_words[] = {"displacement", "loop_4_20", "encoder",
                                         "air",          "none",      NULL};
static const char *const role_words[] = {
    "none",          "reading",       "supply_v",         "supply_min_v",
    "supply_a",      "temperature",   "status",           "serial",
    "sensor_serial", "firmware",      "calibrated_on",    "calibration_due",
    "uptime_s",      "restart_count", "sample_counter",   "bus_error_count",
    "raw",           "loop_ma",       "air_pressure_kpa", NULL};
static const char *const type_words[] = {"u16", "i16", "u32", "i32", "f32", "text", "bit", NULL};
static const char *const order_words[] = {"high_first", "low_first", NULL};
static const char *const encoding_words[] = {"plain", "days_since_1970", "yyyymmdd", "bcd", NULL};
static const char *const meaning_words[] = {
    "under_voltage", "sensor_open", "over_range", "stale_identity", "fault", "other", NULL};
static const char *const load_words[] = {"constant_power", "constant_current", "resistive", NULL};
static const char *const volts_at_words[] = {"terminals", "after_protection", NULL};
static const char *const hot_plug_words[] = {"unknown", "allowed", "forbidden", NULL};
static const char *const noise_is_words[] = {"standard_deviation", "peak_to_peak", NULL};
static const char *const linearity_words[] = {"best_fit", "end_points", NULL};
static const char *const effect_words[] = {"at_once", "after_restart", NULL};

const char *lw_role_word(enum lw_role role)
{
    return role_words[role];
}

const char *lw_device_kind_word(enum lw_device_kind kind)
{
    return kind_words[kind];
}

#define OF struct lw_profile_identity
static const struct lw_field identity_fields[] = {
    FIELD(LW_TEXT, "vendor", vendor,
          "vendor name as the node gives it (identification object 0); absent: any", OPTIONAL),
    FIELD(LW_TEXT, "product_code", product_code,
          "product code as the node gives it (identification object 1); absent: any", OPTIONAL),
    FIELD(LW_TEXT, "revision_at_least", revision_at_least,
          "oldest firmware that will do, compared number by number between the dots; absent: any",
          OPTIONAL),
    {0}};
#undef OF
static const struct lw_shape identity_shape =
    SHAPE("identity", struct lw_profile_identity, identity_fields);

#define OF struct lw_register
static const struct lw_field register_fields[] = {
    FIELD(LW_TEXT, "name", name, "a name for people; absent: the role", OPTIONAL),
    FIELD(LW_CHOICE, "role", role,
          "what linewalk may use it for, each role once; absent: none, it is read by nobody",
          WORDS(role_words)),
    FIELD(LW_INTEGER, "function", function,
          "function code that reads it: 1 coils, 2 inputs, 3 holding, 4 input registers; absent: 3",
          ABSENT(3), RANGE(1, 4)),
    FIELD(LW_INTEGER, "register", at, "the first register, zero-based as on the wire", REQUIRED,
          RANGE(0, 65535)),
    FIELD(LW_TEXT, "manual_ref", manual_ref,
          "what the maker's manual prints for it; absent: not said", OPTIONAL),
    FIELD(LW_CHOICE, "type", type, "how the bits are meant; absent: u16", WORDS(type_words)),
    FIELD(LW_CHOICE, "word_order", word_order,
          "which register of two comes first; absent: high_first", WORDS(order_words)),
    FIELD(
        LW_CHOICE, "encoding", encoding,
        "how an integer is written: plain, a day count, the digits of a date, or one decimal digit "
        "in four bits; absent: plain",
        WORDS(encoding_words)),
    FIELD(LW_INTEGER, "length", length, "characters of a text, two in a register; absent: no text",
          ABSENT(0), RANGE(1, 122)),
    FIELD(LW_NUMBER, "scale", scale, "value = raw x scale + offset; absent: 1", DEFAULT(1)),
    FIELD(LW_NUMBER, "offset", offset, "value = raw x scale + offset, in `unit`; absent: 0",
          DEFAULT(0)),
    FIELD(LW_TEXT, "unit", unit, "unit of the value; absent: none", OPTIONAL),
    FIELD(LW_BOOLEAN, "clears_on_read", clears_on_read,
          "true: reading changes it, so it is left alone; absent: false", OPTIONAL),
    {0}};
#undef OF
static const struct lw_shape register_shape =
    SHAPE("register", struct lw_register, register_fields);

#define OF struct lw_status_bit
static const struct lw_field status_bit_fields[] = {
    FIELD(LW_INTEGER, "bit", bit, "bit of the register with the role status, 0 the lowest",
          REQUIRED, RANGE(0, 31)),
    FIELD(LW_CHOICE, "meaning", meaning, "what it says when it is 1", REQUIRED,
          WORDS(meaning_words)),
    {0}};
#undef OF
static const struct lw_shape status_bit_shape =
    SHAPE("status_bit", struct lw_status_bit, status_bit_fields);

#define OF struct lw_indicator
static const struct lw_field indicator_fields[] = {
    FIELD(LW_TEXT, "pattern", pattern, "what the lamp does", REQUIRED),
    FIELD(LW_TEXT, "node_thinks", node_thinks, "what the node means by it", REQUIRED),
    FIELD(LW_TEXT, "do", what_to_do, "what to do then; absent: nothing", OPTIONAL),
    FIELD(LW_TEXT, "manual_page", manual_page, "page of the maker's manual; absent: not said",
          OPTIONAL),
    {0}};
#undef OF
static const struct lw_shape indicator_shape =
    SHAPE("indicator", struct lw_indicator, indicator_fields);

#define OF struct lw_profile_load
static const struct lw_field load_fields[] = {
    FIELD(LW_CHOICE, "type", type, "how it draws from the supply; absent: constant_power",
          WORDS(load_words)),
    FIELD(LW_NUMBER, "watts", watts,
          "typical draw of a constant_power load, W; absent: not known, the supply is then not "
          "computed",
          FROM(0)),
    FIELD(LW_NUMBER, "watts_max", watts_max, "upper end of its tolerance, W; absent: watts",
          FROM(0)),
    FIELD(LW_NUMBER, "amps", amps, "typical draw of a constant_current load, A; absent: not known",
          FROM(0)),
    FIELD(LW_NUMBER, "amps_max", amps_max, "upper end of its tolerance, A; absent: amps", FROM(0)),
    FIELD(LW_NUMBER, "ohm", ohm, "a resistive load, ohm; absent: not known", ABOVE(0)),
    FIELD(LW_NUMBER, "ohm_min", ohm_min, "lower end of its tolerance, ohm; absent: ohm", ABOVE(0)),
    {0}};
#undef OF
static const struct lw_shape load_shape = SHAPE("load", struct lw_profile_load, load_fields);

#define OF struct lw_supply_reading
static const struct lw_field supply_reading_fields[] = {
    FIELD(LW_NUMBER, "step_v", step_v, "resolution of the node's voltmeter, V; absent: 0", FROM(0),
          DEFAULT(0)),
    FIELD(LW_NUMBER, "node_error_v", node_error_v,
          "this node's own constant error at coverage error_k, V; absent: not known, its volts are "
          "shown and not judged",
          FROM(0)),
    FIELD(LW_NUMBER, "kind_error_v", kind_error_v,
          "constant error common to all nodes of the kind at coverage error_k, V; absent: 0",
          FROM(0), DEFAULT(0)),
    FIELD(LW_NUMBER, "error_k", error_k, "coverage factor of the two errors; absent: 2", ABOVE(0),
          DEFAULT(2)),
    FIELD(LW_CHOICE, "at", at, "where it measures; absent: terminals", WORDS(volts_at_words)),
    {0}};
#undef OF
static const struct lw_shape supply_reading_shape =
    SHAPE("supply_reading", struct lw_supply_reading, supply_reading_fields);

#define OF struct lw_electrical
static const struct lw_field electrical_fields[] = {
    FIELD(LW_OBJECT, "load", load, "what it draws; absent: not known", SUB(load_shape)),
    FIELD(LW_NUMBER, "minimum_v", minimum_v,
          "lowest supply at its terminals at which its readings count, V; absent: not judged",
          FROM(0)),
    FIELD(LW_NUMBER, "maximum_v", maximum_v, "highest supply allowed, V; absent: not judged",
          ABOVE(0)),
    FIELD(LW_NUMBER, "start_v", start_v,
          "supply at which it starts, V; absent: minimum_v, else drop_out_v", FROM(0)),
    FIELD(LW_NUMBER, "drop_out_v", drop_out_v,
          "supply below which it stops, V; absent: 0, it is taken to draw to the end", FROM(0)),
    FIELD(LW_NUMBER, "start_up_a", start_up_a,
          "drawn while it waits to start, A; absent: what it draws when it runs at start_v",
          FROM(0)),
    FIELD(LW_NUMBER, "start_up_ms", start_up_ms,
          "time from start_v to running, ms; absent: not known", FROM(0)),
    FIELD(LW_NUMBER, "input_uf", input_uf, "input capacitance, uF; absent: not known", FROM(0)),
    FIELD(LW_NUMBER, "through_rated_a", through_rated_a,
          "current its own contacts may pass on, A; absent: not judged", ABOVE(0)),
    FIELD(LW_NUMBER, "through_ohm", through_ohm,
          "resistance of its way through, per rail, ohm; it adds to the span that ends at its tap; "
          "absent: 0",
          FROM(0), DEFAULT(0)),
    FIELD(LW_NUMBER, "unit_loads", unit_loads,
          "its share of the 32 unit loads of TIA-485-A; absent: not known", FROM(0)),
    FIELD(LW_NUMBERS, "receiver_threshold_v", receiver_threshold_v,
          "differential voltages that it surely reads as 0 and as 1, V; absent: -0.2 and 0.2 "
          "(TIA-485-A)",
          ITEMS(2, 2)),
    FIELD(LW_OPTIONAL, "supply_reading", supply_reading,
          "how good its voltmeter is; absent: its volts are shown and not judged",
          SUB(supply_reading_shape)),
    FIELD(LW_CHOICE, "hot_plug", hot_plug, "whether it may be plugged live; absent: unknown",
          WORDS(hot_plug_words)),
    {0}};
#undef OF
static const struct lw_shape electrical_shape =
    SHAPE("electrical", struct lw_electrical, electrical_fields);

#define OF struct lw_error_limit
static const struct lw_field error_limit_fields[] = {
    FIELD(LW_NUMBER, "fixed", fixed,
          "the part that is the same everywhere, in metrology.unit; absent: 0", FROM(0),
          DEFAULT(0)),
    FIELD(LW_NUMBER, "per_unit", per_unit,
          "what is added for each unit of distance from the zero, a ratio; absent: 0", FROM(0),
          DEFAULT(0)),
    {0}};
#undef OF
static const struct lw_shape error_limit_shape =
    SHAPE("error_limit", struct lw_error_limit, error_limit_fields);

#define OF struct lw_metrology
static const struct lw_field metrology_fields[] = {
    FIELD(LW_TEXT, "unit", unit,
          "unit of every key here and in the plan that has none in its name; absent: the reading "
          "register's",
          OPTIONAL),
    FIELD(LW_NUMBERS, "range", range,
          "lowest and highest reading, in metrology.unit; absent: not judged", ITEMS(2, 2)),
    FIELD(LW_NUMBER, "resolution", resolution,
          "step of the reading, in metrology.unit; absent: found from the readings", FROM(0)),
    FIELD(LW_NUMBER, "repeatability_1s", repeatability_1s,
          "one standard deviation at rest as the maker gives it, in metrology.unit; absent: not "
          "known",
          FROM(0)),
    FIELD(LW_NUMBER, "noise_limit", noise_limit,
          "most noise allowed at rest, in metrology.unit; absent: not judged", ABOVE(0)),
    FIELD(LW_CHOICE, "noise_is", noise_is, "what the limit limits; absent: standard_deviation",
          WORDS(noise_is_words)),
    FIELD(LW_NUMBER, "noise_over_s", noise_over_s, "over how long, s; absent: 10", ABOVE(0),
          DEFAULT(10)),
    FIELD(LW_OPTIONAL, "error_limit", error_limit,
          "error of indication allowed; absent: not judged", SUB(error_limit_shape)),
    FIELD(LW_CHOICE, "linearity_is", linearity_is,
          "the line that linearity is measured from; absent: best_fit", WORDS(linearity_words)),
    FIELD(LW_NUMBER, "update_ms", update_ms,
          "time between two readings of the node itself, ms; absent: found from the readings",
          ABOVE(0)),
    FIELD(LW_NUMBER, "averaging_ms", averaging_ms,
          "time over which the node averages, ms; absent: not known", FROM(0)),
    FIELD(LW_NUMBER, "warm_up_min", warm_up_min,
          "time after switching on until its readings count, minutes; absent: 0", FROM(0),
          DEFAULT(0)),
    FIELD(LW_NUMBER, "calibration_interval_days", calibration_interval_days,
          "days a calibration holds; absent: not judged", ABOVE(0)),
    {0}};
#undef OF
static const struct lw_shape metrology_shape =
    SHAPE("metrology", struct lw_metrology, metrology_fields);

#define OF struct lw_timing
static const struct lw_field timing_fields[] = {
    FIELD(LW_NUMBER, "slowest_reply_ms", slowest_reply_ms,
          "longest time from the end of a request to the first byte of the reply, ms; absent: not "
          "known, 50 is waited",
          ABOVE(0)),
    FIELD(LW_NUMBER, "gap_ms", gap_ms,
          "silence it wants before a request, above the 3.5 characters, ms; absent: 0", FROM(0),
          DEFAULT(0)),
    {0}};
#undef OF
static const struct lw_shape timing_shape = SHAPE("timing", struct lw_timing, timing_fields);

#define OF struct lw_write
static const struct lw_field write_fields[] = {
    FIELD(LW_INTEGER, "register", at, "register to write, zero-based", REQUIRED, RANGE(0, 65535)),
    FIELD(LW_INTEGER, "value", value, "what to write", REQUIRED, RANGE(0, 65535)),
    {0}};
#undef OF
static const struct lw_shape write_shape = SHAPE("write", struct lw_write, write_fields);

static const struct lw_field setup_address_fields[] = {
    {.key = "register",
     .kind = LW_INTEGER,
     .offset = offsetof(struct lw_setup, address.at) - offsetof(struct lw_setup, address),
     .says = "register that holds the address, zero-based; absent: the node is set by switches",
     ABSENT(-1),
     RANGE(0, 65535)},
    {.key = "min",
     .kind = LW_INTEGER,
     .offset = offsetof(struct lw_setup, address.min) - offsetof(struct lw_setup, address),
     .says = "lowest address it takes; absent: 1",
     ABSENT(1),
     RANGE(1, 247)},
    {.key = "max",
     .kind = LW_INTEGER,
     .offset = offsetof(struct lw_setup, address.max) - offsetof(struct lw_setup, address),
     .says = "highest address it takes; absent: 247",
     ABSENT(247),
     RANGE(1, 247)},
    {0}};
static const struct lw_shape setup_address_shape = {.name = "setup_address",
                                                    .size =
                                                        sizeof(((struct lw_setup *)NULL)->address),
                                                    .fields = setup_address_fields};

static const struct lw_field setup_framing_fields[] = {
    {.key = "register",
     .kind = LW_INTEGER,
     .offset = offsetof(struct lw_setup, framing.at) - offsetof(struct lw_setup, framing),
     .says = "register that holds the framing, zero-based; absent: the node is set by switches",
     ABSENT(-1),
     RANGE(0, 65535)},
    {.key = "values",
     .kind = LW_MAP,
     .offset = offsetof(struct lw_setup, framing.values) - offsetof(struct lw_setup, framing),
     .says = "value to write for each framing it takes; absent: none"},
    {0}};
static const struct lw_shape setup_framing_shape = {.name = "setup_framing",
                                                    .size =
                                                        sizeof(((struct lw_setup *)NULL)->framing),
                                                    .fields = setup_framing_fields};

static const char *const first_switch_words[] = {"one", "most", NULL};

#define OF struct lw_switches
static const struct lw_field switches_fields[] = {
    FIELD(LW_INTEGER, "count", count, "how many switches make the address", REQUIRED, RANGE(1, 8)),
    FIELD(LW_INTEGER, "offset", offset, "address with all switches off; absent: 0", ABSENT(0),
          RANGE(0, 247)),
    FIELD(LW_CHOICE, "first", first,
          "what switch 1 adds to the address: one, or the most of all; absent: one",
          WORDS(first_switch_words)),
    {0}};
#undef OF
static const struct lw_shape switches_shape =
    SHAPE("setup_switches", struct lw_switches, switches_fields);

#define OF struct lw_setup
static const struct lw_field setup_fields[] = {
    FIELD(LW_INTEGER, "factory_address", factory_address,
          "address of a new node; absent: not known", ABSENT(0), RANGE(1, 247)),
    FIELD(LW_TEXT, "factory_framing", factory_framing, "framing of a new node; absent: not known",
          OPTIONAL),
    FIELD(LW_INTEGER, "write_function", write_function,
          "function code that sets it: 6 or 16; absent: 6", ABSENT(6), RANGE(6, 16)),
    FIELD(LW_LIST, "unlock", unlock, "writes that come first, in order; absent: none",
          SUB(write_shape)),
    FIELD(LW_OBJECT, "address", address, "how its address is set; absent: by switches",
          SUB(setup_address_shape)),
    FIELD(LW_OBJECT, "framing", framing, "how its framing is set; absent: by switches",
          SUB(setup_framing_shape)),
    FIELD(LW_LIST, "save", save, "writes that come last, in order; absent: none", SUB(write_shape)),
    FIELD(LW_LIST, "restart", restart, "writes that restart it, in order; absent: by hand",
          SUB(write_shape)),
    FIELD(LW_CHOICE, "takes_effect", takes_effect, "when a new address holds; absent: at_once",
          WORDS(effect_words)),
    FIELD(LW_OPTIONAL, "switches", switches,
          "how its address switches count; absent: a binary number, or it has none",
          SUB(switches_shape)),
    {0}};
#undef OF
static const struct lw_shape setup_shape = SHAPE("setup", struct lw_setup, setup_fields);

#define OF struct lw_teds
static const struct lw_field teds_fields[] = {
    FIELD(LW_INTEGER, "function", function, "function code that reads it, 3 or 4; absent: 3",
          ABSENT(3), RANGE(3, 4)),
    FIELD(LW_INTEGER, "register", at, "first register of the data sheet, zero-based", REQUIRED,
          RANGE(0, 65535)),
    FIELD(LW_INTEGER, "count", count, "how many registers it has", REQUIRED, RANGE(1, 65536)),
    {0}};
#undef OF
static const struct lw_shape teds_shape = SHAPE("teds", struct lw_teds, teds_fields);

#define OF struct lw_profile
static const struct lw_field profile_fields[] = {
    FIELD(LW_TEXT, "format", format, "linewalk/profile/1", REQUIRED),
    FIELD(LW_TEXT, "name", name, "the name by which plans call it", REQUIRED),
    FIELD(LW_TEXT, "title", title, "a few words for people; absent: the name", OPTIONAL),
    FIELD(LW_CHOICE, "kind", kind, "what it measures", REQUIRED, WORDS(kind_words)),
    FIELD(LW_OBJECT, "identity", identity,
          "what the node says of itself; absent: its kind is not proved", SUB(identity_shape)),
    FIELD(LW_LIST, "registers", registers, "what can be read; absent: nothing",
          SUB(register_shape)),
    FIELD(LW_LIST, "status_bits", status_bits, "bits of the status register; absent: none",
          SUB(status_bit_shape)),
    FIELD(LW_LIST, "indicators", indicators, "what its lamps mean; absent: not said",
          SUB(indicator_shape)),
    FIELD(LW_OBJECT, "electrical", electrical, "its appetite for power; absent: not known",
          SUB(electrical_shape)),
    FIELD(LW_OBJECT, "metrology", metrology, "what its readings are worth; absent: not judged",
          SUB(metrology_shape)),
    FIELD(LW_OBJECT, "timing", timing, "how fast it answers; absent: not known", SUB(timing_shape)),
    FIELD(LW_OPTIONAL, "setup", setup, "how it is given its address; absent: by hand",
          SUB(setup_shape)),
    FIELD(LW_OPTIONAL, "teds", teds,
          "where its transducer electronic data sheet lies (IEEE 1451.4); absent: it has none",
          SUB(teds_shape)),
    {0}};
#undef OF
const struct lw_shape lw_profile_shape = SHAPE("profile", struct lw_profile, profile_fields);
