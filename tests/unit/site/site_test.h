// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the tests of this room share: a folder of their own with a plan and a profile in it, and
// texts with one thing changed.
#ifndef LW_TEST_SITE_H
#define LW_TEST_SITE_H

#include "base/file.h"
#include "site/plan.h"

// A fresh folder under /tmp with profiles/ in it; its path stays valid until the next call.
const char *site_folder_make(void);
void site_folder_remove(const char *folder);

// A path inside the folder; valid until the fourth call after.
const char *site_path(const char *folder, const char *name);
void site_put(const char *folder, const char *name, const char *content);

// A file of tests/data/site, to free.
char *site_data(const char *name);

// `text` with the first `from` replaced by `to`, to free; fails the test when `from` is not there.
char *site_changed(const char *text, const char *from, const char *to);

// Loads tests/data/site/plan.json with one thing changed (NULL: unchanged), beside the example
// profile. The error's text stands in `says` (LW_OK: empty).
enum lw_status site_load_plan(const char *from, const char *to, struct lw_plan *plan, char *says,
                              size_t size);

#endif
