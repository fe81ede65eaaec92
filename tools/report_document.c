// SPDX-License-Identifier: GPL-3.0-or-later
//
// A session's visit as a document.
#include "report_document.h"

#include "base/text.h"
#include "report/report.h"

enum { MOST_CATALOGUE_BYTES = 4 * 1024 * 1024 };

static void say_broken(const struct lw_session *session, int broken, const struct lw_error *chain)
{
    char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    if (broken > 0) {
        lw_cli_say(session->cli, "the records do not fit together from number %d on: %s", broken,
                   lw_error_text(chain, text, sizeof text));
    }
}

// The language asked for, else the visit's, else the locale's.
static enum lw_status speak(struct lw_session *session, struct lw_sentences **sentences,
                            struct lw_error *error)
{
    char path[LW_PATH];
    struct lw_text bytes = {0};
    if (session->cli->settings.language == NULL && session->visit.facts.language != NULL) {
        lw_cli_speak(session->visit.facts.language);
    }
    if (!lw_cli_catalogue(path, sizeof path)) {
        return LW_OK;
    }
    enum lw_status status = lw_file_read(path, MOST_CATALOGUE_BYTES, &bytes, error);
    if (status == LW_OK) {
        status = lw_sentences_read(bytes.bytes != NULL ? bytes.bytes : "", bytes.length, sentences,
                                   error);
    }
    lw_text_finish(&bytes);
    return status == LW_OK ? status : lw_error_within(error, "catalogue '%s'", path);
}

enum lw_status lw_length_unit_check(const char *unit, struct lw_error *error)
{
    bool known = unit == NULL || strcmp(unit, "mm") == 0 || strcmp(unit, "inch") == 0;
    return known ? LW_OK : lw_fail(error, LW_USAGE, "--units is mm or inch");
}

enum lw_status lw_session_document(struct lw_session *session, const char *length_unit,
                                   struct lw_document *document, struct lw_acceptance *acceptance,
                                   int64_t *made_utc_ns, struct lw_error *error)
{
    struct lw_list records = {0};
    struct lw_error chain = {0};
    int broken = 0;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    *made_utc_ns = lw_clock_utc_ns(&session->system, lw_clock_now_ns(&session->system));
    enum lw_status status = lw_visit_records(&session->visit, &records, &broken, &chain);
    if (status != LW_OK) {
        *error = chain;
        return status;
    }
    struct lw_sentences *sentences = NULL;
    struct lw_report_making making = {
        .now_utc_ns = *made_utc_ns, .version = LW_VERSION, .length_unit = length_unit};
    status = speak(session, &sentences, error);
    making.language = lw_cli_language();
    making.sentences = sentences;
    if (status == LW_OK) {
        status = lw_report_build(&session->visit, plan, &records, broken, &making, document, error);
    }
    lw_sentences_free(sentences);
    if (status == LW_OK) {
        say_broken(session, broken, &chain);
        if (acceptance != NULL) {
            lw_acceptance_judge(plan, &records, broken, acceptance);
        }
    }
    lw_records_free(&records);
    return status;
}
