// SPDX-License-Identifier: GPL-3.0-or-later
//
// What is known of a visit now: visit.json as it was written, and over it, in order, what later
// records of the visit command say.
#include "site/visit_inside.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void take_text(char **to, char **from)
{
    if (*from) {
        free(*to);
        *to = *from;
        *from = NULL;
    }
}

// An instrument that is there already is replaced by what is said of it later.
static bool take_instrument(struct lw_list *list, struct lw_instrument *next)
{
    struct lw_instrument *items = list->items;
    struct lw_instrument *place = NULL;
    for (size_t i = 0; i < list->count; i++) {
        if (strcmp(items[i].id, next->id) == 0) {
            place = &items[i];
            lw_json_free(&lw_instrument_shape, place);
        }
    }
    place = place ? place : lw_list_add(list, sizeof *place);
    if (place) {
        *place = *next;
        *next = (struct lw_instrument){0};
    }
    return place != NULL;
}

// Moves the elements over; what `from` still has is empty.
static bool take_revisions(struct lw_list *to, struct lw_list *from)
{
    struct lw_plan_revision *items = from->items;
    for (size_t i = 0; i < from->count; i++) {
        struct lw_plan_revision *place = lw_list_add(to, sizeof *place);
        if (!place) {
            return false;
        }
        *place = items[i];
        items[i] = (struct lw_plan_revision){0};
    }
    return true;
}

static bool take_change(struct lw_visit_facts *facts, struct lw_visit_facts *change)
{
    take_text(&facts->engineer, &change->engineer);
    take_text(&facts->company, &change->company);
    take_text(&facts->customer_contact, &change->customer_contact);
    take_text(&facts->machine_serial, &change->machine_serial);
    take_text(&facts->language, &change->language);
    take_text(&facts->plan, &change->plan);
    take_text(&facts->on, &change->on);
    if (!isnan(change->clock_offset_s)) {
        facts->clock_offset_s = change->clock_offset_s;
    }
    struct lw_instrument *items = change->instruments.items;
    bool whole = true;
    for (size_t i = 0; i < change->instruments.count; i++) {
        whole = take_instrument(&facts->instruments, &items[i]) && whole;
    }
    return take_revisions(&facts->revisions, &change->revisions) && whole;
}

static bool apply_record(struct lw_visit *visit, const struct lw_record *record)
{
    struct lw_visit_facts change;
    if (strcmp(record->check, "visit") != 0 || !record->result ||
        lw_json_read(&lw_visit_change_shape, record->result, strlen(record->result), &change,
                     NULL) != LW_OK) {
        return true;
    }
    bool whole = take_change(&visit->facts, &change);
    lw_json_free(&lw_visit_change_shape, &change);
    return whole;
}

enum lw_status lw_visit_apply(struct lw_visit *visit, struct lw_error *error)
{
    struct lw_list records;
    int broken;
    enum lw_status status = lw_visit_read_records(visit, false, &records, &broken, error);
    const struct lw_record *items = records.items;
    bool whole = true;
    for (size_t i = 0; status == LW_OK && i < records.count; i++) {
        whole = apply_record(visit, &items[i]) && whole;
    }
    lw_records_free(&records);
    return whole ? status : lw_fail(error, LW_MEMORY, "out of memory");
}
