// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk report --verify: is a visit still what it was? It opens nothing for writing, and reads
// the folder even where visit.json itself was spoilt.
#include "report_sign.h"

#include "base/text.h"
#include "cli/output.h"
#include "site/verify.h"

enum { MOST_REPORT_BYTES = 64 * 1024 * 1024 };

// The visit that a place belongs to: a visit's folder, or that of a report in it.
static enum lw_status find_visit(const struct lw_cli *cli, const char *place,
                                 struct lw_visit *visit, struct lw_error *error)
{
    char file[LW_PATH];
    bool is_folder = lw_folder_exists(place);
    *visit = (struct lw_visit){.lock.descriptor = -1};
    if (!is_folder && cli->settings.visit != NULL) {
        lw_copy(visit->folder, sizeof visit->folder, cli->settings.visit);
    } else if (is_folder) {
        lw_copy(visit->folder, sizeof visit->folder, place);
    } else {
        lw_path_folder(visit->folder, sizeof visit->folder, place);
    }
    bool there =
        lw_path_join(file, sizeof file, visit->folder, "visit.json") && lw_file_exists(file);
    return there ? LW_OK
                 : lw_fail(error, LW_USAGE,
                           "'%s' is no visit: name the one to compare with --visit", visit->folder);
}

static enum lw_status read_report(const char *path, struct lw_anchor *anchor,
                                  struct lw_error *error)
{
    struct lw_text bytes = {0};
    enum lw_status status = lw_file_read(path, MOST_REPORT_BYTES, &bytes, error);
    if (status == LW_OK &&
        !lw_anchor_find(bytes.bytes != NULL ? bytes.bytes : "", bytes.length, anchor)) {
        status = lw_fail(error, LW_BAD_FILE,
                         "'%s' carries no digest that can be read (a scan, or written by another "
                         "program): compare the one that is printed on it with that of --verify "
                         "VISIT",
                         path);
    }
    lw_text_finish(&bytes);
    return status;
}

// As people write fingerprints: with blanks or without.
static bool same_digits(const char *a, const char *b)
{
    for (;; a++, b++) {
        a += strspn(a, " ");
        b += strspn(b, " ");
        if (*a != *b || *a == '\0') {
            return *a == *b;
        }
    }
}

static bool print_signatures(const struct lw_verification *verification, const char *signer)
{
    const struct lw_signature_state *states = verification->signatures.items;
    bool found = signer == NULL;
    for (size_t i = 0; i < verification->signatures.count; i++) {
        if (!states[i].good) {
            printf(_("signature, record %d: NOT GOOD, %s\n"), states[i].record, _(states[i].why));
            continue;
        }
        if (verification->changes.count > 0) {
            printf(_("signature, record %d: over the records as they are, but not over what is "
                     "named above\n"),
                   states[i].record);
            continue;
        }
        printf(_("signature, record %d: good, key %s, %s, %s by the signer's own clock\n"),
               states[i].record, states[i].fingerprint, states[i].owner, states[i].signed_at);
        found = found || same_digits(signer, states[i].fingerprint);
    }
    if (!found) {
        printf(_("no good signature is of the key %s\n"), signer);
    }
    return found;
}

static void print_changes(const struct lw_verification *verification)
{
    const struct lw_change *changes = verification->changes.items;
    for (size_t i = 0; i < verification->changes.count; i++) {
        printf("%s%s\n", _("CHANGED: "), changes[i].what);
    }
    if (verification->changes.count == 0) {
        printf(_("%zu records: nothing was changed, removed or added\n"), verification->records);
    }
}

static void print_meaning(const struct lw_verification *verification, bool report)
{
    if (verification->changes.count > 0) {
        return;
    }
    if (verification->signatures.count == 0 && !report) {
        puts(_("Nothing here is signed by a key: whoever can write here could have made everything "
               "fit. What proves it is paper: the digest above, on a report signed with ink."));
        return;
    }
    if (report) {
        puts(_("The visit is as it was when this report was made. That proves nothing of the "
               "report's own text: print it anew to compare."));
    }
    if (verification->signatures.count > 0) {
        puts(
            _("A key proves that its holder signed these files. It proves no time, and no person "
              "unless the fingerprint is known from elsewhere: the digest on paper signed with ink "
              "does."));
    }
}

static int verify(struct lw_cli *cli, const struct lw_visit *visit, const struct lw_anchor *before,
                  const char *signer)
{
    struct lw_error error = {0};
    struct lw_verification verification;
    if (lw_visit_verify(visit, before, &verification, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    printf(_("visit %s\ndigest %s\n"), visit->folder, verification.now.digest);
    print_changes(&verification);
    bool found = print_signatures(&verification, signer);
    print_meaning(&verification, before != NULL);
    bool good = verification.changes.count == 0 && found;
    lw_verification_free(&verification);
    return good ? LW_EXIT_OK : LW_EXIT_VERDICT;
}

int lw_report_verify(struct lw_cli *cli, const struct lw_signing *signing)
{
    struct lw_error error = {0};
    struct lw_visit visit;
    struct lw_anchor before = {0};
    bool is_report = !lw_folder_exists(signing->verify);
    enum lw_status status = find_visit(cli, signing->verify, &visit, &error);
    if (status == LW_OK && is_report) {
        status = read_report(signing->verify, &before, &error);
    }
    int exit_status = status == LW_OK
                          ? verify(cli, &visit, is_report ? &before : NULL, signing->signer)
                          : lw_cli_fail(cli, &error);
    lw_anchor_free(&before);
    return exit_status;
}
