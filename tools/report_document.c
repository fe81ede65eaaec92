// SPDX-License-Identifier: GPL-3.0-or-later
//
// A session's visit as a document.
#include "report_document.h"

#include "base/text.h"
#include "cli/language.h"
#include "report/report.h"

static void say_broken(const struct lw_session *session, int broken, const struct lw_error *chain)
{
    char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    if (broken > 0) {
        lw_cli_say(session->cli, "the records do not fit together from number %d on: %s", broken,
                   lw_error_text(chain, text, sizeof text));
    }
}

static void say_bad_pictures(const struct lw_session *session, size_t count)
{
    if (count > 0) {
        lw_cli_say(session->cli, "remark: pictures that the report cannot show: %zu (it says why)",
                   count);
    }
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
    status = lw_session_language(session, &sentences, error);
    making.language = lw_cli_language();
    making.sentences = sentences;
    if (status == LW_OK) {
        status = lw_report_build(&session->visit, plan, &records, broken, &making, document, error);
    }
    lw_sentences_free(sentences);
    if (status == LW_OK) {
        say_broken(session, broken, &chain);
        say_bad_pictures(session, document->bad_pictures);
        if (acceptance != NULL) {
            lw_acceptance_judge(plan, &records, broken, acceptance);
        }
    }
    lw_records_free(&records);
    return status;
}
