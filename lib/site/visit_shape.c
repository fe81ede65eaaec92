// SPDX-License-Identifier: GPL-3.0-or-later
//
// The table of visit.json, and the same keys with none of them needed: what a later record of the
// visit command changes.
#include "site/fields.h"
#include "site/visit.h"

#define OF struct lw_instrument
static const struct lw_field instrument_fields[] = {
    FIELD(LW_TEXT, "id", id, "by what the records name it", REQUIRED),
    FIELD(LW_TEXT, "kind", kind, "multimeter, gauge blocks, loop calibrator, ...; absent: not said",
          OPTIONAL),
    FIELD(LW_TEXT, "maker", maker, "who made it; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "serial", serial, "its serial; absent: not said", OPTIONAL),
    FIELD(LW_TEXT, "certificate", certificate,
          "number of its certificate; absent: it has none, its values are not traceable", OPTIONAL),
    FIELD(LW_TEXT, "calibrated_on", calibrated_on, "a date; absent: not known", OPTIONAL),
    FIELD(LW_TEXT, "due_on", due_on, "last day of its certificate; absent: not judged", OPTIONAL),
    FIELD(LW_NUMBER, "u", u,
          "expanded uncertainty of the certificate, in `unit`; absent: not known", FROM(0)),
    FIELD(LW_NUMBER, "k", k, "its coverage factor; absent: 2", ABOVE(0), DEFAULT(2)),
    FIELD(LW_TEXT, "unit", unit, "unit of u; absent: none", OPTIONAL),
    {0}};
#undef OF
const struct lw_shape lw_instrument_shape =
    SHAPE("instrument", struct lw_instrument, instrument_fields);

#define OF struct lw_plan_revision
static const struct lw_field revision_fields[] = {
    FIELD(LW_TEXT, "from", from, "the revision before; absent: it had none", OPTIONAL),
    FIELD(LW_TEXT, "to", to, "the revision after", REQUIRED),
    FIELD(LW_TEXT, "reason", reason, "why; absent: not said", OPTIONAL),
    FIELD(LW_TEXTS, "changes", changes,
          "a sentence for each change, and for each node left as it was", OPTIONAL),
    {0}};
#undef OF
static const struct lw_shape revision_shape =
    SHAPE("plan_revision", struct lw_plan_revision, revision_fields);

// The keys that both shapes have.
#define COMMON                                                                                     \
    FIELD(LW_TEXT, "engineer", engineer, "who was there; absent: not said", OPTIONAL),             \
        FIELD(LW_TEXT, "company", company, "for which firm; absent: not said", OPTIONAL),          \
        FIELD(LW_TEXT, "customer_contact", customer_contact,                                       \
              "who spoke for the customer; absent: not said", OPTIONAL),                           \
        FIELD(LW_TEXT, "machine_serial", machine_serial, "the machine's serial; absent: not said", \
              OPTIONAL),                                                                           \
        FIELD(LW_TEXT, "language", language, "language of the report; absent: en", OPTIONAL),      \
        FIELD(LW_NUMBER, "clock_offset_s", clock_offset_s,                                         \
              "true time less the laptop's, s; absent: not compared", OPTIONAL),                   \
        FIELD(LW_TEXT, "plan", plan, "the plan as kept under inputs/; absent: none", OPTIONAL),    \
        FIELD(LW_LIST, "instruments", instruments, "what values are measured with; absent: none",  \
              SUB(lw_instrument_shape)),                                                           \
        FIELD(LW_TEXT, "on", on, "the line used last; absent: none yet", OPTIONAL),                \
        FIELD(LW_LIST, "revisions", revisions,                                                     \
              "how the plan was revised on this visit; absent: it was not", SUB(revision_shape))

#define OF struct lw_visit_facts
static const struct lw_field visit_fields[] = {
    FIELD(LW_TEXT, "format", format, "linewalk/visit/1", REQUIRED),
    FIELD(LW_TEXT, "opened", opened, "when, RFC 3339", REQUIRED),
    COMMON,
    {0}};
static const struct lw_field change_fields[] = {COMMON, {0}};
#undef OF
const struct lw_shape lw_visit_shape = SHAPE("visit", struct lw_visit_facts, visit_fields);
const struct lw_shape lw_visit_change_shape =
    SHAPE("visit_change", struct lw_visit_facts, change_fields);
