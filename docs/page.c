// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writing or comparing a made page: the same bytes either way, so that a page can be tested for
// being current.
#include "page.h"

#include "base/file.h"

#include <stdio.h>
#include <string.h>

enum { MOST_BYTES = 4 * 1024 * 1024 };

bool lw_page_finish(const char *folder, const char *name, bool check, struct lw_text *page)
{
    char path[LW_PATH], says[LW_ERROR_SAYS];
    struct lw_error error = {0};
    struct lw_text old = {0};
    enum lw_status status = lw_text_check(page, &error);
    bool current = true;
    if (status == LW_OK && lw_path_join(path, sizeof path, folder, name)) {
        if (check) {
            status = lw_file_read(path, MOST_BYTES, &old, &error);
            current = status == LW_OK && old.length == page->length &&
                      memcmp(old.bytes, page->bytes, old.length) == 0;
        } else {
            status = lw_file_write(path, page->bytes, page->length, &error);
        }
    }
    if (status != LW_OK) {
        fprintf(stderr, "docs: %s\n", lw_error_text(&error, says, sizeof says));
    } else if (!current) {
        fprintf(stderr, "docs: '%s' is not current: run 'ninja docs'\n", path);
    }
    lw_text_finish(&old);
    lw_text_finish(page);
    return status == LW_OK && current;
}
