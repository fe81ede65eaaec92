// SPDX-License-Identifier: GPL-3.0-or-later
//
// A picture into the visit: read, freed of position and owner, written beside the step's record.
#ifndef LW_TOOLS_PHOTO_H
#define LW_TOOLS_PHOTO_H

#include "check/photo.h"
#include "cli/session.h"

// Reads and cleans. LW_SYSTEM, LW_MEMORY, LW_BAD_FILE also for what a report could not show: at the
// machine another picture is soon taken. Finish photo->bytes.
enum lw_status lw_photo_read(const char *path, struct lw_photo *photo, struct lw_error *error);
// When it was taken, UTC; false when it does not say. A camera's clock without an offset is taken
// to be in this computer's time zone.
bool lw_photo_utc_ns(const struct lw_photo *photo, int64_t *utc_ns);
// Both, and writes it as NNNN-CHECK.ENDING, or NNNN-CHECK.MARK.ENDING with a mark.
enum lw_status lw_photo_keep(struct lw_session *session, struct lw_step *step, const char *path,
                             const char *mark, const struct lw_record_file **kept,
                             struct lw_error *error);

#endif
