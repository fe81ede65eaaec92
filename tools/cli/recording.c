// SPDX-License-Identifier: GPL-3.0-or-later
//
// From captures to exchanges. Captures are decoded one by one, since what was open at the end of
// one is answered by none of the next.
#include "cli/recording.h"

#include "base/file.h"
#include "base/text.h"
#include "cli/feed.h"

struct loading {
    struct lw_recording *recording;
    struct lw_fed fed; // of the capture under way
    const struct lw_framing *given;
    bool framing_known; // by the caller or by a capture
    bool zero_known;
    bool failed; // memory ran out
};

// From the time of a capture, which begins with it, to that of the recording.
static int64_t shifted_ns(const struct loading *loading, int64_t time_ns)
{
    return time_ns < 0 ? -1 : time_ns + loading->fed.first_utc_ns - loading->recording->utc_zero_ns;
}

static void take_exchange(void *context, const struct lw_exchange *exchange)
{
    struct loading *loading = context;
    if (!loading->zero_known && loading->fed.first_utc_ns >= 0) {
        loading->recording->utc_zero_ns = loading->fed.first_utc_ns;
        loading->zero_known = true;
    }
    struct lw_exchange *kept = lw_list_add(&loading->recording->exchanges, sizeof *kept);
    if (kept == NULL) {
        loading->failed = true;
        return;
    }
    *kept = *exchange;
    kept->sent_first_ns = shifted_ns(loading, exchange->sent_first_ns);
    kept->sent_last_ns = shifted_ns(loading, exchange->sent_last_ns);
    kept->reply_first_ns = shifted_ns(loading, exchange->reply_first_ns);
    kept->reply_last_ns = shifted_ns(loading, exchange->reply_last_ns);
}

static enum lw_status load_capture(struct loading *loading, const char *path,
                                   struct lw_error *error)
{
    struct lw_recording *recording = loading->recording;
    const struct lw_feed feed = {.path = path,
                                 .framing = loading->given,
                                 .sinks = {.context = loading, .exchange = take_exchange}};
    enum lw_status status = lw_feed_run(&feed, &loading->fed, error);
    if (status == LW_OK && loading->failed) {
        status = lw_fail(error, LW_MEMORY, "no memory for a recording");
    }
    recording->captures++;
    recording->cut += loading->fed.cut;
    if (!loading->framing_known) {
        loading->framing_known =
            lw_framing_parse(loading->fed.framing_text, &recording->framing, NULL) == LW_OK;
    }
    return status;
}

static enum lw_status load_folder(struct loading *loading, const char *folder,
                                  struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = lw_folder_names(folder, &names, error);
    char *const *name = names.items;
    for (size_t i = 0; i < names.count && status == LW_OK; i++) {
        char path[LW_PATH];
        if (lw_feed_is_capture(name[i]) && lw_path_join(path, sizeof path, folder, name[i])) {
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
    struct loading loading = {
        .recording = recording, .given = framing, .framing_known = framing != NULL};
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
