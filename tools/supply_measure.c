// SPDX-License-Identifier: GPL-3.0-or-later
//
// Readings for the supply check. On a virtual chain in this process the answers of the load step
// switch its load.
#include "supply_measure.h"

#include "check/roster.h"
#include "check/supply_step.h"
#include "cli/dialog.h"
#include "earlier.h"

#define N_(text) text // marked here, looked up where it is used

enum { MOST_BYTES = 1 << 20 };

enum lw_status lw_supply_read_hand(struct lw_session *session,
                                   const struct lw_supply_request *request,
                                   struct lw_supply_sources *sources, struct lw_error *error)
{
    struct lw_text bytes = {0};
    if (request->meter == NULL) {
        return LW_OK;
    }
    enum lw_status status = lw_file_read(request->meter, MOST_BYTES, &bytes, error);
    if (status == LW_SYSTEM) {
        status = error->status = LW_BAD_FILE; // no matter of the line
    }
    if (status == LW_OK) {
        status = lw_meter_file_read(bytes.bytes, bytes.length, request->meter, &session->plan,
                                    &sources->hand, error);
    }
    lw_text_finish(&bytes);
    sources->has_hand = status == LW_OK;
    return status == LW_OK && session->has_visit
               ? lw_step_attach(session, session->step, request->meter, NULL, error)
               : status;
}

enum lw_status lw_supply_open_earlier(struct lw_session *session,
                                      const struct lw_supply_request *request,
                                      struct lw_supply_sources *sources, struct lw_error *error)
{
    return request->against == NULL
               ? LW_OK
               : lw_earlier_open(request->against, session->clock, &sources->earlier,
                                 &sources->earlier_records, error);
}

static const char *serial_of(const struct lw_roster_result *roster, const char *node)
{
    const struct lw_roster_node *nodes = roster->nodes.items;
    for (size_t i = 0; i < roster->nodes.count; i++) {
        if (nodes[i].node != NULL && strcmp(nodes[i].node, node) == 0) {
            return nodes[i].serial;
        }
    }
    return NULL;
}

static double volts_of(const struct lw_supply_result *supply, const char *node)
{
    const struct lw_supply_tap *taps = supply->taps.items;
    for (size_t i = 0; i < supply->taps.count; i++) {
        bool by_hand = taps[i].measured_v == taps[i].hand_v;
        if (taps[i].node != NULL && strcmp(taps[i].node, node) == 0 && !by_hand) {
            return taps[i].measured_v;
        }
    }
    return NAN;
}

// Both visits' rosters and the earlier one's voltages.
struct earlier {
    struct lw_roster_result then, now;
    struct lw_supply_result supply;
};

static size_t take_nodes(const struct lw_plan *plan, const struct earlier *earlier,
                         double *earlier_v)
{
    size_t same = 0;
    for (size_t i = 0; i < lw_plan_taps(plan); i++) {
        const char *node = lw_plan_tap(plan, i + 1)->node;
        const char *then = node != NULL ? serial_of(&earlier->then, node) : NULL;
        const char *now = node != NULL ? serial_of(&earlier->now, node) : NULL;
        bool is_same = then != NULL && now != NULL && strcmp(then, now) == 0;
        earlier_v[i] = is_same ? volts_of(&earlier->supply, node) : NAN;
        same += isfinite(earlier_v[i]);
    }
    return same;
}

static enum lw_status take_earlier(const struct lw_session *session, struct earlier *earlier,
                                   const struct lw_list *records,
                                   struct lw_supply_measured *measured, struct lw_error *error)
{
    bool then = false, now = false, supply = false;
    enum lw_status status =
        lw_earlier_result(records, "roster", &lw_roster_shape, &earlier->then, &then, error);
    if (status == LW_OK) {
        status = lw_earlier_result(&session->records, "roster", &lw_roster_shape, &earlier->now,
                                   &now, error);
    }
    if (status == LW_OK) {
        status = lw_earlier_result(records, "supply", &lw_supply_shape, &earlier->supply, &supply,
                                   error);
    }
    if (status != LW_OK) {
        return status;
    }
    measured->earlier_v = calloc(measured->tap_count + 1, sizeof *measured->earlier_v);
    if (measured->earlier_v == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", measured->tap_count);
    }
    size_t same = take_nodes(&session->plan, earlier, measured->earlier_v);
    return same > 0 ? LW_OK
                    : lw_fail(error, LW_USAGE,
                              "no voltmeter is known to be the same in both visits: each needs "
                              "linewalk roster, and the earlier one linewalk supply with its "
                              "voltmeters read");
}

enum lw_status lw_supply_take_earlier(const struct lw_session *session,
                                      const struct lw_supply_sources *sources,
                                      struct lw_supply_measured *measured, struct lw_error *error)
{
    struct earlier earlier;
    if (sources->earlier.facts.opened == NULL) {
        return LW_OK;
    }
    lw_json_init(&lw_roster_shape, &earlier.then);
    lw_json_init(&lw_roster_shape, &earlier.now);
    lw_json_init(&lw_supply_shape, &earlier.supply);
    enum lw_status status =
        take_earlier(session, &earlier, &sources->earlier_records, measured, error);
    measured->earlier_opened = sources->earlier.facts.opened;
    lw_json_free(&lw_roster_shape, &earlier.then);
    lw_json_free(&lw_roster_shape, &earlier.now);
    lw_json_free(&lw_supply_shape, &earlier.supply);
    return status;
}

void lw_supply_sources_finish(struct lw_supply_sources *sources)
{
    lw_records_free(&sources->earlier_records);
    lw_visit_close(&sources->earlier);
    if (sources->has_hand) {
        lw_meter_file_finish(&sources->hand);
    }
}

static enum lw_status read_once(struct lw_session *session, struct lw_supply_measured *measured,
                                struct lw_error *error)
{
    struct lw_client *client = NULL;
    enum lw_status status = lw_supply_measured_init(lw_plan_taps(&session->plan), measured, error);
    if (status == LW_OK) {
        status = lw_session_client(session, &client, error);
    }
    return status == LW_OK ? lw_supply_measure(&session->run, client, &session->plan,
                                               session->selected, measured, error)
                           : status;
}

static enum lw_status read_stretch(struct lw_session *session, struct lw_supply_step *step,
                                   struct lw_error *error)
{
    struct lw_supply_measured measured = {0};
    if (session->chain != NULL) {
        lw_chain_plug(session->chain, lw_supply_step_is_on(step) ? step->amps : 0);
    }
    enum lw_status status = read_once(session, &measured, error);
    if (status == LW_OK) {
        lw_supply_step_measured(step, &measured);
    }
    lw_supply_measured_free(&measured);
    return status;
}

static enum lw_status walk_step(struct lw_session *session, struct lw_talk *talk,
                                struct lw_supply_step *step, struct lw_error *error)
{
    enum lw_dialog_next next = LW_DIALOG_ACT;
    enum lw_status status = LW_OK;
    while (status == LW_OK && next == LW_DIALOG_ACT) {
        status = lw_talk_on(talk, &step->dialog, &next, error);
        if (status == LW_OK && next == LW_DIALOG_ACT) {
            bool first = step->done == 0;
            status = read_stretch(session, step, error);
            if (status == LW_OK && first && step->done == 0) {
                lw_talk_say(talk, N_("By its own voltmeter a node would fall below its minimum "
                                     "with this load: take a smaller one."));
            }
        }
    }
    return status;
}

static enum lw_status read_steps(struct lw_session *session,
                                 const struct lw_supply_request *request,
                                 struct lw_supply_measured *measured, struct lw_error *error)
{
    struct lw_talk *talk = NULL;
    struct lw_supply_step step;
    enum lw_status status = lw_supply_step_init(&step, &session->plan, request->load_step_a, error);
    if (status == LW_OK) {
        status = lw_talk_open(session, session->step, &request->talk, &talk, error);
    }
    if (status == LW_OK && step.most_a < request->load_step_a) {
        lw_talk_say(talk,
                    N_("The load that was asked for is too large: a node would fall below its "
                       "minimum, a supply reach its limit or a span its rating."));
    }
    if (status == LW_OK) {
        status = walk_step(session, talk, &step, error);
    }
    if (status == LW_OK) {
        status = lw_supply_step_join(&step, measured, error);
    }
    lw_talk_close(talk);
    lw_supply_step_finish(&step);
    return status;
}

enum lw_status lw_supply_read_line(struct lw_session *session,
                                   const struct lw_supply_request *request,
                                   struct lw_supply_measured *measured, struct lw_error *error)
{
    return request->load_step_a > 0 ? read_steps(session, request, measured, error)
                                    : read_once(session, measured, error);
}
