// SPDX-License-Identifier: GPL-3.0-or-later
//
// The table of a plan's keys, but for its `virtual` part. Each says what it means and what its
// absence means; the schema and the docs are made from it.
#include "site/fields.h"
#include "site/plan.h"
#include "site/plan_inside.h"

static const char *const end_words[] = {"head", "tail", NULL}; // -1, -2
static const char *const direction_words[] = {"adapter", "rts", "kernel", NULL};
static const char *const order_words[] = {"high_first", "low_first", NULL};
static const char *const past_limit_words[] = {"constant_current", "fold_back", "hiccup",
                                               "latch_off", NULL};
static const char *const reverse_words[] = {"blocks", "sinks", "trips", NULL};
static const char *const cuts_words[] = {"none", "v_plus", "both", NULL};
static const char *const passive_words[] = {"joint", "repeater", "isolator", NULL};
static const char *const moves_words[] = {"unknown", "positive", "negative", NULL};

#define OF struct lw_plan_site
static const struct lw_field site_fields[] = {
    FIELD(LW_TEXT, "customer", customer, "whose machine; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "machine", machine, "which machine; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "location", location, "where it stands; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "job", job, "the job's number; absent: not said", OPTIONAL),
    {0}};
#undef OF
static const struct lw_shape site_shape = SHAPE("site", struct lw_plan_site, site_fields);

#define OF struct lw_termination
static const struct lw_field termination_fields[] = {
    FIELD(LW_INTEGER, "at", at, "the tap it sits at, or head or tail", REQUIRED, WORDS(end_words),
          RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_NUMBER, "ohm", ohm, "its resistance, ohm; absent: 120", ABOVE(0), DEFAULT(120)),
    {0}};
#undef OF
static const struct lw_shape termination_shape =
    SHAPE("termination", struct lw_termination, termination_fields);

#define OF struct lw_bias
static const struct lw_field bias_fields[] = {
    FIELD(LW_INTEGER, "at", at, "the tap it sits at, or head or tail; absent: head", ABSENT(-1),
          WORDS(end_words), RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_NUMBER, "supply_v", supply_v, "voltage it is fed from, V; absent: 5", ABOVE(0),
          DEFAULT(5)),
    FIELD(LW_NUMBER, "pull_up_ohm", pull_up_ohm, "resistor from that voltage to D1, ohm", REQUIRED,
          ABOVE(0)),
    FIELD(LW_NUMBER, "pull_down_ohm", pull_down_ohm, "resistor from D0 to 0 V, ohm", REQUIRED,
          ABOVE(0)),
    {0}};
#undef OF
static const struct lw_shape bias_shape = SHAPE("bias", struct lw_bias, bias_fields);

#define OF struct lw_plan_line
static const struct lw_field line_fields[] = {
    FIELD(LW_TEXT, "framing", framing, "rate, data bits, parity and stop bits: 19200/8E1",
          REQUIRED),
    FIELD(LW_NUMBER, "wanted_cycle_ms", wanted_cycle_ms,
          "longest time in which every node has to be read once, ms; absent: not judged", ABOVE(0)),
    FIELD(LW_NUMBER, "length_m", length_m,
          "length of the data pair, m; absent: the sum of the spans", ABOVE(0)),
    FIELD(LW_NUMBER, "longest_stub_m", longest_stub_m, "longest stub, m; absent: not known",
          FROM(0)),
    FIELD(LW_LIST, "terminations", terminations, "terminating resistors; absent: none",
          SUB(termination_shape)),
    FIELD(LW_OPTIONAL, "bias", bias, "what holds the idle line; absent: nothing", SUB(bias_shape)),
    FIELD(LW_INTEGER, "tester_at", tester_at,
          "the tap where linewalk is connected, or head or tail; absent: head", ABSENT(-1),
          WORDS(end_words), RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_CHOICE, "direction", direction,
          "who switches the adapter to sending: adapter, rts line, kernel; absent: adapter",
          WORDS(direction_words)),
    FIELD(LW_INTEGER, "direction_before_ms", direction_before_ms,
          "how long RTS is raised before the first bit, ms; absent: 0", RANGE(0, 100)),
    FIELD(LW_INTEGER, "direction_after_ms", direction_after_ms,
          "how long RTS stays raised after the last bit, ms; absent: 0", RANGE(0, 100)),
    {0}};
#undef OF
static const struct lw_shape line_shape = SHAPE("line", struct lw_plan_line, line_fields);

#define OF struct lw_controller_read
static const struct lw_field read_fields[] = {
    FIELD(LW_TEXT, "nodes", nodes, "which nodes: names and ranges of the chain, P01-P04,P07",
          REQUIRED),
    FIELD(LW_INTEGER, "function", function, "function code, 1 to 4; absent: 3", ABSENT(3),
          RANGE(1, 4)),
    FIELD(LW_INTEGER, "register", at, "first register, zero-based", REQUIRED, RANGE(0, 65535)),
    FIELD(LW_INTEGER, "count", count, "how many registers or bits; absent: 1", ABSENT(1),
          RANGE(1, 2000)),
    FIELD(LW_CHOICE, "word_order", word_order,
          "which register of two the controller takes first; absent: high_first",
          WORDS(order_words)),
    {0}};
#undef OF
static const struct lw_shape read_shape =
    SHAPE("controller_read", struct lw_controller_read, read_fields);

#define OF struct lw_controller
static const struct lw_field controller_fields[] = {
    FIELD(LW_NUMBER, "timeout_ms", timeout_ms,
          "how long the controller waits for a reply, ms; absent: not judged", ABOVE(0)),
    FIELD(LW_NUMBER, "cycle_ms", cycle_ms, "its cycle, ms; absent: not judged", ABOVE(0)),
    FIELD(LW_LIST, "reads", reads, "what it reads in a cycle; absent: not known", SUB(read_shape)),
    {0}};
#undef OF
static const struct lw_shape controller_shape =
    SHAPE("controller", struct lw_controller, controller_fields);

#define OF struct lw_conductor_spec
static const struct lw_field conductor_fields[] = {
    FIELD(LW_NUMBER, "area_mm2", area_mm2,
          "nominal cross-section, mm2: verdicts use the largest resistance of IEC 60228 class 5, "
          "sizes the table lacks 1.13 times nominal copper",
          ABOVE(0)),
    FIELD(LW_INTEGER, "awg", awg, "size in AWG, 0 to -3 for 1/0 to 4/0: diameter by ASTM B258",
          ABSENT(-100), RANGE(-3, 40)),
    FIELD(LW_BOOLEAN, "stranded", stranded,
          "true: an AWG conductor of strands, 1.13 times the solid one's resistance; absent: false",
          OPTIONAL),
    FIELD(LW_BOOLEAN, "tinned", tinned,
          "true: the tinned column of IEC 60228; absent: false, plain copper", OPTIONAL),
    FIELD(LW_NUMBER, "ohm_per_km", ohm_per_km,
          "resistance as the cable's maker gives it, ohm/km at 20 C", ABOVE(0)),
    FIELD(LW_INTEGER, "parallel", parallel, "how many lie side by side; absent: 1", ABSENT(1),
          RANGE(1, 16)),
    {0}};
#undef OF
static const struct lw_shape conductor_shape =
    SHAPE("conductor", struct lw_conductor_spec, conductor_fields);
const struct lw_shape *const lw_plan_conductor_shape = &conductor_shape;

#define OF struct lw_derating_point
static const struct lw_field derating_fields[] = {
    FIELD(LW_NUMBER, "air_c", air_c, "temperature of the air in the cabinet, C", REQUIRED,
          RANGE(-60, 150)),
    FIELD(LW_NUMBER, "fraction", fraction, "share of the limit that is left there", REQUIRED,
          RANGE(0, 2)),
    {0}};
#undef OF
static const struct lw_shape derating_shape =
    SHAPE("derating", struct lw_derating_point, derating_fields);

#define OF struct lw_lead
static const struct lw_field lead_fields[] = {
    FIELD(LW_NUMBER, "length_m", length_m, "one way, m; absent: 0", FROM(0), DEFAULT(0)),
    FIELD(LW_OBJECT, "conductor", conductor,
          "of each of its two wires; needed when it has a length", SUB(conductor_shape)),
    FIELD(LW_INTEGER, "joints", joints, "joints in each wire; absent: 0", ABSENT(0),
          RANGE(0, 1000)),
    FIELD(LW_NUMBER, "joint_ohm", joint_ohm, "resistance of one joint, ohm; absent: 0.01", FROM(0),
          DEFAULT(0.01)),
    {0}};
#undef OF
static const struct lw_shape lead_shape = SHAPE("lead", struct lw_lead, lead_fields);

#define OF struct lw_supply
static const struct lw_field supply_fields[] = {
    FIELD(LW_TEXT, "name", name, "its name; absent: known by its tap", OPTIONAL),
    FIELD(LW_TEXT, "order_code", order_code, "for the spare parts list; absent: not said",
          OPTIONAL),
    FIELD(LW_NUMBER, "nominal_v", nominal_v, "voltage it is set to, V", REQUIRED, ABOVE(0)),
    FIELD(LW_NUMBER, "tolerance_pct", tolerance_pct,
          "half-width of its tolerance, % of nominal_v; absent: 0, the worst case then takes it as "
          "exact",
          RANGE(0, 50), DEFAULT(0)),
    FIELD(LW_NUMBER, "output_ohm", output_ohm,
          "resistance behind its terminals, on V+, ohm; absent: 0.001", ABOVE(0), DEFAULT(0.001)),
    FIELD(LW_NUMBER, "limit_a", limit_a, "current it can give for ever at full rating, A", REQUIRED,
          ABOVE(0)),
    FIELD(LW_CHOICE, "past_limit", past_limit,
          "what it does past that current; absent: constant_current", WORDS(past_limit_words)),
    FIELD(LW_NUMBER, "fold_back_a", fold_back_a,
          "current into a short circuit, fold_back only, A; absent: 0", FROM(0), DEFAULT(0)),
    FIELD(LW_NUMBER, "hiccup_off_s", hiccup_off_s,
          "pause between two tries, hiccup only, s; absent: 1", ABOVE(0), DEFAULT(1)),
    FIELD(LW_CHOICE, "reverse", reverse,
          "what it does when its terminals are held above its own voltage; absent: blocks",
          WORDS(reverse_words)),
    FIELD(LW_LIST, "derating", derating,
          "share of limit_a by temperature, straight between the points, held beyond them; absent: "
          "all of it",
          SUB(derating_shape)),
    FIELD(LW_OPTIONAL, "lead", lead, "the wires from it to the chain; absent: none",
          SUB(lead_shape)),
    FIELD(LW_INTEGER, "feeds_tap", feeds_tap,
          "the tap it feeds, on the node's side of its through_ohm", REQUIRED,
          RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_CHOICE, "cuts_before", cuts_before,
          "which rails are cut between the tap before and this one; absent: none",
          WORDS(cuts_words)),
    FIELD(LW_NUMBER, "measured_v", measured_v,
          "voltage measured at its terminals, V; absent: not measured", FROM(0)),
    FIELD(LW_NUMBER, "measured_a", measured_a, "current measured, A; absent: not measured",
          FROM(0)),
    FIELD(LW_NUMBER, "start_delay_ms", start_delay_ms,
          "time from switching on to its voltage, ms; absent: 0", FROM(0), DEFAULT(0)),
    FIELD(LW_NUMBER, "boost_a", boost_a, "current it can give for boost_s, A; absent: limit_a",
          FROM(0)),
    FIELD(LW_NUMBER, "boost_s", boost_s, "for how long, s; absent: 0", FROM(0), DEFAULT(0)),
    {0}};
#undef OF
static const struct lw_shape supply_shape = SHAPE("supply", struct lw_supply, supply_fields);
const struct lw_shape *const lw_plan_supply_shape = &supply_shape;

#define OF struct lw_span_spec
static const struct lw_field span_fields[] = {
    FIELD(LW_NUMBER, "length_m", length_m,
          "length one way, m; absent: as in span_default, and one of the two is needed", ABOVE(0)),
    FIELD(LW_NUMBER, "length_tolerance_pct", length_tolerance_pct,
          "tolerance of the length, %; absent: as in span_default, else 0", RANGE(0, 100)),
    FIELD(LW_OPTIONAL, "conductor", conductor,
          "both rails' conductor; absent: as in span_default, and one of the two is needed",
          SUB(conductor_shape)),
    FIELD(LW_OPTIONAL, "v_plus", v_plus, "the V+ rail's own conductor; absent: conductor",
          SUB(conductor_shape)),
    FIELD(LW_OPTIONAL, "zero_v", zero_v, "the 0 V rail's own conductor; absent: conductor",
          SUB(conductor_shape)),
    FIELD(LW_INTEGER, "joints", joints, "joints in each rail; absent: as in span_default, else 0",
          ABSENT(-1), RANGE(0, 1000)),
    FIELD(LW_NUMBER, "joint_ohm", joint_ohm,
          "resistance of one joint, ohm; absent: as in span_default, else 0.01", FROM(0)),
    FIELD(LW_NUMBER, "joint_ohm_max", joint_ohm_max,
          "the most a sound joint has, ohm; absent: as in span_default, else joint_ohm", FROM(0)),
    FIELD(LW_NUMBER, "rated_a", rated_a,
          "current it may carry for ever, A; absent: as in span_default, else not judged",
          ABOVE(0)),
    FIELD(LW_NUMBER, "conductor_c", conductor_c,
          "temperature of the conductor, C; absent: as in span_default, else ambient_c",
          RANGE(-60, 150)),
    {0}};
#undef OF
static const struct lw_shape span_shape = SHAPE("span", struct lw_span_spec, span_fields);

#define OF struct lw_zero_v_bond
static const struct lw_field bond_fields[] = {
    FIELD(LW_INTEGER, "at", at, "the tap where 0 V meets the machine frame, or head or tail",
          REQUIRED, WORDS(end_words), RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_NUMBER, "ohm", ohm, "its resistance to the frame, ohm; absent: 0.01", ABOVE(0),
          DEFAULT(0.01)),
    FIELD(LW_TEXT, "what", what,
          "what makes it: an end clamp, a shield, a laptop; absent: not said", OPTIONAL),
    {0}};
#undef OF
static const struct lw_shape bond_shape = SHAPE("zero_v_bond", struct lw_zero_v_bond, bond_fields);

#define OF struct lw_limits
static const struct lw_field limits_fields[] = {
    FIELD(LW_NUMBER, "margin_v", margin_v,
          "volts wanted above the profile's minimum_v, V; absent: the plan's, else 1", FROM(0)),
    FIELD(LW_NUMBER, "supply_load_pct", supply_load_pct,
          "most of its limit that a supply may give, %; absent: the plan's, else 80",
          RANGE(0, 100)),
    FIELD(LW_NUMBER, "error_rate", error_rate,
          "most polls of the line that may go wrong, a ratio; absent: the plan's, else 0.001",
          RANGE(0, 1)),
    FIELD(LW_NUMBER, "bursts_per_h", bursts_per_h,
          "most bursts of errors in an hour; absent: the plan's, else not judged", FROM(0)),
    FIELD(LW_NUMBER, "reply_ms", reply_ms,
          "slowest reply allowed, ms; absent: the plan's, else the profile's slowest_reply_ms",
          ABOVE(0)),
    FIELD(LW_NUMBER, "noise_limit", noise_limit,
          "most noise at rest, in the profile's metrology.unit; absent: the plan's, else the "
          "profile's",
          ABOVE(0)),
    FIELD(LW_NUMBER, "first_answer_s", first_answer_s,
          "time from power to the first answer, s; absent: the plan's, else not judged", ABOVE(0)),
    {0}};
#undef OF
static const struct lw_shape limits_shape = SHAPE("limits", struct lw_limits, limits_fields);

#define OF struct lw_chain_entry
static const struct lw_field entry_fields[] = {
    FIELD(LW_TEXT, "node", node, "the node's name; needed but for a passive tap", OPTIONAL),
    FIELD(LW_TEXT, "profile", profile, "name of its profile; needed but for a passive tap",
          OPTIONAL),
    FIELD(LW_CHOICE, "passive", passive,
          "a tap without a node: a joint, a repeater, an isolator; absent: there is a node",
          ABSENT(-1), WORDS(passive_words)),
    FIELD(LW_INTEGER, "address", address, "its address; needed but for a passive tap", ABSENT(0),
          RANGE(1, 247)),
    FIELD(LW_TEXT, "serial", serial, "the module's serial, compared as text; absent: not compared",
          OPTIONAL),
    FIELD(LW_TEXT, "sensor_serial", sensor_serial,
          "the sensor's serial, compared as text; absent: not compared", OPTIONAL),
    FIELD(LW_TEXT, "firmware", firmware,
          "its firmware as built, compared number by number; absent: not compared", OPTIONAL),
    FIELD(LW_TEXT, "place", place, "where the sensor sits in the machine; absent: not said",
          OPTIONAL),
    FIELD(LW_CHOICE, "moves", moves,
          "sign of the reading when the sensor is pushed in; absent: unknown", WORDS(moves_words)),
    FIELD(LW_NUMBER, "travel", travel,
          "free travel it must have, in the profile's metrology.unit; absent: not judged",
          ABOVE(0)),
    FIELD(LW_NUMBERS, "position_mm", position_mm, "x, y, z in the machine, mm; absent: not known",
          ITEMS(3, 3)),
    FIELD(LW_OPTIONAL, "span", span, "the span that ends at this tap; absent: span_default",
          SUB(span_shape)),
    FIELD(LW_OPTIONAL, "limits", limits, "limits of this node; absent: the plan's",
          SUB(limits_shape)),
    {0}};
#undef OF
const struct lw_shape lw_chain_entry_shape =
    SHAPE("chain_entry", struct lw_chain_entry, entry_fields);

#define OF struct lw_term
static const struct lw_field term_fields[] = {
    FIELD(LW_NUMBER, "factor", factor, "what the reading is multiplied by", REQUIRED),
    FIELD(LW_TEXT, "node", node, "the node's name", REQUIRED),
    {0}};
#undef OF
static const struct lw_shape term_shape = {
    .name = "term", .size = sizeof(struct lw_term), .fields = term_fields, .tuple = true};

#define OF struct lw_combination
static const struct lw_field combination_fields[] = {
    FIELD(LW_TEXT, "name", name, "what the machine calls it", REQUIRED),
    FIELD(LW_LIST, "terms", terms, "factor and node, summed", REQUIRED, ITEMS(1, 0),
          SUB(term_shape)),
    FIELD(LW_TEXT, "unit", unit, "unit of the result; absent: the first node's metrology.unit",
          OPTIONAL),
    FIELD(LW_NUMBER, "tolerance", tolerance,
          "width of the tolerance, in `unit`; absent: not judged", ABOVE(0)),
    {0}};
#undef OF
static const struct lw_shape combination_shape =
    SHAPE("combination", struct lw_combination, combination_fields);

#define OF struct lw_plan
static const struct lw_field plan_fields[] = {
    FIELD(LW_TEXT, "format", format, "linewalk/plan/1", REQUIRED),
    FIELD(LW_TEXT, "revision", revision, "revision of the plan; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "made_by", made_by, "who made it; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "made_on", made_on, "when, a date; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "drawing", drawing, "the drawing it follows; absent: not said", OPTIONAL),
    FIELD(LW_OBJECT, "site", site, "whose machine and where; absent: not said", SUB(site_shape)),
    FIELD(LW_OBJECT, "line", line, "the data pair", REQUIRED, SUB(line_shape)),
    FIELD(LW_OPTIONAL, "controller", controller,
          "the master that normally runs this line; absent: not judged", SUB(controller_shape)),
    FIELD(LW_NUMBER, "ambient_c", ambient_c, "temperature around the cables, C; absent: 20",
          RANGE(-60, 150), DEFAULT(20)),
    FIELD(LW_NUMBER, "cabinet_c", cabinet_c,
          "temperature of the air around the supplies, C; absent: ambient_c", RANGE(-60, 150)),
    FIELD(LW_LIST, "supplies", supplies, "the DC sources, the first one the reference", REQUIRED,
          ITEMS(1, 64), SUB(supply_shape)),
    FIELD(LW_OBJECT, "span_default", span_default,
          "what holds for a span that does not say it itself", SUB(span_shape)),
    FIELD(LW_LIST, "zero_v_bonds", zero_v_bonds,
          "where 0 V meets the machine frame; two or more put the frame parallel to the 0 V rail; "
          "absent: none",
          SUB(bond_shape)),
    FIELD(LW_LIST, "chain", chain, "the taps in order, the head first", REQUIRED,
          ITEMS(1, LW_PLAN_TAPS_MAX), SUB(lw_chain_entry_shape)),
    FIELD(LW_LIST, "combinations", combinations,
          "sums of readings as the machine uses them; absent: none", SUB(combination_shape)),
    FIELD(LW_TEXTS, "required_checks", required_checks,
          "checks without which a visit is incomplete; absent: scan, roster, link, supply, noise",
          OPTIONAL),
    FIELD(LW_OBJECT, "limits", limits, "limits of the whole chain; absent: the profiles'",
          SUB(limits_shape)),
    FIELD(LW_OPTIONAL, "virtual", simulated, "how a virtual chain behaves; absent: without a fault",
          SUB(lw_virtual_shape)),
    {0}};
#undef OF
const struct lw_shape lw_plan_shape = SHAPE("plan", struct lw_plan, plan_fields);
