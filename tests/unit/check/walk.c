// SPDX-License-Identifier: GPL-3.0-or-later
//
// The checks in process: each is run, judged and put through its JSON and back.
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static void must(enum lw_status status, const struct lw_error *error)
{
    if (status != LW_OK) {
        fail_msg("status %d: %s", (int)status, error->says);
    }
}

void walk_connect(struct walk *walk, uint64_t seed)
{
    struct lw_error error = {0};
    const struct lw_chain_options options = {.seed_given = seed != 0, .seed = seed};
    must(lw_chain_new(&walk->real, &options, &walk->chain, &error), &error);
    must(lw_chain_port(walk->chain, NULL, &walk->line, &error), &error);
    const struct lw_clock *clock = walk->line->clock;
    walk->run = (struct lw_run){
        .clock = clock,
        .seed = seed,
        .today_days = lw_time_days(lw_clock_utc_ns(clock, lw_clock_now_ns(clock))),
    };
    const struct lw_client_options client = {0};
    must(lw_client_new(walk->line, &walk->run, &client, &walk->client, &error), &error);
}

static void load(struct lw_plan *plan, const char *path, const char *profiles)
{
    struct lw_error error = {0};
    must(lw_plan_load(path, profiles, NULL, plan, NULL, &error), &error);
}

void walk_open(struct walk *walk, const char *path, const char *profiles, uint64_t seed)
{
    *walk = (struct walk){0};
    load(&walk->plan, path, profiles);
    load(&walk->real, path, profiles);
    walk_connect(walk, seed);
}

static void write_position(const struct cell *cell, size_t tap, struct lw_text *text)
{
    if (cell->spaced_mm > 0) {
        lw_text_add(text, ", \"position_mm\": [%g, 0, 0]", cell->spaced_mm * (double)tap);
    }
}

static void write_chain(const struct cell *cell, size_t unplanned, struct lw_text *text)
{
    const struct {
        const char *profile;
        size_t count;
    } parts[] = {{"example-probe", cell->probes},
                 {"example-loop", cell->loops},
                 {"example-air", cell->airs},
                 {"example-encoder", cell->encoders},
                 {"example-probe", unplanned}};
    size_t tap = 0;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        for (size_t k = 0; k < parts[i].count; k++) {
            tap++;
            lw_text_add(text,
                        "%s{\"node\": \"P%02zu\", \"profile\": \"%s\", \"address\": %zu, "
                        "\"serial\": \"%zu\"",
                        tap > 1 ? "," : "", tap, parts[i].profile, tap, 100000 + tap);
            write_position(cell, tap, text);
            lw_text_add(text, "}");
        }
    }
}

static void write_cell(const struct cell *cell, size_t unplanned, struct lw_text *text)
{
    static const char strong[] = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"output_ohm\": 0.02, "
                                 "\"limit_a\": 10, \"feeds_tap\": 1}]";
    static const char half_metre[] = "{\"length_m\": 0.5, \"conductor\": {\"area_mm2\": 0.5}}";
    lw_text_add(text, "{\"format\": \"linewalk/plan/1\", \"line\": {\"framing\": \"%s\"%s}, %s",
                cell->framing ? cell->framing : "19200/8E1", cell->line ? cell->line : "",
                cell->more ? cell->more : "");
    lw_text_add(text, "\"supplies\": %s, \"span_default\": %s, \"chain\": [",
                cell->supplies ? cell->supplies : strong, cell->span ? cell->span : half_metre);
    write_chain(cell, unplanned, text);
    lw_text_add(text, "], \"virtual\": {\"seed\": 1, \"noise\": %s, \"faults\": [%s]}}",
                cell->noise ? cell->noise : "{}", cell->faults ? cell->faults : "");
}

static void load_cell(const struct cell *cell, size_t unplanned, struct lw_plan *plan)
{
    char path[] = "/tmp/linewalk-check-XXXXXX";
    struct lw_text text = {0};
    write_cell(cell, unplanned, &text);
    int descriptor = mkstemp(path);
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, text.bytes, text.length), (ssize_t)text.length);
    close(descriptor);
    lw_text_finish(&text);
    load(plan, path, SHIPPED_PROFILES);
    unlink(path);
}

void walk_open_cell(struct walk *walk, const struct cell *cell, uint64_t seed)
{
    *walk = (struct walk){0};
    load_cell(cell, 0, &walk->plan);
    load_cell(cell, cell->unplanned, &walk->real);
    walk_connect(walk, seed);
}

void walk_close(struct walk *walk)
{
    lw_findings_free(&walk->findings);
    lw_client_free(walk->client);
    lw_chain_free(walk->chain);
    lw_plan_free(&walk->plan);
    lw_plan_free(&walk->real);
}

void walk_comes_back(const struct lw_shape *shape, const void *value)
{
    struct lw_error error = {0};
    struct lw_text first = {0}, second = {0};
    void *again = calloc(1, shape->size);
    assert_non_null(again);
    must(lw_json_write(shape, value, true, &first, &error), &error);
    must(lw_json_read(shape, first.bytes, first.length, again, &error), &error);
    must(lw_json_write(shape, again, true, &second, &error), &error);
    assert_string_equal(first.bytes, second.bytes);
    lw_json_free(shape, again);
    free(again);
    lw_text_finish(&first);
    lw_text_finish(&second);
}

// Checks the result's way through JSON and hands it out, or drops it.
static void hand_out(const struct lw_shape *shape, void *own, void *wanted)
{
    walk_comes_back(shape, own);
    if (wanted) {
        memcpy(wanted, own, shape->size);
    } else {
        lw_json_free(shape, own);
    }
}

void walk_scan(struct walk *walk, struct lw_scan_result *result)
{
    struct lw_error error = {0};
    struct lw_scan_result own;
    enum lw_status status =
        lw_scan_measure(&walk->run, walk->client, &walk->plan, &walk->scan_options, &own, &error);
    if (status != LW_REFUSED) {
        must(status, &error);
    }
    lw_scan_findings(&walk->plan, &walk->scan_options, &own, &walk->findings);
    hand_out(&lw_scan_shape, &own, result);
}

void walk_roster(struct walk *walk, struct lw_roster_result *result)
{
    struct lw_error error = {0};
    struct lw_roster_result own;
    struct lw_roster_options options = {0};
    must(lw_roster_measure(&walk->run, walk->client, &walk->plan, &options, &own, &error), &error);
    lw_roster_findings(&walk->run, &walk->plan, &own, &walk->findings);
    hand_out(&lw_roster_shape, &own, result);
}

void walk_link(struct walk *walk, const struct lw_link_options *options,
               struct lw_link_result *result)
{
    struct lw_error error = {0};
    struct lw_link_result own;
    const struct lw_link_options plain = {0};
    must(lw_link_measure(&walk->run, walk->client, &walk->plan, options ? options : &plain, &own,
                         &error),
         &error);
    lw_link_findings(&walk->plan, &own, &walk->rule, &walk->findings);
    hand_out(&lw_link_shape, &own, result);
}

void walk_supply(struct walk *walk, struct lw_supply_result *result)
{
    struct lw_error error = {0};
    struct lw_supply_result own;
    struct lw_supply_measured measured = {0};
    must(lw_supply_compute(&walk->plan, NULL, &own, &error), &error);
    must(lw_supply_measured_init(lw_plan_taps(&walk->plan), &measured, &error), &error);
    must(lw_supply_measure(&walk->run, walk->client, &walk->plan, NULL, &measured, &error), &error);
    must(lw_supply_judge(&walk->plan, &measured, &own, &error), &error);
    lw_supply_findings(&walk->plan, &measured, &own, &walk->rule, &walk->findings);
    lw_supply_measured_free(&measured);
    hand_out(&lw_supply_shape, &own, result);
}

void walk_noise(struct walk *walk, const struct lw_noise_options *options,
                struct lw_noise_result *result)
{
    struct lw_error error = {0};
    struct lw_noise_result own;
    struct lw_series series = {0};
    const struct lw_noise_options plain = {.limit = NAN};
    options = options ? options : &plain;
    struct lw_noise_facts facts;
    must(lw_noise_measure(&walk->run, walk->client, &walk->plan, options, &series, &facts, &error),
         &error);
    must(lw_noise_judge(&walk->plan, options, &series, &facts, &own, &walk->rule, &error), &error);
    lw_series_finish(&series);
    lw_noise_facts_finish(&facts);
    lw_noise_findings(&own, &walk->findings);
    hand_out(&lw_noise_shape, &own, result);
}

const struct lw_finding *walk_found(const struct walk *walk, const char *code, const char *node)
{
    const struct lw_finding *all = walk->findings.list.items;
    for (size_t i = 0; i < walk->findings.list.count; i++) {
        bool here = !node || (all[i].node && strcmp(all[i].node, node) == 0);
        if (here && strcmp(all[i].code, code) == 0) {
            return &all[i];
        }
    }
    return NULL;
}

size_t walk_count(const struct walk *walk, const char *code)
{
    const struct lw_finding *all = walk->findings.list.items;
    size_t count = 0;
    for (size_t i = 0; i < walk->findings.list.count; i++) {
        count += !code || strcmp(all[i].code, code) == 0;
    }
    return count;
}

void walk_forget(struct walk *walk)
{
    lw_findings_free(&walk->findings);
    walk->findings = (struct lw_findings){0};
}

void walk_show(const struct walk *walk)
{
    const struct lw_finding *all = walk->findings.list.items;
    for (size_t i = 0; i < walk->findings.list.count; i++) {
        print_message("%s %s: %s\n", lw_verdict_word((enum lw_verdict)all[i].severity), all[i].code,
                      all[i].says);
        char *const *reasons = all[i].because.items;
        for (size_t k = 0; k < all[i].because.count; k++) {
            print_message("    because %s\n", reasons[k]);
        }
    }
}
