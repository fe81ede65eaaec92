// SPDX-License-Identifier: GPL-3.0-or-later
//
// Folders, paths and the lock.
#include "own_folder.h"

#include <errno.h>

static void folders_are_made_with_their_parents(void **state)
{
    (void)state;
    struct lw_error error = {0};
    assert_int_equal(lw_folder_make(in_folder("p/q/r"), &error), LW_OK);
    assert_int_equal(lw_folder_make(in_folder("p/q/r/"), &error), LW_OK);
    assert_true(lw_folder_exists(in_folder("p/q/r")));
    assert_false(lw_file_exists(in_folder("p/q/r")));
    put("f", "x");
    assert_true(lw_file_exists(in_folder("f")));
    assert_int_equal(lw_folder_make(in_folder("f"), &error), LW_SYSTEM);
    assert_int_equal(lw_folder_make(in_folder("f/g"), &error), LW_SYSTEM);
    assert_int_equal(lw_folder_make("", &error), LW_SYSTEM);
    lw_file_fail_after(0, EACCES);
    assert_int_equal(lw_folder_make(in_folder("z"), &error), LW_SYSTEM);
    assert_int_equal(rmdir(in_folder("p/q/r")), 0);
    assert_int_equal(rmdir(in_folder("p/q")), 0);
}

static void names_come_sorted(void **state)
{
    (void)state;
    struct lw_list names;
    put("0010-b", "");
    put("0002-a", "");
    put("z", "");
    assert_int_equal(lw_folder_names(folder, &names, NULL), LW_OK);
    assert_int_equal(names.count, 3);
    assert_string_equal(((char **)names.items)[0], "0002-a");
    assert_string_equal(((char **)names.items)[2], "z");
    lw_names_free(&names);
    lw_names_free(NULL);
}

static void paths_join_and_part(void **state)
{
    (void)state;
    char path[8];
    assert_true(lw_path_join(path, sizeof path, "a", "b"));
    assert_string_equal(path, "a/b");
    assert_true(lw_path_join(path, sizeof path, "a/", "b"));
    assert_string_equal(path, "a/b");
    assert_true(lw_path_join(path, sizeof path, "a", "/b"));
    assert_string_equal(path, "/b");
    assert_false(lw_path_join(path, sizeof path, "aaaa", "bbb"));
    assert_true(lw_path_folder(path, sizeof path, "a/b/c"));
    assert_string_equal(path, "a/b");
    assert_true(lw_path_folder(path, sizeof path, "/c"));
    assert_string_equal(path, "/");
    assert_true(lw_path_folder(path, sizeof path, "c"));
    assert_string_equal(path, ".");
}

static void a_lock_keeps_a_second_one_out_until_released(void **state)
{
    (void)state;
    struct lw_lock first, second;
    struct lw_error error = {0};
    put("visit.json", "{}");
    assert_int_equal(lw_lock_take(in_folder("visit.json"), 0, &first, &error), LW_OK);
    assert_int_equal(lw_lock_take(in_folder("visit.json"), 0.05, &second, &error), LW_SYSTEM);
    assert_non_null(strstr(error.says, "is in use"));
    assert_int_equal(second.descriptor, -1);
    lw_lock_release(&second);
    lw_lock_release(&first);
    assert_int_equal(lw_lock_take(in_folder("visit.json"), 0, &second, &error), LW_OK);
    lw_lock_release(&second);
    assert_int_equal(lw_lock_take(in_folder("none"), 0, &second, &error), LW_SYSTEM);
    assert_int_equal(lw_lock_take(folder, 0, &second, &error), LW_OK);
    lw_lock_release(&second);
    lw_lock_release(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_FOLDER(folders_are_made_with_their_parents),
        IN_FOLDER(names_come_sorted),
        IN_FOLDER(paths_join_and_part),
        IN_FOLDER(a_lock_keeps_a_second_one_out_until_released),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
