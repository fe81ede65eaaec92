// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the tests of this room share.
#include "site_test.h"

#include "base/list.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

const char *site_path(const char *folder, const char *name)
{
    static char paths[4][LW_PATH];
    static unsigned turn;
    char *path = paths[turn++ % 4];
    assert_true(lw_path_join(path, LW_PATH, folder, name));
    return path;
}

const char *site_folder_make(void)
{
    static char folder[64];
    lw_copy(folder, sizeof folder, "/tmp/linewalk-test-site-XXXXXX");
    assert_non_null(mkdtemp(folder));
    assert_int_equal(lw_folder_make(site_path(folder, "profiles"), NULL), LW_OK);
    return folder;
}

void site_folder_remove(const char *folder)
{
    struct lw_list names = {0};
    assert_int_equal(lw_folder_names(folder, &names, NULL), LW_OK);
    for (size_t i = 0; i < names.count; i++) {
        const char *path = site_path(folder, ((char **)names.items)[i]);
        if (unlink(path) != 0) {
            site_folder_remove(path);
        }
    }
    lw_names_free(&names);
    assert_int_equal(rmdir(folder), 0);
}

void site_put(const char *folder, const char *name, const char *content)
{
    assert_int_equal(lw_file_write(site_path(folder, name), content, strlen(content), NULL), LW_OK);
}

char *site_data(const char *name)
{
    struct lw_text text = {0};
    assert_int_equal(lw_file_read(site_path(TEST_DATA "/site", name), 1 << 20, &text, NULL), LW_OK);
    return text.bytes;
}

char *site_changed(const char *text, const char *from, const char *to)
{
    struct lw_text changed = {0};
    const char *place = strstr(text, from);
    if (place == NULL) {
        fail_msg("'%s' is not in the text", from);
        return NULL;
    }
    lw_text_put(&changed, text, (size_t)(place - text));
    lw_text_add(&changed, "%s%s", to, place + strlen(from));
    return changed.bytes;
}

enum lw_status site_load_plan(const char *from, const char *to, struct lw_plan *plan, char *says,
                              size_t size)
{
    struct lw_error error = {0};
    const char *folder = site_folder_make();
    char *text = site_data("plan.json");
    char *changed = from ? site_changed(text, from, to) : lw_duplicate(text);
    char *profile = site_data("profiles/example-probe.json");
    site_put(folder, "plan.json", changed);
    site_put(folder, "profiles/probe.json", profile);
    enum lw_status status =
        lw_plan_load(site_path(folder, "plan.json"), NULL, NULL, plan, NULL, &error);
    says[0] = '\0';
    if (status != LW_OK) {
        lw_copy(says, size, error.says);
    }
    site_folder_remove(folder);
    free(text);
    free(changed);
    free(profile);
    return status;
}
