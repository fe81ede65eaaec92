// SPDX-License-Identifier: GPL-3.0-or-later
//
// Files in a folder of the test's own, with every system call made to fail in turn.
#include "own_folder.h"

#include <errno.h>
#include <sys/stat.h>

static size_t count_names(void)
{
    struct lw_list names;
    assert_int_equal(lw_folder_names(folder, &names, NULL), LW_OK);
    size_t count = names.count;
    lw_names_free(&names);
    return count;
}

static void assert_holds(const char *name, const char *content)
{
    struct lw_text text = {0};
    assert_int_equal(lw_file_read(in_folder(name), 1000000, &text, NULL), LW_OK);
    assert_int_equal(text.length, strlen(content));
    assert_string_equal(text.bytes, content);
    lw_text_finish(&text);
}

static void a_file_is_written_replaced_and_read(void **state)
{
    (void)state;
    put("a", "one");
    assert_holds("a", "one");
    put("a", "");
    assert_holds("a", "");
    assert_int_equal(count_names(), 1);
}

static void a_file_longer_than_allowed_is_refused(void **state)
{
    (void)state;
    struct lw_text text = {0};
    struct lw_error error = {0};
    put("a", "four");
    assert_int_equal(lw_file_read(in_folder("a"), 4, &text, &error), LW_OK);
    assert_int_equal(lw_file_read(in_folder("a"), 3, &text, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "is longer than 3 bytes"));
    lw_text_finish(&text);
}

static void a_missing_file_says_why(void **state)
{
    (void)state;
    struct lw_text text = {0};
    struct lw_error error = {0};
    assert_int_equal(lw_file_read("/nowhere/\x1b.json", 10, &text, &error), LW_SYSTEM);
    assert_string_equal(error.says, "can't open '/nowhere/?.json': No such file or directory");
    lw_text_finish(&text);
}

static void a_failing_call_leaves_the_old_file_or_the_new_one_whole(void **state)
{
    (void)state;
    enum lw_status status = LW_SYSTEM;
    bool replaced = false;
    put("a", "old");
    int n = 0;
    for (; status != LW_OK; n++) {
        struct lw_error error = {0};
        lw_file_fail_after(n, ENOSPC);
        status = lw_file_write(in_folder("a"), "new", 3, &error);
        lw_file_fail_after(-1, 0);
        replaced = replaced || n > 3; // after open, write, fsync and rename
        assert_holds("a", replaced ? "new" : "old");
        assert_int_equal(count_names(), 1);
        if (status != LW_OK) {
            assert_int_equal(status, LW_SYSTEM);
            assert_non_null(strstr(error.says, "No space left on device"));
        }
    }
    assert_int_equal(n, 7); // open, write, fsync, rename, open and fsync of the folder failed
}

static void a_new_file_is_never_left_half(void **state)
{
    (void)state;
    enum lw_status status = LW_SYSTEM;
    int n = 0;
    for (; status != LW_OK; n++) {
        struct lw_error error = {0};
        lw_file_fail_after(n, EIO);
        status = lw_file_write_new(in_folder("a"), "new", 3, &error);
        lw_file_fail_after(-1, 0);
        assert_int_equal(count_names(), status == LW_OK ? 1 : 0);
        assert_int_equal(error.status, status);
    }
    assert_int_equal(n, 7);
    assert_holds("a", "new");
}

static void a_new_file_replaces_nothing(void **state)
{
    (void)state;
    struct lw_error error = {0};
    put("a", "old");
    assert_int_equal(lw_file_write_new(in_folder("a"), "new", 3, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "exists already"));
    assert_holds("a", "old");
    assert_int_equal(count_names(), 1);
}

int __real_link(const char *from, const char *to);
int __wrap_link(const char *from, const char *to);
static bool links_unknown;

int __wrap_link(const char *from, const char *to)
{
    if (links_unknown) {
        errno = EPERM; // what link(2) says on a FAT file system
        return -1;
    }
    return __real_link(from, to);
}

static void a_new_file_needs_no_links(void **state)
{
    (void)state;
    enum lw_status status = LW_SYSTEM;
    int n = 0;
    links_unknown = true;
    for (; status != LW_OK; n++) {
        lw_file_fail_after(n, EIO);
        status = lw_file_write_new(in_folder("a"), "new", 3, NULL);
        lw_file_fail_after(-1, 0);
        assert_int_equal(count_names(), status == LW_OK ? 1 : 0);
    }
    assert_int_equal(n, 9); // the reservation and its rename come on top
    assert_int_equal(lw_file_write_new(in_folder("a"), "more", 4, NULL), LW_USAGE);
    links_unknown = false;
    assert_holds("a", "new");
    assert_int_equal(count_names(), 1);
}

static enum lw_status write_pieces(char digest[LW_DIGEST], struct lw_error *error)
{
    struct lw_file *file = NULL;
    char piece[1000];
    memset(piece, 'x', sizeof piece);
    enum lw_status status = lw_file_create(in_folder("a"), &file, error);
    for (int i = 0; i < 200 && status == LW_OK; i++) {
        status = lw_file_append(file, piece, sizeof piece, error);
    }
    if (status == LW_OK) {
        status = lw_file_flush(file, error);
    }
    struct lw_error closing = {0};
    enum lw_status closed = lw_file_close(file, digest, &closing);
    if (status == LW_OK && closed != LW_OK) {
        *error = closing;
    }
    return status == LW_OK ? closed : status;
}

static void pieces_make_the_file_and_its_digest(void **state)
{
    (void)state;
    char digest[LW_DIGEST], again[LW_DIGEST];
    struct lw_error error = {0};
    assert_int_equal(write_pieces(digest, &error), LW_OK);
    assert_int_equal(lw_file_digest(in_folder("a"), again, &error), LW_OK);
    assert_string_equal(digest, again);
    struct stat found;
    assert_int_equal(stat(in_folder("a"), &found), 0);
    assert_int_equal(found.st_size, 200000);
}

static void a_failing_call_is_said_by_the_pieces(void **state)
{
    (void)state;
    enum lw_status status = LW_SYSTEM;
    char digest[LW_DIGEST];
    int n = 0;
    for (; status != LW_OK; n++) {
        struct lw_error error = {0};
        lw_file_fail_after(n, ENOSPC);
        status = write_pieces(digest, &error);
        lw_file_fail_after(-1, 0);
        assert_true(status == LW_OK || strstr(error.says, "No space left") != NULL);
    }
    assert_int_equal(n, 7); // open, three full buffers, the rest, fsync
}

static void a_failing_call_is_said_by_reading_and_digesting(void **state)
{
    (void)state;
    struct lw_text text = {0};
    char digest[LW_DIGEST];
    struct lw_list names;
    put("a", "content");
    for (int n = 0; n < 3; n++) { // open, read, read of the end
        lw_file_fail_after(n, EIO);
        assert_int_equal(lw_file_read(in_folder("a"), 100, &text, NULL), LW_SYSTEM);
        lw_file_fail_after(n, EIO);
        assert_int_equal(lw_file_digest(in_folder("a"), digest, NULL), LW_SYSTEM);
    }
    lw_file_fail_after(0, EIO);
    assert_int_equal(lw_folder_names(folder, &names, NULL), LW_SYSTEM);
    assert_int_equal(names.count, 0);
    lw_file_fail_after(3, EIO);
    assert_int_equal(lw_file_read(in_folder("a"), 100, &text, NULL), LW_OK);
    lw_text_finish(&text);
}

static void closing_nothing_is_allowed(void **state)
{
    (void)state;
    assert_int_equal(lw_file_close(NULL, NULL, NULL), LW_OK);
}

// FIPS 180-4 SHA-256 of "abc" and of the empty message, as NIST's "SHA256" example document and
// the CAVP short message vectors give them.
static void digests_are_those_of_the_standard(void **state)
{
    (void)state;
    char digest[LW_DIGEST];
    lw_digest("abc", 3, digest);
    assert_string_equal(digest, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    lw_digest("", 0, digest);
    assert_string_equal(digest, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_FOLDER(a_file_is_written_replaced_and_read),
        IN_FOLDER(a_file_longer_than_allowed_is_refused),
        IN_FOLDER(a_missing_file_says_why),
        IN_FOLDER(a_failing_call_leaves_the_old_file_or_the_new_one_whole),
        IN_FOLDER(a_new_file_is_never_left_half),
        IN_FOLDER(a_new_file_replaces_nothing),
        IN_FOLDER(a_new_file_needs_no_links),
        IN_FOLDER(pieces_make_the_file_and_its_digest),
        IN_FOLDER(a_failing_call_is_said_by_the_pieces),
        IN_FOLDER(a_failing_call_is_said_by_reading_and_digesting),
        IN_FOLDER(closing_nothing_is_allowed),
        IN_FOLDER(digests_are_those_of_the_standard),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
