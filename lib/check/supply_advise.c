// SPDX-License-Identifier: GPL-3.0-or-later
//
// What is on offer and what it costs, from a plan; the search is lib/power's.
#include "check/supply_advise.h"

#include "power/advise.h"

#include "base/text.h"

static const double sizes_mm2[] = {0.75, 1.0, 1.5, 2.5};
enum { SIZES = 4, WIRINGS = 1 + SIZES, TWO_SUPPLIES_TAPS = 64 };

struct offer {
    size_t taps;
    double *minimum_v;
    double *ohm; // WIRINGS x (V+, 0 V) x taps
    struct lw_wiring wirings[WIRINGS];
};

static double *rail(const struct offer *offer, size_t wiring, size_t which)
{
    return offer->ohm + (2 * wiring + which) * offer->taps;
}

static double needed_v(const struct lw_plan *plan, size_t tap)
{
    const struct lw_profile *profile = lw_plan_tap(plan, tap)->is;
    double minimum_v = profile != NULL ? profile->electrical.minimum_v : NAN;
    return isfinite(minimum_v) ? minimum_v + lw_plan_limits(plan, tap).margin_v : 0;
}

static void offer_as_it_is(const struct lw_plan *plan, const struct lw_ladder *ladder,
                           struct offer *offer)
{
    for (size_t i = 0; i < offer->taps; i++) {
        offer->minimum_v[i] = needed_v(plan, i + 1);
        rail(offer, 0, 0)[i] = ladder->taps[i].span_plus_ohm;
        rail(offer, 0, 1)[i] = ladder->taps[i].span_zero_ohm;
    }
}

static enum lw_status offer_size(const struct lw_plan *plan, const struct lw_advise_costs *costs,
                                 size_t wiring, struct offer *offer, struct lw_error *error)
{
    double area_mm2 = sizes_mm2[wiring - 1];
    const struct lw_conductor_spec conductor = {
        .area_mm2 = area_mm2, .awg = -100, .ohm_per_km = NAN, .parallel = 1};
    for (size_t i = 0; i < offer->taps; i++) {
        const struct lw_profile *profile = lw_plan_tap(plan, i + 1)->is;
        double through_ohm = profile != NULL ? profile->electrical.through_ohm : 0;
        double ohm[2], length_m;
        enum lw_status status = lw_plan_span_ohm_with(plan, i + 1, LW_LADDER_VERDICT, &conductor,
                                                      &ohm[0], &ohm[1], &length_m, error);
        if (status != LW_OK) {
            return status;
        }
        bool thicker = false;
        for (size_t r = 0; r < 2; r++) {
            double now_ohm = rail(offer, 0, r)[i];
            rail(offer, wiring, r)[i] = fmin(now_ohm, ohm[r] + through_ohm);
            thicker = thicker || ohm[r] + through_ohm < now_ohm;
        }
        offer->wirings[wiring].cost += thicker && i > 0 ? costs->cable * length_m * area_mm2 : 0;
    }
    return LW_OK;
}

static enum lw_status offer_init(const struct lw_plan *plan, const struct lw_ladder *ladder,
                                 const struct lw_advise_costs *costs, struct offer *offer,
                                 struct lw_error *error)
{
    *offer = (struct offer){.taps = ladder->tap_count};
    offer->minimum_v = calloc(offer->taps, sizeof *offer->minimum_v);
    offer->ohm = calloc(2 * WIRINGS * offer->taps, sizeof *offer->ohm);
    if (offer->minimum_v == NULL || offer->ohm == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", offer->taps);
    }
    offer_as_it_is(plan, ladder, offer);
    enum lw_status status = LW_OK;
    for (size_t w = 0; status == LW_OK && w < WIRINGS; w++) {
        offer->wirings[w] =
            (struct lw_wiring){.plus_ohm = rail(offer, w, 0), .zero_ohm = rail(offer, w, 1)};
        status = w > 0 ? offer_size(plan, costs, w, offer, error) : LW_OK;
    }
    return status;
}

static void offer_finish(struct offer *offer)
{
    free(offer->minimum_v);
    free(offer->ohm);
}

static void name_of_tap(const struct lw_plan *plan, size_t tap, char *text, size_t size)
{
    const char *node = lw_plan_tap(plan, tap + 1)->node;
    if (node != NULL) {
        lw_print(text, size, "%s", node);
    } else {
        lw_print(text, size, "tap %zu", tap + 1);
    }
}

static void say_change(const struct lw_plan *plan, const struct lw_advice *found,
                       struct lw_text *says)
{
    const struct lw_supply *like = plan->supplies.items;
    char where[LW_ADVISE_SUPPLIES][120];
    for (size_t i = 0; i < found->supply_count; i++) {
        name_of_tap(plan, found->supply_tap[i], where[i], sizeof where[i]);
    }
    if (found->supply_count == 1) {
        lw_text_add(says, "one more supply like %s at %s, V+ cut before it", like->name, where[0]);
    } else if (found->supply_count == 2) {
        lw_text_add(says, "two more supplies like %s at %s and %s, V+ cut before each", like->name,
                    where[0], where[1]);
    }
    if (found->wiring > 0) {
        lw_text_add(says, "%scable of %.2g mm2 wherever it is thinner now",
                    found->supply_count > 0 ? ", and " : "", sizes_mm2[found->wiring - 1]);
    }
}

static enum lw_status keep(const struct lw_plan *plan, const struct lw_advice *found,
                           struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_text says = {0};
    struct lw_supply_advice *advice = calloc(1, sizeof *advice);
    if (advice == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for advice");
    }
    result->advice = advice;
    lw_json_init(lw_supply_advice_shape, advice);
    bool nothing = found->supply_count == 0 && found->wiring == 0;
    if (nothing) {
        lw_text_add(&says, "%s", found->found ? "nothing has to change" : "nothing on offer helps");
    } else {
        say_change(plan, found, &says);
    }
    advice->found = found->found;
    advice->cost = found->cost;
    advice->margin_v = isfinite(found->margin_v) ? found->margin_v : NAN;
    advice->area_mm2 = found->wiring > 0 ? sizes_mm2[found->wiring - 1] : NAN;
    for (size_t i = 0; i < found->supply_count; i++) {
        double *tap = lw_list_add(&advice->taps, sizeof *tap);
        if (tap == NULL) {
            says.failed = true;
            break;
        }
        *tap = (double)found->supply_tap[i] + 1;
    }
    enum lw_status status = lw_text_check(&says, error);
    advice->says = status == LW_OK ? lw_duplicate(says.bytes) : NULL;
    lw_text_finish(&says);
    return status;
}

enum lw_status lw_supply_advise(const struct lw_plan *plan, const struct lw_advise_costs *costs,
                                struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_ladder ladder;
    struct lw_advice found;
    enum lw_status status = lw_plan_ladder(plan, LW_LADDER_VERDICT, &ladder, error);
    if (status != LW_OK) {
        return status;
    }
    struct offer offer;
    status = offer_init(plan, &ladder, costs, &offer, error);
    if (status == LW_OK) {
        double load_pct = plan->limits.supply_load_pct;
        const struct lw_wish wish = {
            .minimum_v = offer.minimum_v,
            .supply_load = (isfinite(load_pct) ? load_pct : 80) / 100,
            .wirings = offer.wirings,
            .wiring_count = WIRINGS,
            .supply = ladder.sources[0],
            .supply_cost = costs->supply,
            .most_supplies = offer.taps <= TWO_SUPPLIES_TAPS ? 2 : 1,
        };
        status = lw_ladder_advise(&ladder, &wish, &found, error);
    }
    if (status == LW_OK) {
        status = keep(plan, &found, result, error);
    }
    offer_finish(&offer);
    lw_ladder_free(&ladder);
    return status;
}
