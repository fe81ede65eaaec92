// SPDX-License-Identifier: GPL-3.0-or-later
//
// The ring on disk. A file is closed when it has its share of the ring, so that the oldest can be
// taken away whole; a kept moment is copied packet by packet, since a share may hold an hour.
#include "cli/ring.h"

#include "base/text.h"
#include "capture/reader.h"

#include <errno.h>
#include <stdio.h>

enum {
    SHARES = 16,      // ring files, and one more that is under way
    KEPT_MOST = 2000, // kept files
};

static const char list_name[] = "events.csv";

struct ring_file {
    int number;
    double bytes;
    char digest[LW_DIGEST];
};

struct kept_file {
    char name[64];
    char digest[LW_DIGEST];
};

struct lw_ring {
    char folder[LW_PATH];
    struct lw_capture_facts facts;
    double share_bytes, keep_bytes, kept_bytes, say_bytes, said_bytes, most_bytes;
    struct lw_file *list;
    struct lw_capture *capture; // of the newest file
    size_t count;
    struct ring_file files[SHARES + 2]; // oldest first
    struct lw_list kept;                // of struct kept_file
};

static bool file_path(const struct lw_ring *ring, int number, char path[LW_PATH])
{
    char name[32];
    lw_print(name, sizeof name, "ring-%06d.pcapng", number);
    return lw_path_join(path, LW_PATH, ring->folder, name);
}

static enum lw_status begin_file(struct lw_ring *ring, struct lw_error *error)
{
    char path[LW_PATH];
    int number = ring->count > 0 ? ring->files[ring->count - 1].number + 1 : 1;
    if (!file_path(ring, number, path)) {
        return lw_fail(error, LW_USAGE, "the path of the folder is too long");
    }
    enum lw_status status = lw_capture_create(path, &ring->facts, &ring->capture, error);
    if (status == LW_OK) {
        ring->files[ring->count++] = (struct ring_file){.number = number};
    }
    return status;
}

static enum lw_status make_folder(const char *folder, struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = lw_folder_make(folder, error);
    if (status == LW_OK) {
        status = lw_folder_names(folder, &names, error);
    }
    if (status == LW_OK && names.count > 0) {
        char shown[200];
        lw_text_clean(shown, sizeof shown, folder, strlen(folder));
        status = lw_fail(error, LW_USAGE, "'%s' is not empty: name a new folder", shown);
    }
    lw_names_free(&names);
    return status;
}

static enum lw_status begin_list(struct lw_ring *ring, struct lw_error *error)
{
    char path[LW_PATH];
    return lw_path_join(path, sizeof path, ring->folder, list_name)
               ? lw_file_create(path, &ring->list, error)
               : lw_fail(error, LW_USAGE, "the path of the folder is too long");
}

enum lw_status lw_ring_say(struct lw_ring *ring, const char *row, struct lw_error *error)
{
    size_t length = strlen(row);
    if (ring->said_bytes + (double)length > ring->say_bytes) {
        return LW_OK;
    }
    ring->said_bytes += (double)length;
    enum lw_status status = lw_file_append(ring->list, row, length, error);
    return status == LW_OK ? lw_file_flush(ring->list, error) : status;
}

enum lw_status lw_ring_open(const char *folder, double cap_bytes,
                            const struct lw_capture_facts *facts, struct lw_ring **ring,
                            struct lw_error *error)
{
    enum lw_status status = make_folder(folder, error);
    if (status != LW_OK) {
        return status;
    }
    struct lw_ring *made = calloc(1, sizeof *made);
    if (made == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a ring of files");
    }
    made->facts = *facts;
    made->share_bytes = cap_bytes / 2 / (SHARES + 1);
    made->keep_bytes = cap_bytes * 2 / 5;
    made->say_bytes = cap_bytes / 10;
    lw_copy(made->folder, sizeof made->folder, folder);
    status = begin_list(made, error);
    if (status == LW_OK) {
        status = begin_file(made, error);
    }
    if (status != LW_OK) {
        (void)lw_file_close(made->list, NULL, NULL);
        free(made);
        return status;
    }
    *ring = made;
    return LW_OK;
}

struct lw_capture *lw_ring_capture(struct lw_ring *ring)
{
    return ring->capture;
}

double lw_ring_bytes(const struct lw_ring *ring)
{
    double bytes = ring->kept_bytes + ring->said_bytes;
    bytes += ring->capture != NULL ? (double)lw_capture_bytes(ring->capture) : 0;
    for (size_t i = 0; i + 1 < ring->count; i++) {
        bytes += ring->files[i].bytes;
    }
    return bytes;
}

double lw_ring_most(const struct lw_ring *ring)
{
    double now = lw_ring_bytes(ring);
    return now > ring->most_bytes ? now : ring->most_bytes;
}

static enum lw_status remove_file(const char *path, struct lw_error *error)
{
    if (remove(path) == 0) {
        return LW_OK;
    }
    int why = errno;
    char shown[LW_PATH];
    lw_text_clean(shown, sizeof shown, path, strlen(path));
    return lw_fail_errno(error, why, "'%s' cannot be removed", shown);
}

static enum lw_status end_file(struct lw_ring *ring, struct lw_error *error)
{
    if (ring->capture == NULL) {
        return LW_OK;
    }
    struct ring_file *file = &ring->files[ring->count - 1];
    file->bytes = (double)lw_capture_bytes(ring->capture);
    enum lw_status status = lw_capture_close(ring->capture, file->digest, error);
    ring->capture = NULL;
    return status;
}

static enum lw_status drop_oldest(struct lw_ring *ring, struct lw_error *error)
{
    ring->most_bytes = lw_ring_most(ring);
    char path[LW_PATH];
    file_path(ring, ring->files[0].number, path);
    enum lw_status status = remove_file(path, error);
    ring->count--;
    memmove(ring->files, ring->files + 1, ring->count * sizeof *ring->files);
    return status;
}

enum lw_status lw_ring_turn(struct lw_ring *ring, struct lw_line *recorder, struct lw_error *error)
{
    if ((double)lw_capture_bytes(ring->capture) + LW_RTU_MAX < ring->share_bytes) {
        return LW_OK;
    }
    enum lw_status status = lw_recorder_switch(recorder, NULL, error);
    enum lw_status ended = end_file(ring, error);
    status = status == LW_OK ? ended : status;
    if (status == LW_OK && ring->count > SHARES) {
        status = drop_oldest(ring, error);
    }
    if (status == LW_OK) {
        status = begin_file(ring, error);
    }
    return status == LW_OK ? lw_recorder_switch(recorder, ring->capture, error) : status;
}

enum lw_status lw_ring_again(struct lw_ring *ring, struct lw_line *recorder, struct lw_error *error)
{
    enum lw_status status = lw_recorder_switch(recorder, NULL, error);
    enum lw_status ended = end_file(ring, error);
    status = status == LW_OK ? ended : status;
    while (status == LW_OK && ring->count > 0) {
        status = drop_oldest(ring, error);
    }
    if (status == LW_OK) {
        status = begin_file(ring, error);
    }
    return status == LW_OK ? lw_recorder_switch(recorder, ring->capture, error) : status;
}

struct copying {
    struct lw_ring *ring;
    char path[LW_PATH];
    struct lw_capture *to; // NULL before the first packet
    int64_t from_utc_ns, to_utc_ns;
    bool full;
};

static enum lw_status copy_packet(struct copying *copying, const struct lw_packet *packet,
                                  struct lw_error *error)
{
    const struct lw_ring *ring = copying->ring;
    enum lw_status status = LW_OK;
    if (copying->to == NULL) {
        status = lw_capture_create(copying->path, &ring->facts, &copying->to, error);
    }
    // what a block needs beside its bytes, and the options
    const double around = 128;
    double bytes = copying->to != NULL ? (double)lw_capture_bytes(copying->to) : 0;
    if (ring->kept_bytes + bytes + (double)packet->count + around > ring->keep_bytes) {
        copying->full = true;
        return status;
    }
    return status == LW_OK ? lw_capture_packet(copying->to, packet, error) : status;
}

// When the first packet of a file was heard; INT64_MAX when there is none yet.
static enum lw_status first_of(const struct lw_ring *ring, int number, int64_t *first_utc_ns,
                               struct lw_error *error)
{
    char path[LW_PATH];
    struct lw_reader *reader = NULL;
    struct lw_read_packet read;
    bool more = false;
    file_path(ring, number, path);
    enum lw_status status = lw_reader_open(path, &reader, error);
    if (status == LW_OK) {
        status = lw_reader_next(reader, &read, &more, error);
    }
    *first_utc_ns = status == LW_OK && more ? read.packet.first_utc_ns : INT64_MAX;
    lw_reader_close(reader);
    return status;
}

static enum lw_status copy_file(struct copying *copying, int number, struct lw_error *error)
{
    char path[LW_PATH];
    struct lw_reader *reader = NULL;
    struct lw_read_packet read;
    bool more = true;
    file_path(copying->ring, number, path);
    enum lw_status status = lw_reader_open(path, &reader, error);
    while (status == LW_OK && more && !copying->full) {
        status = lw_reader_next(reader, &read, &more, error);
        more = more && read.packet.first_utc_ns <= copying->to_utc_ns;
        if (status == LW_OK && more && read.packet.first_utc_ns >= copying->from_utc_ns) {
            status = copy_packet(copying, &read.packet, error);
        }
    }
    lw_reader_close(reader);
    return status;
}

// A file is looked through when the one after it begins late enough.
static enum lw_status copy_window(struct copying *copying, struct lw_error *error)
{
    const struct lw_ring *ring = copying->ring;
    enum lw_status status = LW_OK;
    for (size_t i = 0; status == LW_OK && !copying->full && i < ring->count; i++) {
        int64_t next_ns = INT64_MAX;
        if (i + 1 < ring->count) {
            status = first_of(ring, ring->files[i + 1].number, &next_ns, error);
        }
        if (status == LW_OK && next_ns >= copying->from_utc_ns) {
            status = copy_file(copying, ring->files[i].number, error);
        }
    }
    return status;
}

static enum lw_status settle_kept(struct copying *copying, const char *name, bool *kept,
                                  struct lw_error *error)
{
    struct lw_ring *ring = copying->ring;
    double bytes = (double)lw_capture_bytes(copying->to);
    bool any = lw_capture_count(copying->to) > 0;
    struct kept_file *file = any ? lw_list_add(&ring->kept, sizeof *file) : NULL;
    char digest[LW_DIGEST];
    enum lw_status status = lw_capture_close(copying->to, digest, error);
    if (file == NULL) {
        return status == LW_OK ? remove_file(copying->path, error) : status;
    }
    lw_copy(file->name, sizeof file->name, name);
    lw_copy(file->digest, sizeof file->digest, digest);
    ring->kept_bytes += bytes;
    ring->most_bytes = lw_ring_most(ring);
    *kept = true;
    return status;
}

enum lw_status lw_ring_keep(struct lw_ring *ring, const char *name, int64_t from_utc_ns,
                            int64_t to_utc_ns, bool *kept, struct lw_error *error)
{
    struct copying copying = {.ring = ring, .from_utc_ns = from_utc_ns, .to_utc_ns = to_utc_ns};
    enum lw_status status = LW_OK;
    *kept = false;
    if (!lw_path_join(copying.path, sizeof copying.path, ring->folder, name)) {
        return lw_fail(error, LW_USAGE, "the path of the folder is too long");
    }
    if (ring->kept.count >= KEPT_MOST) {
        return LW_OK;
    }
    status = copy_window(&copying, error);
    if (copying.to == NULL) {
        return status;
    }
    struct lw_error closing = {0};
    enum lw_status settled = settle_kept(&copying, name, kept, &closing);
    if (status == LW_OK && settled != LW_OK && error != NULL) {
        *error = closing;
    }
    return status == LW_OK ? settled : status;
}

static bool add_file(struct lw_list *files, const char *prefix, const char *name,
                     const char *digest)
{
    char path[LW_PATH];
    struct lw_record_file *file = lw_list_add(files, sizeof *file);
    if (file != NULL && lw_path_join(path, sizeof path, prefix, name)) {
        file->name = lw_duplicate(path);
        file->sha256 = lw_duplicate(digest);
    }
    return file != NULL && file->name != NULL && file->sha256 != NULL;
}

static bool add_files(const struct lw_ring *ring, const char *prefix, struct lw_list *files)
{
    const struct kept_file *kept = ring->kept.items;
    bool whole = true;
    for (size_t i = 0; whole && i < ring->kept.count; i++) {
        whole = add_file(files, prefix, kept[i].name, kept[i].digest);
    }
    for (size_t i = 0; whole && i < ring->count; i++) {
        char name[32];
        lw_print(name, sizeof name, "ring-%06d.pcapng", ring->files[i].number);
        whole = add_file(files, prefix, name, ring->files[i].digest);
    }
    return whole;
}

enum lw_status lw_ring_close(struct lw_ring *ring, const char *prefix, struct lw_list *files,
                             struct lw_error *error)
{
    if (ring == NULL) {
        return LW_OK;
    }
    char digest[LW_DIGEST];
    enum lw_status status = end_file(ring, error);
    enum lw_status listed = lw_file_close(ring->list, digest, error);
    bool whole = listed != LW_OK || add_file(files, prefix, list_name, digest);
    status = status == LW_OK ? listed : status;
    if (!(whole && add_files(ring, prefix, files)) && status == LW_OK) {
        status = lw_fail(error, LW_MEMORY, "no memory for the names of files");
    }
    free(ring->kept.items);
    free(ring);
    return status;
}
