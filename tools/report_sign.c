// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk report --new-key, --sign, --attach: what makes a visit a signed one.
#include "report_sign.h"

#include "base/text.h"
#include "check/paper.h"
#include "cli/session.h"
#include "site/signature.h"

#include <ctype.h>
#include <sodium.h>

enum { SHOWN_LEAST = 8 };

static enum lw_status ask_new_phrase(int descriptor, char *phrase, struct lw_error *error)
{
    char again[LW_PHRASE_MOST];
    enum lw_status status =
        lw_cli_phrase(_("New pass phrase:"), descriptor, phrase, LW_PHRASE_MOST, error);
    if (status != LW_OK || descriptor >= 0) {
        return status;
    }
    status = lw_cli_phrase(_("Once more:"), descriptor, again, sizeof again, error);
    if (status == LW_OK && strcmp(phrase, again) != 0) {
        status = lw_fail(error, LW_USAGE, "the two are not the same");
    }
    sodium_memzero(again, sizeof again);
    return status;
}

int lw_report_new_key(struct lw_cli *cli, const struct lw_signing *signing)
{
    struct lw_error error = {0};
    struct lw_key key = {0};
    char phrase[LW_PHRASE_MOST], fingerprint[LW_FINGERPRINT];
    enum lw_status status = LW_OK;
    lw_cli_private_files();
    if (signing->owner == NULL) {
        status = lw_fail(&error, LW_USAGE, "whose key is it to be? say so with --owner NAME");
    }
    if (status == LW_OK) {
        status = ask_new_phrase(signing->phrase_descriptor, phrase, &error);
    }
    if (status == LW_OK) {
        status = lw_key_make(signing->new_key, signing->owner, phrase, &error);
    }
    if (status == LW_OK) {
        status = lw_key_open(signing->new_key, phrase, &key, &error);
    }
    sodium_memzero(phrase, sizeof phrase);
    if (status != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    lw_key_fingerprint(key.public_key, fingerprint);
    lw_key_wipe(&key);
    printf(_("key %s of %s: %s\n"), signing->new_key, signing->owner, fingerprint);
    puts(_("Give the fingerprint to whoever is to know your signatures, on paper or in person. A "
           "pass phrase that is lost can't be made good: keep it apart from the file."));
    return LW_EXIT_OK;
}

// The records may have grown since the session was opened: what is signed is what is there under
// the lock.
static enum lw_status sign(struct lw_session *session, const struct lw_key *key,
                           struct lw_signature *signature, struct lw_error *error)
{
    struct lw_list records = {0};
    int broken = 0;
    char now[LW_TIME_TEXT];
    struct lw_error chain = {0};
    enum lw_status status = lw_visit_records(&session->visit, &records, &broken, &chain);
    if (status != LW_OK) {
        *error = chain;
        return status;
    }
    lw_time_format(lw_clock_utc_ns(session->clock, lw_clock_now_ns(session->clock)), 0, now);
    status = lw_signature_make(&session->visit, &records, broken, key, now, signature, error);
    lw_records_free(&records);
    return status;
}

static int sign_visit(struct lw_session *session, const struct lw_key *key)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_signature signature = {0};
    enum lw_status status = lw_step_begin(session, &step, "signature", false, &error);
    if (status == LW_OK) {
        status = sign(session, key, &signature, &error);
    }
    step.shape = status == LW_OK ? &lw_signature_shape : NULL;
    step.result = &signature;
    int exit_status = lw_step_end(session, &step, status, &error, false);
    if (exit_status == LW_EXIT_OK && !session->cli->settings.json) {
        printf(_("signed: record %d\ndigest %s\nkey %s, %s\n"), step.number, signature.digest,
               signature.fingerprint, signature.owner);
        puts(_("The visit takes no more records. This proves that who holds the key signed these "
               "files; it proves no time. Print the report anew, sign it with ink, and bring it "
               "back with --attach."));
    }
    lw_findings_free(&step.findings);
    lw_json_free(&lw_signature_shape, &signature);
    return exit_status;
}

// What cannot be signed is said before anybody types a pass phrase.
static enum lw_status open_signable(struct lw_session *session, struct lw_cli *cli,
                                    struct lw_error *error)
{
    enum lw_status status = lw_session_open(session, cli, LW_NEEDS_VISIT, error);
    if (status == LW_OK) {
        status = lw_visit_signable(&session->records, session->broken, error);
        if (status != LW_OK) {
            lw_session_close(session);
        }
    }
    return status;
}

int lw_report_sign(struct lw_cli *cli, const struct lw_signing *signing)
{
    struct lw_error error = {0};
    struct lw_session session;
    struct lw_key key = {0};
    char phrase[LW_PHRASE_MOST];
    if (open_signable(&session, cli, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    enum lw_status status =
        lw_cli_phrase(_("Pass phrase:"), signing->phrase_descriptor, phrase, sizeof phrase, &error);
    if (status == LW_OK) {
        status = lw_key_open(signing->key, phrase, &key, &error);
    }
    sodium_memzero(phrase, sizeof phrase);
    int exit_status = status == LW_OK ? sign_visit(&session, &key) : lw_cli_fail(cli, &error);
    lw_key_wipe(&key);
    lw_session_close(&session);
    return exit_status;
}

// Digits without blanks, in lower case.
static void squeeze(const char *from, char *to, size_t size)
{
    size_t length = 0;
    for (; *from != '\0' && length + 1 < size; from++) {
        if (*from != ' ') {
            to[length++] = (char)tolower((unsigned char)*from);
        }
    }
    to[length] = '\0';
}

static enum lw_status compare_shown(const char *shown, const char *digest, struct lw_error *error)
{
    char digits[LW_DIGEST];
    squeeze(shown, digits, sizeof digits);
    if (strlen(digits) < SHOWN_LEAST) {
        return lw_fail(error, LW_USAGE, "--digest takes at least the first %d digits on the paper",
                       SHOWN_LEAST);
    }
    return strncmp(digits, digest, strlen(digits)) == 0
               ? LW_OK
               : lw_fail(error, LW_USAGE,
                         "the paper shows another digest than the visit has (%.16s...): it is of "
                         "another visit, or of another state of this one",
                         digest);
}

static enum lw_status fill_paper(struct lw_session *session, const struct lw_signing *signing,
                                 struct lw_step *step, struct lw_paper *paper,
                                 struct lw_error *error)
{
    struct lw_anchor anchor;
    const struct lw_record_file *kept;
    enum lw_status status = lw_anchor_of_visit(&session->visit, &anchor, error);
    if (status != LW_OK) {
        return status;
    }
    if (signing->shown != NULL) {
        status = compare_shown(signing->shown, anchor.digest, error);
    }
    if (status == LW_OK) {
        status = lw_step_attach(session, step, signing->paper, &kept, error);
    }
    if (status == LW_OK) {
        char shown[LW_DIGEST];
        squeeze(signing->shown != NULL ? signing->shown : "", shown, sizeof shown);
        paper->file = lw_duplicate(kept->name);
        paper->sha256 = lw_duplicate(kept->sha256);
        paper->digest = lw_duplicate(anchor.digest);
        paper->shown = signing->shown != NULL ? lw_duplicate(shown) : NULL;
    }
    lw_anchor_free(&anchor);
    return status;
}

int lw_report_attach(struct lw_cli *cli, const struct lw_signing *signing)
{
    struct lw_error error = {0};
    struct lw_session session;
    struct lw_step step;
    struct lw_paper paper = {0};
    if (open_signable(&session, cli, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    enum lw_status status = lw_step_begin(&session, &step, "paper", false, &error);
    if (status == LW_OK) {
        status = fill_paper(&session, signing, &step, &paper, &error);
    }
    step.shape = &lw_paper_shape;
    step.result = &paper;
    int exit_status = lw_step_end(&session, &step, status, &error, false);
    if (exit_status == LW_EXIT_OK && !cli->settings.json) {
        printf(_("signed paper: record %d, %s\n"), step.number, paper.file);
        puts(paper.shown != NULL
                 ? _("It shows the visit's digest. The visit takes no more records.")
                 : _("Nobody compared the digest on it: see that it begins with the visit's. The "
                     "visit takes no more records."));
        printf(_("digest %s\n"), paper.digest);
    }
    lw_findings_free(&step.findings);
    lw_json_free(&lw_paper_shape, &paper);
    lw_session_close(&session);
    return exit_status;
}
