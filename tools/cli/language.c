// SPDX-License-Identifier: GPL-3.0-or-later
//
// From the settings to a catalogue.
#include "cli/language.h"

enum { MOST_CATALOGUE_BYTES = 4 << 20 };

enum lw_status lw_session_language(struct lw_session *session, struct lw_sentences **sentences,
                                   struct lw_error *error)
{
    char path[LW_PATH];
    struct lw_text bytes = {0};
    if (session->cli->settings.language == NULL && session->has_visit &&
        session->visit.facts.language != NULL) {
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
