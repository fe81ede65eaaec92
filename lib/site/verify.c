// SPDX-License-Identifier: GPL-3.0-or-later
//
// Verifying. The chain of digests says at which record it breaks; a list of digests from elsewhere
// (in a signature, in a report) says which file it was, also when all digests behind it were made
// to fit again.
#include "site/verify.h"

#include "site/semantic.h"
#include "site/visit_inside.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct work {
    struct lw_verification *out;
    bool failed;
};

static void add_change(struct work *work, int record, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

// The same thing seen twice (by the signature and by the report) is said once.
static void add_change(struct work *work, int record, const char *format, ...)
{
    char what[sizeof((struct lw_change *)0)->what];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(what, sizeof what, format, arguments);
    va_end(arguments);
    const struct lw_change *before = work->out->changes.items;
    for (size_t i = 0; i < work->out->changes.count; i++) {
        if (strcmp(before[i].what, what) == 0) {
            return;
        }
    }
    struct lw_change *change = lw_list_add(&work->out->changes, sizeof *change);
    if (!change) {
        work->failed = true;
        return;
    }
    change->record = record;
    lw_copy(change->what, sizeof change->what, what);
}

static const struct lw_record_file *file_named(const struct lw_list *files, const char *name)
{
    const struct lw_record_file *items = files->items;
    for (size_t i = 0; i < files->count; i++) {
        if (strcmp(items[i].name, name) == 0) {
            return &items[i];
        }
    }
    return NULL;
}

// `then` may hold only the beginnings of digests.
static void compare(struct work *work, const struct lw_list *then, const char *since)
{
    const struct lw_list *now = &work->out->now.files;
    const struct lw_record_file *old = then->items, *present = now->items;
    char word[LW_SITE_WORD];
    for (size_t i = 0; i < then->count; i++) {
        const struct lw_record_file *same = file_named(now, old[i].name);
        int number = lw_visit_number(old[i].name);
        if (!same) {
            add_change(work, number, "'%s' was removed %s", lw_site_word(word, old[i].name), since);
        } else if (strncmp(same->sha256, old[i].sha256, strlen(old[i].sha256)) != 0) {
            add_change(work, number, "'%s' was changed %s", lw_site_word(word, old[i].name), since);
        }
    }
    for (size_t i = 0; i < now->count; i++) {
        if (!file_named(then, present[i].name)) {
            add_change(work, lw_visit_number(present[i].name), "'%s' was added %s",
                       lw_site_word(word, present[i].name), since);
        }
    }
}

// The files that a signature names; its own fit to its key is looked at apart.
static void compare_signed(struct work *work, const struct lw_record *record)
{
    struct lw_signature signature;
    char since[60];
    const char *json = record->result ? record->result : "";
    if (lw_json_read(&lw_signature_shape, json, strlen(json), &signature, NULL) == LW_OK) {
        lw_print(since, sizeof since, "after it was signed (record %d)", record->number);
        compare(work, &signature.files, since);
        lw_json_free(&lw_signature_shape, &signature);
    }
}

static enum lw_status look_at_signatures(struct work *work, const struct lw_list *records,
                                         struct lw_error *error)
{
    const struct lw_record *items = records->items;
    enum lw_status status = LW_OK;
    for (size_t i = 0; status == LW_OK && i < records->count; i++) {
        if (strcmp(items[i].check, "signature") != 0) {
            continue;
        }
        struct lw_signature_state *state =
            lw_list_add(&work->out->signatures, sizeof(struct lw_signature_state));
        if (!state) {
            return lw_fail(error, LW_MEMORY, "out of memory");
        }
        status = lw_signature_look(&items[i], &work->out->now, state, error);
        if (status == LW_OK && state->fingerprint[0]) {
            compare_signed(work, &items[i]);
        }
        if (status == LW_OK && !state->good) {
            add_change(work, state->record, "signature of record %d: %s", state->record,
                       state->why);
        }
    }
    return status;
}

static void compare_key(struct work *work, const struct lw_anchor *before)
{
    const struct lw_signature_state *states = work->out->signatures.items;
    for (size_t i = 0; i < work->out->signatures.count; i++) {
        if (strcmp(states[i].fingerprint, before->fingerprint) == 0) {
            return;
        }
    }
    add_change(work, 0, "the report names the key %s, and no signature here is of that key",
               before->fingerprint);
}

static void compare_report(struct work *work, const struct lw_anchor *before)
{
    compare(work, &before->files, "after the report was made");
    if (strcmp(before->digest, work->out->now.digest) != 0) {
        add_change(work, 0, "the report carries another digest than the visit has now");
    }
    if (before->fingerprint[0]) {
        compare_key(work, before);
    }
}

enum lw_status lw_visit_verify(const struct lw_visit *visit, const struct lw_anchor *before,
                               struct lw_verification *verification, struct lw_error *error)
{
    assert(visit && verification);
    struct work work = {.out = verification};
    struct lw_list records = {0};
    struct lw_error why = {0};
    int broken = 0;
    *verification = (struct lw_verification){0};
    enum lw_status status = lw_visit_records(visit, &records, &broken, &why);
    if (status != LW_OK) {
        if (error) {
            *error = why;
        }
        return status;
    }
    verification->records = records.count;
    status = lw_anchor_of_visit(visit, &verification->now, error);
    if (status == LW_OK && broken > 0) {
        char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
        add_change(&work, broken, "%s", lw_error_text(&why, text, sizeof text));
    }
    if (status == LW_OK) {
        status = look_at_signatures(&work, &records, error);
    }
    if (status == LW_OK && before) {
        compare_report(&work, before);
    }
    lw_records_free(&records);
    if (status == LW_OK && work.failed) {
        status = lw_fail(error, LW_MEMORY, "out of memory");
    }
    if (status != LW_OK) {
        lw_verification_free(verification);
    }
    return status;
}

void lw_verification_free(struct lw_verification *verification)
{
    if (!verification) {
        return;
    }
    lw_anchor_free(&verification->now);
    free(verification->changes.items);
    free(verification->signatures.items);
    *verification = (struct lw_verification){0};
}
