// SPDX-License-Identifier: GPL-3.0-or-later
//
// A folder of the test's own, emptied after each test and removed at the end.
#ifndef LW_TESTS_OWN_FOLDER_H
#define LW_TESTS_OWN_FOLDER_H

#include "base/file.h"
#include "base/list.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

static char folder[] = "/tmp/linewalk-test-file-XXXXXX";

static const char *in_folder(const char *name)
{
    static char path[LW_PATH];
    assert_true(lw_path_join(path, sizeof path, folder, name));
    return path;
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL ? -1 : 0;
}

static int empty_folder(void **state)
{
    (void)state;
    struct lw_list names;
    lw_file_fail_after(-1, 0);
    assert_int_equal(lw_folder_names(folder, &names, NULL), LW_OK);
    for (size_t i = 0; i < names.count; i++) {
        assert_int_equal(remove(in_folder(((char **)names.items)[i])), 0);
    }
    lw_names_free(&names);
    return 0;
}

static int remove_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

static void put(const char *name, const char *content)
{
    assert_int_equal(lw_file_write(in_folder(name), content, strlen(content), NULL), LW_OK);
}

#define IN_FOLDER(test) cmocka_unit_test_teardown(test, empty_folder)

#endif
