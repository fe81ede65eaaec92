// SPDX-License-Identifier: GPL-3.0-or-later
//
// The bundle through libarchive, which is linked here alone: it brings a dozen libraries along that
// no command needs. The archive is built in memory and written whole or not at all.
#include "report_bundle.h"

#include "base/list.h"
#include "base/text.h"
#include "site/anchor.h"

#include <archive.h>
#include <archive_entry.h>
#include <ctype.h>
#include <stdlib.h>

enum { MOST_FILE_BYTES = 256 * 1024 * 1024 };

struct bundle {
    const struct lw_session *session;
    struct archive *archive;
    struct lw_text bytes; // of the archive
    struct lw_text sums;
    char root[120];
    int64_t made_s;
};

static la_ssize_t take(struct archive *archive, void *user, const void *bytes, size_t count)
{
    struct lw_text *out = user;
    (void)archive;
    lw_text_put(out, bytes, count);
    return out->failed ? -1 : (la_ssize_t)count;
}

static enum lw_status archive_failed(const struct bundle *bundle, struct lw_error *error)
{
    const char *why = archive_error_string(bundle->archive);
    return lw_fail(error, LW_MEMORY, "cannot pack: %s", why != NULL ? why : "out of memory");
}

static enum lw_status pack(struct bundle *bundle, const char *name, const struct lw_text *content,
                           struct lw_error *error)
{
    char inside[LW_PATH];
    struct archive_entry *entry = archive_entry_new();
    if (entry == NULL || !lw_path_join(inside, sizeof inside, bundle->root, name)) {
        archive_entry_free(entry);
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    archive_entry_set_pathname_utf8(entry, inside);
    archive_entry_set_size(entry, (la_int64_t)content->length);
    archive_entry_set_filetype(entry, AE_IFREG);
    archive_entry_set_perm(entry, 0644);
    archive_entry_set_mtime(entry, bundle->made_s, 0);
    bool good = archive_write_header(bundle->archive, entry) == ARCHIVE_OK &&
                (content->length == 0 ||
                 archive_write_data(bundle->archive, content->bytes, content->length) ==
                     (la_ssize_t)content->length);
    archive_entry_free(entry);
    return good ? LW_OK : archive_failed(bundle, error);
}

static enum lw_status pack_file(struct bundle *bundle, const char *name, struct lw_error *error)
{
    char path[LW_PATH], digest[LW_DIGEST];
    struct lw_text content = {0};
    if (!lw_path_join(path, sizeof path, bundle->session->visit.folder, name)) {
        return lw_fail(error, LW_USAGE, "the name of a file gets too long");
    }
    enum lw_status status = lw_file_read(path, MOST_FILE_BYTES, &content, error);
    if (status == LW_OK) {
        lw_digest(content.bytes != NULL ? content.bytes : "", content.length, digest);
        lw_text_add(&bundle->sums, "%s  %s\n", digest, name);
        status = pack(bundle, name, &content, error);
    }
    lw_text_finish(&content);
    return status;
}

// What belongs to a visit: its opening, what has a number, and the report. Whatever else lies in
// the folder stays there.
static bool belongs(const char *name)
{
    static const char *const others[] = {"visit.json", "report.html", "report.pdf"};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        if (strcmp(name, others[i]) == 0) {
            return true;
        }
    }
    bool numbered = strlen(name) > 5 && name[4] == '-';
    for (size_t i = 0; numbered && i < 4; i++) {
        numbered = isdigit((unsigned char)name[i]) != 0;
    }
    return numbered;
}

static enum lw_status pack_visit(struct bundle *bundle, struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = lw_folder_names(bundle->session->visit.folder, &names, error);
    for (size_t i = 0; status == LW_OK && i < names.count; i++) {
        const char *name = ((char **)names.items)[i];
        status = belongs(name) ? pack_file(bundle, name, error) : LW_OK;
    }
    lw_names_free(&names);
    return status;
}

static enum lw_status pack_inputs(struct bundle *bundle, struct lw_error *error)
{
    char folder[LW_PATH], name[LW_PATH];
    struct lw_list names = {0};
    lw_path_join(folder, sizeof folder, bundle->session->visit.folder, "inputs");
    if (!lw_folder_exists(folder)) {
        return LW_OK;
    }
    enum lw_status status = lw_folder_names(folder, &names, error);
    for (size_t i = 0; status == LW_OK && i < names.count; i++) {
        lw_path_join(name, sizeof name, "inputs", ((char **)names.items)[i]);
        status = pack_file(bundle, name, error);
    }
    lw_names_free(&names);
    return status;
}

static enum lw_status pack_text(struct bundle *bundle, const char *name, struct lw_text *text,
                                struct lw_error *error)
{
    enum lw_status status = lw_text_check(text, error);
    return status == LW_OK ? pack(bundle, name, text, error) : status;
}

static enum lw_status pack_guide(struct bundle *bundle, struct lw_error *error)
{
    struct lw_text text = {0};
    struct lw_anchor anchor;
    enum lw_status status = lw_anchor_of_visit(&bundle->session->visit, &anchor, error);
    if (status != LW_OK) {
        return status;
    }
    lw_text_add(&text,
                _("What this is\n"
                  "\n"
                  "A commissioning visit made with linewalk: the report (report.html, "
                  "report.pdf), each check's\n"
                  "record (NNNN-check.json), the exchanges on the line (.pcapng), the raw "
                  "readings (.csv), and\n"
                  "under inputs/ the plan and the device profiles that were used.\n"
                  "\n"
                  "Has anything been changed?\n"
                  "\n"
                  "1. Every file against the list, with common tools, in this folder:\n"
                  "       sha256sum -c SHA256SUMS\n"
                  "   That finds damage. It proves nothing against somebody who changed the "
                  "list as well.\n"
                  "2. The visit's digest. It is the SHA-256 of the last record that is "
                  "neither a signature nor a\n"
                  "   signed paper, and each record names the digest of the one before it "
                  "(previous_sha256):\n"
                  "       %s\n"
                  "   Compare it with the digest on the paper that was signed with ink. That "
                  "paper is the proof.\n"
                  "3. With linewalk, which checks all digests and names what was changed:\n"
                  "       linewalk report --verify .\n"
                  "       linewalk report --verify report.pdf\n"
                  "\n"
                  "A signature by key, where there is one, proves that the holder of the "
                  "key signed these files.\n"
                  "It proves no time, and no person unless the key's fingerprint is known "
                  "from elsewhere.\n"),
                anchor.digest);
    status = pack_text(bundle, "HOW-TO-VERIFY.txt", &text, error);
    lw_anchor_free(&anchor);
    lw_text_finish(&text);
    return status;
}

// "walk" for "/visits/walk/"; a folder without a name of its own is "visit".
static void name_root(struct bundle *bundle)
{
    char folder[LW_PATH];
    lw_copy(folder, sizeof folder, bundle->session->visit.folder);
    for (size_t length = strlen(folder); length > 1 && folder[length - 1] == '/'; length--) {
        folder[length - 1] = '\0';
    }
    const char *slash = strrchr(folder, '/');
    const char *name = slash != NULL ? slash + 1 : folder;
    bool plain = name[0] != '\0' && name[0] != '.';
    lw_text_clean(bundle->root, sizeof bundle->root, plain ? name : "visit",
                  strlen(plain ? name : "visit"));
}

static enum lw_status pack_all(struct bundle *bundle, struct lw_error *error)
{
    enum lw_status status = pack_visit(bundle, error);
    if (status == LW_OK) {
        status = pack_inputs(bundle, error);
    }
    if (status == LW_OK) {
        status = pack_text(bundle, "SHA256SUMS", &bundle->sums, error);
    }
    if (status == LW_OK) {
        status = pack_guide(bundle, error);
    }
    if (status == LW_OK && archive_write_close(bundle->archive) != ARCHIVE_OK) {
        status = archive_failed(bundle, error);
    }
    return status;
}

enum lw_status lw_bundle_write(const struct lw_session *session, const char *path,
                               struct lw_error *error)
{
    struct bundle bundle = {.session = session, .archive = archive_write_new()};
    if (bundle.archive == NULL) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    bundle.made_s =
        lw_clock_utc_ns(session->clock, lw_clock_now_ns(session->clock)) / INT64_C(1000000000);
    name_root(&bundle);
    archive_write_set_format_zip(bundle.archive);
    archive_write_set_bytes_in_last_block(bundle.archive, 1);
    enum lw_status status =
        archive_write_open(bundle.archive, &bundle.bytes, NULL, take, NULL) == ARCHIVE_OK
            ? pack_all(&bundle, error)
            : archive_failed(&bundle, error);
    if (status == LW_OK) {
        status = lw_text_check(&bundle.bytes, error);
    }
    if (status == LW_OK) {
        status = lw_file_write(path, bundle.bytes.bytes, bundle.bytes.length, error);
    }
    archive_write_free(bundle.archive);
    lw_text_finish(&bundle.sums);
    lw_text_finish(&bundle.bytes);
    return status;
}
