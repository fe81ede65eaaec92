// SPDX-License-Identifier: GPL-3.0-or-later
//
// From captures to exchanges: each packet is a piece of the stream that the decoder takes apart.
// Captures are decoded one by one, since what was open at the end of one is answered by none of the
// next.
#include "cli/recording.h"

#include "base/file.h"
#include "base/text.h"
#include "capture/reader.h"
#include "modbus/stream.h"

struct loading {
    struct lw_recording *recording;
    bool framing_known; // by the caller or by a capture
    bool zero_known;
    bool failed; // memory ran out
};

static void take_exchange(void *context, const struct lw_exchange *exchange)
{
    struct loading *loading = context;
    struct lw_exchange *kept = lw_list_add(&loading->recording->exchanges, sizeof *kept);
    if (kept == NULL) {
        loading->failed = true;
    } else {
        *kept = *exchange;
    }
}

static int64_t since_zero(struct loading *loading, int64_t utc_ns)
{
    if (utc_ns < 0) {
        return -1;
    }
    if (!loading->zero_known) {
        loading->recording->utc_zero_ns = utc_ns;
        loading->zero_known = true;
    }
    return utc_ns - loading->recording->utc_zero_ns;
}

static void add_packet(struct loading *loading, struct lw_stream *stream,
                       const struct lw_read_packet *read)
{
    const struct lw_packet *packet = &read->packet;
    const enum lw_side side = packet->outbound ? LW_SIDE_OUT : LW_SIDE_IN;
    const struct lw_stream_piece piece = {.bytes = packet->bytes,
                                          .count = packet->count,
                                          .first_ns = since_zero(loading, packet->first_utc_ns),
                                          .last_ns = since_zero(loading, packet->last_utc_ns),
                                          .side = read->directed ? side : LW_SIDE_UNKNOWN,
                                          .damaged = (packet->damage & LW_DAMAGE_SYMBOL) != 0};
    lw_stream_add(stream, &piece);
}

// Time of a character where the capture names its framing; the recording's framing with it.
static int64_t char_ns(struct loading *loading, const struct lw_capture_facts *facts)
{
    struct lw_framing framing;
    if (facts->framing == NULL || lw_framing_parse(facts->framing, &framing, NULL) != LW_OK) {
        return 0;
    }
    if (!loading->framing_known) {
        loading->recording->framing = framing;
        loading->framing_known = true;
    }
    return lw_framing_chars_ns(&framing, 1);
}

static enum lw_status decode_packets(struct loading *loading, struct lw_reader *reader,
                                     struct lw_error *error)
{
    const struct lw_stream_sinks sinks = {.context = loading, .exchange = take_exchange};
    struct lw_stream *stream = NULL;
    struct lw_read_packet packet;
    bool more = false;
    enum lw_status status = lw_reader_next(reader, &packet, &more, error);
    while (status == LW_OK && more && !loading->failed) {
        if (stream == NULL) {
            const struct lw_stream_options options = {
                .adu = packet.adu, .char_ns = char_ns(loading, lw_reader_facts(reader))};
            stream = lw_stream_new(&options, &sinks);
            loading->failed = stream == NULL;
        }
        if (stream != NULL) {
            add_packet(loading, stream, &packet);
            status = lw_reader_next(reader, &packet, &more, error);
        }
    }
    if (stream != NULL) {
        lw_stream_flush(stream);
    }
    lw_stream_free(stream);
    return loading->failed ? lw_fail(error, LW_MEMORY, "no memory for a recording") : status;
}

static enum lw_status load_capture(struct loading *loading, const char *path,
                                   struct lw_error *error)
{
    struct lw_reader *reader = NULL;
    enum lw_status status = lw_reader_open(path, &reader, error);
    if (status != LW_OK) {
        return status;
    }
    status = decode_packets(loading, reader, error);
    if (status == LW_BAD_FILE && lw_reader_is_cut(reader)) {
        loading->recording->cut++;
        status = LW_OK;
    }
    loading->recording->captures++;
    lw_reader_close(reader);
    return status;
}

static bool is_capture(const char *name)
{
    static const char ending[] = ".pcapng";
    size_t length = strlen(name), tail = sizeof ending - 1;
    return length > tail && strcmp(name + length - tail, ending) == 0;
}

static enum lw_status load_folder(struct loading *loading, const char *folder,
                                  struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = lw_folder_names(folder, &names, error);
    char *const *name = names.items;
    for (size_t i = 0; i < names.count && status == LW_OK; i++) {
        char path[LW_PATH];
        if (is_capture(name[i]) && lw_path_join(path, sizeof path, folder, name[i])) {
            status = load_capture(loading, path, error);
        }
    }
    lw_names_free(&names);
    if (status == LW_OK && loading->recording->captures == 0) {
        char shown[LW_PATH];
        lw_text_clean(shown, sizeof shown, folder, strlen(folder));
        status = lw_fail(error, LW_USAGE, "'%.200s': no captures in this folder", shown);
    }
    return status;
}

enum lw_status lw_recording_load(const char *path, const struct lw_framing *framing,
                                 struct lw_recording *recording, struct lw_error *error)
{
    struct loading loading = {.recording = recording, .framing_known = framing != NULL};
    *recording = (struct lw_recording){.framing = {19200, 8, 'E', 1}};
    if (framing != NULL) {
        recording->framing = *framing;
    }
    enum lw_status status = lw_folder_exists(path) ? load_folder(&loading, path, error)
                                                   : load_capture(&loading, path, error);
    if (status != LW_OK) {
        lw_recording_free(recording);
    }
    return status;
}

void lw_recording_free(struct lw_recording *recording)
{
    free(recording->exchanges.items);
    *recording = (struct lw_recording){0};
}
