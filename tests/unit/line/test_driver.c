// SPDX-License-Identifier: GPL-3.0-or-later
//
// What keeps USB from putting an adapter to sleep, on a made folder that is laid out as /sys is:
// the USB device, its interface below it, and, with some drivers, a port of its own below that.
#include "line/driver.h"

#include "base/file.h"
#include "base/text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

struct made {
    char root[64], interface[80], port[100], control[100];
};

static void put(const char *path, const char *text)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static const char *control_of(const struct made *made)
{
    static char word[16];
    FILE *file = fopen(made->control, "r");
    assert_non_null(file);
    size_t count = fread(word, 1, sizeof word - 1, file);
    fclose(file);
    word[count] = '\0';
    return word;
}

static int make(void **state)
{
    static struct made made;
    char path[120];
    lw_copy(made.root, sizeof made.root, "/tmp/lw-driver-XXXXXX");
    assert_non_null(mkdtemp(made.root));
    lw_print(made.interface, sizeof made.interface, "%s/1-2:1.0", made.root);
    lw_print(made.port, sizeof made.port, "%s/ttyUSB0", made.interface);
    lw_print(made.control, sizeof made.control, "%s/power/control", made.root);
    lw_print(path, sizeof path, "%s/power", made.root);
    assert_int_equal(mkdir(made.interface, 0755) | mkdir(made.port, 0755) | mkdir(path, 0755), 0);
    assert_int_equal(chmod(made.root, 0755), 0);
    lw_print(path, sizeof path, "%s/idVendor", made.root);
    put(path, "0403\n");
    put(made.control, "auto\n");
    *state = &made;
    return 0;
}

static int unmake(void **state)
{
    struct made *made = *state;
    char path[120];
    lw_print(path, sizeof path, "%s/idVendor", made->root);
    unlink(path);
    unlink(made->control);
    lw_print(path, sizeof path, "%s/power", made->root);
    return rmdir(path) | rmdir(made->port) | rmdir(made->interface) | rmdir(made->root);
}

static void an_adapter_that_may_sleep_is_kept_awake_and_left_as_it_was(void **state)
{
    const struct made *made = *state;
    const char *const folders[] = {made->interface, made->port};
    for (size_t i = 0; i < 2; i++) {
        struct lw_driver driver = {0};
        assert_true(lw_driver_keep_awake(folders[i], &driver));
        assert_true(driver.woken);
        assert_int_equal(strncmp(control_of(made), "on", 2), 0);
        lw_driver_put_back(-1, &driver);
        assert_int_equal(strncmp(control_of(made), "auto", 4), 0);
    }
}

static void one_that_never_sleeps_is_left_alone(void **state)
{
    const struct made *made = *state;
    struct lw_driver driver = {0};
    put(made->control, "on\n");
    assert_true(lw_driver_keep_awake(made->interface, &driver));
    assert_false(driver.woken);
    lw_driver_put_back(-1, &driver);
    assert_string_equal(control_of(made), "on\n");
}

static void who_may_not_forbid_it_is_told(void **state)
{
    const struct made *made = *state;
    struct lw_driver driver = {0};
    assert_int_equal(chmod(made->control, 0444), 0);
    bool root = geteuid() == 0;
    assert_int_equal(root ? seteuid(65534) : 0, 0);
    bool kept = lw_driver_keep_awake(made->interface, &driver);
    assert_int_equal(root ? seteuid(0) : 0, 0);
    assert_false(kept);
    assert_false(driver.woken);
    assert_string_equal(control_of(made), "auto\n");
}

static void a_port_that_is_not_on_usb_needs_nothing(void **state)
{
    const struct made *made = *state;
    struct lw_driver driver = {0};
    assert_true(lw_driver_keep_awake(made->root, &driver));
    assert_true(lw_driver_keep_awake("/sys/class/tty/no such port/device", &driver));
    assert_false(driver.woken);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_adapter_that_may_sleep_is_kept_awake_and_left_as_it_was,
                                        make, unmake),
        cmocka_unit_test_setup_teardown(one_that_never_sleeps_is_left_alone, make, unmake),
        cmocka_unit_test_setup_teardown(who_may_not_forbid_it_is_told, make, unmake),
        cmocka_unit_test_setup_teardown(a_port_that_is_not_on_usb_needs_nothing, make, unmake),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
