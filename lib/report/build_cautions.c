// SPDX-License-Identifier: GPL-3.0-or-later
//
// Cautions about powering chains and working on machines. One table: each with the plans and
// findings that call for it, the gravest first; those without a condition always stand.
#include "report/build.h"
#include "report/words.h"

static bool found(const struct lw_report_view *view, const char *code)
{
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_list *list = &lw_report_counted_at(view, i)->record->findings.list;
        for (size_t k = 0; k < list->count; k++) {
            if (strcmp(((const struct lw_finding *)list->items)[k].code, code) == 0) {
                return true;
            }
        }
    }
    return false;
}

static bool several_supplies(const struct lw_report_view *view)
{
    return (view->plan != NULL && view->plan->supplies.count > 1) ||
           found(view, "supply_sources_in_parallel");
}

static bool span_too_thin(const struct lw_report_view *view)
{
    return found(view, "supply_span_over_rating");
}

static bool supply_is_full(const struct lw_report_view *view)
{
    return found(view, "supply_overload") || found(view, "supply_load_high") ||
           found(view, "supply_no_operating_point");
}

static bool tail_is_low(const struct lw_report_view *view)
{
    return found(view, "supply_under_minimum") || found(view, "supply_margin") ||
           found(view, "supply_worst_case") || found(view, "supply_starved");
}

static bool zero_v_is_doubled(const struct lw_report_view *view)
{
    return found(view, "supply_zero_v_parallel") ||
           (view->plan != NULL && view->plan->zero_v_bonds.count > 0);
}

static bool is_disturbed(const struct lw_report_view *view)
{
    return found(view, "noise_disturbed") || found(view, "noise_mains") ||
           found(view, "noise_over_limit");
}

static bool may_be_inductive(const struct lw_report_view *view)
{
    if (view->plan == NULL || is_disturbed(view)) {
        return true;
    }
    for (size_t tap = 1; tap <= lw_plan_taps(view->plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(view->plan, tap);
        if (entry->is != NULL && entry->is->kind == (int)LW_DISPLACEMENT) {
            return true;
        }
    }
    return false;
}

static bool derates(const struct lw_report_view *view)
{
    if (view->plan == NULL) {
        return false;
    }
    for (size_t i = 0; i < view->plan->supplies.count; i++) {
        if (((const struct lw_supply *)view->plan->supplies.items)[i].derating.count > 0) {
            return true;
        }
    }
    return false;
}

static bool weak_joint(const struct lw_report_view *view)
{
    return found(view, "supply_weak_span");
}

struct caution {
    const char *text;
    bool (*applies)(const struct lw_report_view *); // NULL: always
};

// The 60 V d.c. of PELV and that it is less outside dry rooms: IEC 60204-1, 6.4. That a well
// powered chain starves when nodes are added, and that magnets disturb inductive probes: common
// practice.
static const struct caution cautions[] = {
    {N_("Before a joint or plug of the supply is opened: switch off, secure against switching on, "
        "and "
        "measure that nothing is left. A tap plugged live can reset its neighbours and burn its "
        "contacts."),
     NULL},
    {N_("Machines move without warning. Work at sensors only with the drives off and locked out, "
        "and "
        "with the word of the person who made sure of it."),
     NULL},
    {N_("This chain has more than one supply: a section that is switched off at one can be live "
        "from "
        "another. Switch off and secure all of them."),
     several_supplies},
    {N_("A span or plug carries more current than it is rated for. It gets hot: take load off now, "
        "do "
        "not wait for the next visit."),
     span_too_thin},
    {N_("A joint with too much resistance heats up where the current is high. Re-make it with the "
        "supply off, and look at its neighbours too."),
     weak_joint},
    {N_("A supply at its limit folds back or cycles, and the nodes reset with it. Do not add load, "
        "and "
        "do not fit a stronger supply without checking fuse and conductors for it."),
     supply_is_full},
    {N_("Turning a supply up to help the far end raises the voltage of the nodes beside it: stay "
        "under "
        "the highest voltage that every node allows."),
     tail_is_low},
    {N_("Feed a section from one source only, unless the makers of the supplies allow them in "
        "parallel, or diodes or modules made for it keep them apart."),
     NULL},
    {N_("Fuse and conductor follow local rules and the largest current the source can deliver into "
        "a "
        "fault, not the usual draw."),
     NULL},
    {N_("Keep the chain within the limits of PELV (IEC 60204-1, 6.4: at most 60 V d.c., less where "
        "it "
        "is wet or large bare parts can be touched), and its supply a safety isolating one."),
     NULL},
    {N_("Add or exchange no node under power unless its maker allows it."), NULL},
    {N_("A chain that was well powered starves when nodes are added: compute the supply anew "
        "before, "
        "and feed the far end where it falls short."),
     NULL},
    {N_("A supply gives less in a warm cabinet: its maker's derating counts at the temperature of "
        "the "
        "air around it."),
     derates},
    {N_("0 V has ways to the machine frame here. Do not open a protective earth to cure it: only "
        "the "
        "bonds of 0 V are meant."),
     zero_v_is_doubled},
    {N_("Keep magnets, drives and their cables away from inductive probes: they falsify readings "
        "without any fault showing."),
     may_be_inductive},
    {N_("This report does not replace local codes, the instructions of the makers of machine, "
        "sensors "
        "and supplies, or the judgement of qualified persons on site. Where they differ, they "
        "hold."),
     NULL},
};

void lw_report_cautions(struct lw_document *document, const struct lw_report_view *view,
                        size_t most)
{
    size_t said = 0;
    for (size_t i = 0; i < sizeof cautions / sizeof *cautions && said < most; i++) {
        if (cautions[i].applies == NULL || cautions[i].applies(view)) {
            lw_document_caution(document, _(cautions[i].text));
            said++;
        }
    }
}
