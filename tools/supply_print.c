// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the supply check found, for people: a bar for each tap that needs neither colour nor more
// than 60 columns, then the figures.
#include "supply_print.h"

#include "base/text.h"
#include "cli/cli.h"
#include "cli/output.h"

#include <math.h>
#include <string.h>

#define N_(text) text // marked here, looked up where it is used

enum { NARROWEST = 60, WIDEST = 100, NAME_COLUMNS = 8, BEFORE_BAR = 5 + NAME_COLUMNS + 7 };

static const struct lw_supply_tap *tap_at(const struct lw_supply_result *result, size_t index)
{
    return (const struct lw_supply_tap *)result->taps.items + index;
}

struct scale {
    double low_v, high_v;
    int columns;
};

static void widen(struct scale *scale, double volts)
{
    if (isfinite(volts)) {
        scale->low_v = fmin(scale->low_v, volts);
        scale->high_v = fmax(scale->high_v, volts);
    }
}

// From all that is to be seen, with a little room; limits that are far above are left out.
static struct scale scale_of(const struct lw_supply_result *result)
{
    int columns = lw_cli_columns();
    columns = columns == 0 || columns > WIDEST ? WIDEST : columns;
    columns = columns < NARROWEST ? NARROWEST : columns;
    struct scale scale = {INFINITY, -INFINITY, columns - BEFORE_BAR - 1};
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = tap_at(result, i);
        widen(&scale, tap->volts);
        widen(&scale, tap->worst_volts);
        widen(&scale, tap->measured_v);
        widen(&scale, tap->minimum_v);
    }
    if (!(scale.high_v > scale.low_v)) {
        scale.low_v = 0;
        scale.high_v = fmax(scale.high_v, 1);
    }
    double room_v = 0.05 * (scale.high_v - scale.low_v);
    scale.low_v = fmax(scale.low_v - room_v, 0);
    scale.high_v += room_v;
    return scale;
}

static int column_of(const struct scale *scale, double volts)
{
    double share = (volts - scale->low_v) / (scale->high_v - scale->low_v);
    return isfinite(share) ? (int)lround(share * (scale->columns - 1)) : -1;
}

static void mark(const struct scale *scale, char *bar, double volts, char with)
{
    int at = column_of(scale, volts);
    if (at >= 0 && at < scale->columns) {
        bar[at] = with;
    }
}

static void print_bar(const struct scale *scale, const struct lw_supply_tap *tap)
{
    char bar[WIDEST + 1], name[64];
    int reach = column_of(scale, tap->volts);
    for (int i = 0; i < scale->columns; i++) {
        bar[i] = i <= reach ? '=' : ' ';
    }
    bar[scale->columns] = '\0';
    mark(scale, bar, tap->maximum_v, ']');
    mark(scale, bar, tap->minimum_v, '|');
    mark(scale, bar, tap->worst_volts, 'w');
    mark(scale, bar, tap->measured_v, 'o');
    for (int end = scale->columns; end > 0 && bar[end - 1] == ' '; end--) {
        bar[end - 1] = '\0';
    }
    lw_copy(name, sizeof name, tap->node != NULL ? tap->node : "-");
    while (lw_text_columns(name) > NAME_COLUMNS) {
        name[strlen(name) - 1] = '\0';
        lw_copy(name, sizeof name, name);
    }
    printf("%3d  %s%*s %5.2f %s%s\n", tap->tap, name, NAME_COLUMNS - (int)lw_text_columns(name), "",
           tap->volts, tap->on ? " " : "!", bar);
}

static void print_profile(const struct lw_supply_result *result)
{
    const struct scale scale = scale_of(result);
    printf("tap  %-*s volts  %-*.1f%.1f V\n", NAME_COLUMNS, "node", scale.columns - 6, scale.low_v,
           scale.high_v);
    for (size_t i = 0; i < result->taps.count; i++) {
        print_bar(&scale, tap_at(result, i));
    }
    lw_print_wrapped("     ", 5, 5,
                     _("= as planned, w worst case, o measured by the node, | the least that it "
                       "needs, ] the most that it stands, ! does not run"));
}

static const char *percent(double share)
{
    static char texts[4][16];
    static int next;
    char *text = texts[next++ % 4];
    if (isnan(share)) {
        return "-";
    }
    lw_print(text, sizeof texts[0], share < 0.1 ? "%.2g" : "%.0f", 100 * share);
    return text;
}

static void print_computed(const struct lw_supply_result *result)
{
    static const char *const heads[] = {"tap|",     "node",    "plan V|", "worst V|", "under %|",
                                        "least V|", "0 V up|", "span A|", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_supply_span *spans = result->spans.items;
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = tap_at(result, i);
        bool has_span = i > 0 && i <= result->spans.count;
        const char *const cells[] = {
            lw_cell_count(tap->tap),
            lw_cell_text(tap->node),
            lw_cell_number(tap->volts, 2),
            lw_cell_number(tap->worst_volts, 2),
            percent(tap->under_probability),
            lw_cell_number(tap->minimum_v, 1),
            lw_cell_number(tap->zero_rise_v, 2),
            has_span ? lw_cell_number(spans[i - 1].amps, 2) : "-",
        };
        lw_cli_table_row(table, cells);
    }
    putchar('\n');
    lw_cli_table_print(table);
}

// `sees ohm`: the smallest fault of the span that these readings would prove.
static void print_measured(const struct lw_supply_result *result)
{
    static const char *const heads[] = {"tap|",      "node",   "plan V|",   "read V|", "u V|",
                                        "span ohm|", "times|", "sees ohm|", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_supply_span *spans = result->spans.items;
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = tap_at(result, i);
        const struct lw_supply_span *span =
            i > 0 && i <= result->spans.count ? &spans[i - 1] : NULL;
        const char *const cells[] = {
            lw_cell_count(tap->tap),
            lw_cell_text(tap->node),
            lw_cell_number(tap->volts, 2),
            lw_cell_number(tap->measured_v, 2),
            lw_cell_number(tap->measured_u_v, 3),
            span != NULL ? lw_cell_number(span->ohm_plan, 3) : "-",
            span != NULL ? lw_cell_number(span->ratio_to_plan, 1) : "-",
            span != NULL ? lw_cell_number(span->smallest_visible_ohm, 2) : "-",
        };
        lw_cli_table_row(table, cells);
    }
    putchar('\n');
    lw_cli_table_print(table);
}

static void print_supplies(const struct lw_supply_result *result)
{
    static const char *const heads[] = {"supply",  "tap|", "amps|", "limit A|",
                                        "load %|", "mode", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_supply_supply *supplies = result->supplies.items;
    for (size_t i = 0; i < result->supplies.count; i++) {
        const char *const cells[] = {
            lw_cell_text(supplies[i].name),          lw_cell_count(supplies[i].tap),
            lw_cell_number(supplies[i].amps, 2),     lw_cell_number(supplies[i].limit_a, 2),
            lw_cell_number(supplies[i].load_pct, 0), lw_cell_text(supplies[i].mode),
        };
        lw_cli_table_row(table, cells);
    }
    putchar('\n');
    lw_cli_table_print(table);
}

static void print_draws(const struct lw_supply_result *result)
{
    char text[240];
    if (!(result->draws > 0)) {
        return;
    }
    size_t used = 0;
    lw_print(text, sizeof text,
             _("somebody under the minimum in %s %% of %.0f draws, seed %.0f (95 %% interval %s to "
               "%s %%)"),
             percent(result->any_under), result->draws, result->seed,
             percent(result->any_under_low), percent(result->any_under_high));
    used = strlen(text);
    if (isfinite(result->rare_under)) {
        lw_print(text + used, sizeof text - used,
                 _("; by draws towards the failure %s %% (%s to "
                   "%s %%)"),
                 percent(result->rare_under), percent(result->rare_under_low),
                 percent(result->rare_under_high));
    }
    lw_print_wrapped(_("tolerances:  "), 13, 13, text);
}

static void print_carries(const struct lw_supply_result *result)
{
    static const char *const words[][2] = {
        {"voltage", N_("too little voltage at")},
        {"supply_limit", N_("more than the limit of")},
        {"rating", N_("more than the rating of")},
        {"collapse", N_("no operating point, with no supply at its limit, at")},
    };
    size_t nodes = 0;
    char text[240], gives[120] = "";
    for (size_t i = 0; i < result->taps.count; i++) {
        nodes += tap_at(result, i)->node != NULL;
    }
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        if (result->gives_first != NULL && strcmp(result->gives_first, words[i][0]) == 0) {
            lw_print(gives, sizeof gives, "%s%s %s", _("; the next one gives "), _(words[i][1]),
                     lw_cell_text(result->gives_at));
        }
    }
    lw_print(text, sizeof text, _("%.0f of %zu nodes, counted from the head%s"),
             result->carries_nodes, nodes, gives);
    lw_print_wrapped(_("\ncarries:     "), 13, 13, text);
    if (result->load_factor < 1) {
        printf(_("load factor: %.2f of the planned draw has an operating point\n"),
               result->load_factor);
    }
}

static void print_line(const struct lw_supply_result *result)
{
    char text[240] = "";
    size_t used = 0;
    if (isfinite(result->unit_loads)) {
        lw_print(text, sizeof text, _("%.1f unit loads, a driver sees %.0f ohm, "),
                 result->unit_loads, result->driver_ohm);
        used = strlen(text);
    }
    if (isfinite(result->idle_v)) {
        lw_print(text + used, sizeof text - used, _("idle %.2f V, "), result->idle_v);
        used = strlen(text);
    }
    lw_print(text + used, sizeof text - used,
             _("one reading of each node in %.0f ms at the least, %.0f ms when all are slow"),
             result->cycle_wire_ms, result->cycle_slowest_ms);
    lw_print_wrapped(_("data pair:   "), 13, 13, text);
}

static void print_advice(const struct lw_supply_result *result)
{
    const struct lw_supply_advice *advice = result->advice;
    char text[400];
    if (advice == NULL) {
        return;
    }
    lw_print(text, sizeof text,
             _("%s%s; least volts above minimum and margin with it: %s; cost %g"),
             advice->found ? "" : _("nothing on offer suffices, nearest comes: "),
             lw_cell_text(advice->says), lw_cell_number(advice->margin_v, 2), advice->cost);
    lw_print_wrapped(_("advice:      "), 13, 13, text);
}

static const char *name_at(const struct lw_supply_result *result, double tap)
{
    const char *node = tap_at(result, (size_t)tap - 1)->node;
    static char texts[2][80];
    static int next;
    char *text = texts[next++ % 2];
    if (node != NULL) {
        lw_copy(text, sizeof texts[0], node);
    } else {
        lw_print(text, sizeof texts[0], _("tap %.0f"), tap);
    }
    return text;
}

static void print_how_measured(const struct lw_supply_result *result)
{
    char text[240];
    if (result->step_a > 0) {
        lw_print(text, sizeof text,
                 _("%.2f A at the far end, off, on, on, off: spans judged by it"), result->step_a);
        lw_print_wrapped(_("load step:   "), 13, 13, text);
    }
    if (result->since_opened != NULL) {
        lw_print(text, sizeof text,
                 _("the visit opened %s, %.0f voltmeters with the same serials: a growth of %s ohm "
                   "would be proved in every span"),
                 result->since_opened, result->since_nodes,
                 lw_cell_number(result->since_visible_ohm, 2));
        lw_print_wrapped(_("against:     "), 13, 13, text);
    }
    if (result->hand_meter != NULL) {
        lw_print(text, sizeof text, _("%s: %.0f of %.0f values say something of the supply"),
                 result->hand_meter, result->hand_used, result->hand_values);
        lw_print_wrapped(_("hand meter:  "), 13, 13, text);
    }
    if (isfinite(result->zero_v_ratio)) {
        lw_print(text, sizeof text,
                 _("its drop is %.2f times that of V+, both against the plan (standard uncertainty "
                   "%.2f)"),
                 result->zero_v_ratio, result->zero_v_ratio_u);
        lw_print_wrapped(_("0 V rail:    "), 13, 13, text);
    }
}

static void print_next(const struct lw_supply_result *result)
{
    char text[400];
    if (!(result->next_from > 0)) {
        return;
    }
    bool blind = strcmp(result->next_why, "blind") == 0;
    lw_print(text, sizeof text,
             blind
                 ? _("from %s to %s a joint that starves a node would not be seen by these "
                     "readings. A load step at the far end would see it (--load-step), or a hand "
                     "meter from %s to %s along V+, then along 0 V, with all running: %.0f mV each "
                     "as planned, %.0f mV with such a joint (--meter)")
                 : _("from %s to %s a span is suspected. Measure from %s to %s along V+, then "
                     "along 0 V, with all running: %.0f mV each as planned, %.0f mV on the one "
                     "with the fault (--meter)"),
             name_at(result, result->next_from), name_at(result, result->next_to),
             name_at(result, result->next_from), name_at(result, result->next_to),
             1000 * result->next_plan_v, 1000 * result->next_fault_v);
    lw_print_wrapped(_("to decide:   "), 13, 13, text);
}

static bool is_measured(const struct lw_supply_result *result)
{
    for (size_t i = 0; i < result->taps.count; i++) {
        if (isfinite(tap_at(result, i)->measured_v)) {
            return true;
        }
    }
    return result->hand_meter != NULL;
}

void lw_print_supply(const struct lw_supply_result *result)
{
    if (result->asked != NULL) {
        lw_print_wrapped(_("what if:     "), 13, 13, result->asked);
        putchar('\n');
    }
    print_profile(result);
    print_computed(result);
    if (is_measured(result)) {
        print_measured(result);
    }
    print_supplies(result);
    print_carries(result);
    printf(_("worst case:  %s\n"), lw_cell_text(result->worst_kind));
    print_draws(result);
    print_how_measured(result);
    print_next(result);
    print_line(result);
    print_advice(result);
}

void lw_print_supply_cautions(void)
{
    lw_print_wrapped("\ncaution: ", 9, 9,
                     _("isolate a section before one of its joints is opened; feed a section from "
                       "one source only, unless the sources are made to share; fuses and "
                       "conductors to the local rules; stay inside the limits of protective extra "
                       "low voltage (PELV); plug no node in under power unless its maker allows "
                       "it. Local codes, the makers' instructions and qualified persons come "
                       "first."));
}
