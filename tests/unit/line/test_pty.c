// SPDX-License-Identifier: GPL-3.0-or-later
//
// The near end of real pseudo-terminals, whose far end the test holds itself.
#include "line/line.h"

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <pty.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include <cmocka.h>

static const int64_t SECOND = 1000000000;

struct ends {
    int far;
    char path[64];
    struct lw_line *line;
};

static const struct lw_line_options even = {.framing = {19200, 8, 'E', 1}};

static void make_pair(struct ends *ends)
{
    int near = -1;
    assert_int_equal(openpty(&ends->far, &near, ends->path, NULL, NULL), 0);
    close(near);
}

static int set_up(void **state)
{
    struct ends *ends = calloc(1, sizeof *ends);
    make_pair(ends);
    assert_int_equal(lw_pty_open(ends->path, &even, &ends->line, NULL), LW_OK);
    *state = ends;
    return 0;
}

static int tear_down(void **state)
{
    struct ends *ends = *state;
    lw_line_close(ends->line);
    close(ends->far);
    free(ends);
    return 0;
}

static int64_t soon(const struct lw_line *line)
{
    return lw_clock_now_ns(line->clock) + 30 * SECOND;
}

static void bytes_pass_unchanged_both_ways(void **state)
{
    struct ends *ends = *state;
    uint8_t all[256], got[256];
    for (int i = 0; i < 256; i++) {
        all[i] = (uint8_t)i;
    }
    int64_t first_ns = 0, last_ns = 0;
    assert_int_equal(lw_line_send(ends->line, all, sizeof all, &first_ns, &last_ns, NULL), LW_OK);
    assert_true(first_ns <= last_ns);
    assert_int_equal(read(ends->far, got, sizeof got), sizeof got);
    assert_memory_equal(all, got, sizeof all);

    assert_int_equal(write(ends->far, all, sizeof all), sizeof all);
    size_t count = 0;
    while (count < sizeof got) {
        struct lw_piece piece;
        assert_int_equal(lw_line_receive(ends->line, soon(ends->line), got + count,
                                         sizeof got - count, &piece, NULL),
                         LW_OK);
        assert_true(piece.count > 0);
        assert_true(piece.first_ns >= last_ns);
        assert_int_equal(piece.flags, 0);
        count += piece.count;
    }
    assert_memory_equal(all, got, sizeof all);
}

static void a_silent_line_returns_at_the_deadline_and_not_before(void **state)
{
    struct ends *ends = *state;
    uint8_t byte;
    struct lw_piece piece = {.count = 7};
    int64_t deadline_ns = lw_clock_now_ns(ends->line->clock) + 3500000;
    assert_int_equal(lw_line_receive(ends->line, deadline_ns, &byte, 1, &piece, NULL), LW_OK);
    assert_int_equal(piece.count, 0);
    assert_true(lw_clock_now_ns(ends->line->clock) >= deadline_ns);
}

static void a_deadline_in_the_past_takes_what_is_there(void **state)
{
    struct ends *ends = *state;
    uint8_t bytes[8];
    struct lw_piece piece;
    assert_int_equal(lw_line_receive(ends->line, -5, bytes, sizeof bytes, &piece, NULL), LW_OK);
    assert_int_equal(piece.count, 0);
    assert_int_equal(write(ends->far, "ab", 2), 2);
    assert_int_equal(tcdrain(ends->far), 0);
    size_t count = 0;
    while (count < 2) {
        assert_int_equal(lw_line_receive(ends->line, 0, bytes, sizeof bytes, &piece, NULL), LW_OK);
        count += piece.count;
    }
    assert_int_equal(count, 2);
}

static void a_pty_says_that_it_is_simulated_and_has_no_rate(void **state)
{
    struct ends *ends = *state;
    assert_true(ends->line->simulated);
    assert_true(ends->line->hears_others);
    assert_true(ends->line->paced);
    assert_false(ends->line->framed);
    assert_int_equal(ends->line->adu, LW_ADU_RTU);
    assert_string_equal(ends->line->name, ends->path);
    assert_int_equal(lw_line_set_framing(ends->line, &even.framing, NULL), LW_USAGE);
}

static void a_lost_parity_is_said_and_one_that_was_not_asked_for_is_not(void **state)
{
    struct ends *ends = *state;
    assert_string_equal(ends->line->remark,
                        "parity and data bits are not carried by a pseudo-terminal");
    lw_line_close(ends->line);
    const struct lw_line_options none = {.framing = {19200, 8, 'N', 2}};
    assert_int_equal(lw_pty_open(ends->path, &none, &ends->line, NULL), LW_OK);
    assert_string_equal(ends->line->remark, "");
}

static void after_closing_the_settings_are_as_before(void **state)
{
    struct ends *ends = *state;
    struct termios before, during, after;
    lw_line_close(ends->line);
    assert_int_equal(tcgetattr(ends->far, &before), 0);
    before.c_iflag |= IXOFF | INLCR;
    before.c_lflag |= ECHO | ICANON | ISIG;
    before.c_cc[VMIN] = 3;
    cfsetspeed(&before, B2400);
    assert_int_equal(tcsetattr(ends->far, TCSANOW, &before), 0);
    assert_int_equal(lw_pty_open(ends->path, &even, &ends->line, NULL), LW_OK);
    assert_int_equal(tcgetattr(ends->far, &during), 0);
    assert_int_equal(during.c_lflag & (ECHO | ICANON | ISIG), 0);
    lw_line_close(ends->line);
    ends->line = NULL;
    assert_int_equal(tcgetattr(ends->far, &after), 0);
    assert_int_equal(after.c_iflag, before.c_iflag);
    assert_int_equal(after.c_oflag, before.c_oflag);
    assert_int_equal(after.c_cflag, before.c_cflag);
    assert_int_equal(after.c_lflag, before.c_lflag);
    assert_int_equal(cfgetospeed(&after), B2400);
    assert_memory_equal(after.c_cc, before.c_cc, sizeof after.c_cc);
}

static void a_process_that_dies_can_put_the_settings_back_first(void **state)
{
    struct ends *ends = *state;
    struct termios before, during, after;
    char byte;
    int told[2], go[2];
    lw_line_close(ends->line);
    ends->line = NULL;
    assert_true(pipe(told) == 0 && pipe(go) == 0);
    assert_int_equal(tcgetattr(ends->far, &before), 0);
    pid_t child = fork();
    if (child == 0) {
        struct lw_line *line = NULL;
        bool fine = lw_pty_open(ends->path, &even, &line, NULL) == LW_OK &&
                    write(told[1], "!", 1) == 1 && read(go[0], &byte, 1) == 1;
        lw_line_restore_all();
        raise(fine ? SIGKILL : SIGTERM);
    }
    assert_int_equal(read(told[0], &byte, 1), 1);
    assert_int_equal(tcgetattr(ends->far, &during), 0);
    assert_int_equal(write(go[1], "!", 1), 1);
    assert_int_equal(waitpid(child, NULL, 0), child);
    assert_int_equal(tcgetattr(ends->far, &after), 0);
    assert_int_not_equal(during.c_lflag, before.c_lflag);
    assert_int_equal(after.c_lflag, before.c_lflag);
    assert_int_equal(after.c_iflag, before.c_iflag);
    assert_int_equal(after.c_cflag, before.c_cflag);
    for (int i = 0; i < 2; i++) {
        close(told[i]);
        close(go[i]);
    }
}

static void a_closed_port_is_not_touched_any_more(void **state)
{
    struct ends *ends = *state;
    struct termios own, after;
    lw_line_close(ends->line);
    ends->line = NULL;
    assert_int_equal(tcgetattr(ends->far, &own), 0);
    own.c_lflag ^= ECHO;
    int near = open(ends->path, O_RDWR | O_NOCTTY); // gets the number that the line had
    assert_int_equal(tcsetattr(near, TCSANOW, &own), 0);
    lw_line_restore_all();
    assert_int_equal(tcgetattr(near, &after), 0);
    assert_int_equal(after.c_lflag, own.c_lflag);
    close(near);
}

static void a_far_end_that_goes_away_is_a_lost_line(void **state)
{
    struct ends *ends = *state;
    uint8_t byte = 0;
    struct lw_piece piece;
    struct lw_error error = {0};
    char says[128];
    close(ends->far);
    snprintf(says, sizeof says, "'%s' is gone: the program behind it ended", ends->path);
    assert_int_equal(lw_line_receive(ends->line, soon(ends->line), &byte, 1, &piece, &error),
                     LW_SYSTEM);
    assert_string_equal(error.says, says);
    error = (struct lw_error){0};
    assert_int_equal(lw_line_send(ends->line, &byte, 1, NULL, NULL, &error), LW_SYSTEM);
    assert_string_equal(error.says, says);
    make_pair(ends);
}

static void a_set_flag_and_a_readable_pipe_each_cancel(void **state)
{
    struct ends *ends = *state;
    int pipe_ends[2];
    assert_int_equal(pipe(pipe_ends), 0);
    struct lw_cancel cancel = {.flag = 1, .wake_descriptor = -1};
    struct lw_line_options options = {.framing = even.framing, .cancel = &cancel};
    uint8_t byte;
    struct lw_piece piece;
    lw_line_close(ends->line);
    assert_int_equal(lw_pty_open(ends->path, &options, &ends->line, NULL), LW_OK);
    assert_int_equal(lw_line_receive(ends->line, INT64_MAX, &byte, 1, &piece, NULL), LW_CANCELLED);
    cancel = (struct lw_cancel){.flag = 0, .wake_descriptor = pipe_ends[0]};
    assert_int_equal(write(pipe_ends[1], "!", 1), 1);
    assert_int_equal(lw_line_receive(ends->line, INT64_MAX, &byte, 1, &piece, NULL), LW_CANCELLED);
    close(pipe_ends[0]);
    close(pipe_ends[1]);
}

static struct lw_cancel signalled;
static int signal_pipe[2];
static struct timespec signal_time;

static void on_alarm(int number)
{
    (void)number;
    clock_gettime(CLOCK_MONOTONIC, &signal_time);
    signalled.flag = 1;
    (void)!write(signal_pipe[1], "!", 1);
}

static void alarm_in_10_ms(void (*handler)(int))
{
    const struct sigaction action = {.sa_handler = handler, .sa_flags = SA_RESTART};
    const struct itimerval timer = {.it_value.tv_usec = 10000};
    assert_int_equal(sigaction(SIGALRM, &action, NULL), 0);
    assert_int_equal(setitimer(ITIMER_REAL, &timer, NULL), 0);
}

static void a_signal_in_the_middle_of_waiting_cancels_at_once(void **state)
{
    struct ends *ends = *state;
    assert_int_equal(pipe(signal_pipe), 0);
    signalled = (struct lw_cancel){.wake_descriptor = signal_pipe[0]};
    struct lw_line_options options = {.framing = even.framing, .cancel = &signalled};
    uint8_t byte;
    struct lw_piece piece;
    struct timespec now;
    lw_line_close(ends->line);
    assert_int_equal(lw_pty_open(ends->path, &options, &ends->line, NULL), LW_OK);
    alarm_in_10_ms(on_alarm);
    assert_int_equal(lw_line_receive(ends->line, INT64_MAX, &byte, 1, &piece, NULL), LW_CANCELLED);
    clock_gettime(CLOCK_MONOTONIC, &now);
    print_message("cancelled %.3f ms after the signal\n",
                  (double)(now.tv_sec - signal_time.tv_sec) * 1e3 +
                      (double)(now.tv_nsec - signal_time.tv_nsec) / 1e6);
    close(signal_pipe[0]);
    close(signal_pipe[1]);
}

static void ignore_alarm(int number)
{
    (void)number;
}

static void a_signal_that_means_nothing_does_not_shorten_the_wait(void **state)
{
    struct ends *ends = *state;
    uint8_t byte;
    struct lw_piece piece;
    int64_t deadline_ns = lw_clock_now_ns(ends->line->clock) + 40000000;
    alarm_in_10_ms(ignore_alarm);
    assert_int_equal(lw_line_receive(ends->line, deadline_ns, &byte, 1, &piece, NULL), LW_OK);
    assert_int_equal(piece.count, 0);
    assert_true(lw_clock_now_ns(ends->line->clock) >= deadline_ns);
}

static void a_port_that_somebody_holds_is_busy(void **state)
{
    struct ends *ends = *state;
    struct lw_line *second = NULL;
    struct lw_error error = {0};
    char says[128];
    snprintf(says, sizeof says, "port '%s' is busy: another program holds it", ends->path);
    assert_int_equal(lw_pty_open(ends->path, &even, &second, &error), LW_SYSTEM);
    assert_string_equal(error.says, says);
    assert_null(second);
}

static void what_is_no_port_is_refused_with_its_reason(void **state)
{
    (void)state;
    static const struct {
        const char *path, *says;
        enum lw_status status;
    } table[] = {
        {"/dev/ttyUSB77", "no such port: '/dev/ttyUSB77'", LW_SYSTEM},
        {"/etc/passwd/x", "no such port: '/etc/passwd/x'", LW_SYSTEM},
        {"/etc/passwd", "'/etc/passwd' is no serial port", LW_USAGE},
        {"/dev/null", "'/dev/null' is no serial port", LW_USAGE},
        {"/tmp", "'/tmp' is no serial port", LW_USAGE},
        {"/dev/tty\x1b[31m", "no such port: '/dev/tty?[31m'", LW_SYSTEM},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct lw_line *line = NULL;
        struct lw_error error = {0};
        assert_int_equal(lw_pty_open(table[i].path, &even, &line, &error), table[i].status);
        assert_string_equal(error.says, table[i].says);
        assert_null(line);
    }
}

// Opens as a user without rights, in a process of its own; the child's exit tells.
static int open_as_nobody(const char *path, const char *says)
{
    pid_t child = fork();
    if (child == 0) {
        struct lw_line *line = NULL;
        struct lw_error error = {0};
        bool dropped = setgroups(0, NULL) == 0 && setgid(65534) == 0 && setuid(65534) == 0;
        bool right = dropped && lw_pty_open(path, &even, &line, &error) == LW_SYSTEM &&
                     strcmp(error.says, says) == 0;
        _exit(right ? 0 : 1);
    }
    int status = -1;
    waitpid(child, &status, 0);
    return status;
}

static void a_port_without_permission_names_the_group_that_has_it(void **state)
{
    struct ends *ends = *state;
    if (getuid() != 0) {
        skip();
    }
    const struct group *group = getgrnam("dialout");
    char says[192];
    assert_non_null(group);
    assert_int_equal(chown(ends->path, 0, group->gr_gid), 0);
    assert_int_equal(chmod(ends->path, 0660), 0);
    snprintf(says, sizeof says,
             "no permission to open port '%s': group 'dialout' may: join it and log in again",
             ends->path);
    assert_int_equal(open_as_nobody(ends->path, says), 0);
    assert_int_equal(chmod(ends->path, 0600), 0);
    snprintf(says, sizeof says, "no permission to open port '%s'", ends->path);
    assert_int_equal(open_as_nobody(ends->path, says), 0);
}

static void a_pty_is_known_through_a_link(void **state)
{
    struct ends *ends = *state;
    char link[64];
    snprintf(link, sizeof link, "/tmp/lw-test-link-%ld", (long)getpid());
    assert_int_equal(symlink(ends->path, link), 0);
    assert_true(lw_pty_is(ends->path));
    assert_true(lw_pty_is(link));
    assert_false(lw_pty_is("/dev/null"));
    assert_false(lw_pty_is("/dev/pts/no-such"));
    unlink(link);
}

#define ON_A_PAIR(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_A_PAIR(bytes_pass_unchanged_both_ways),
        ON_A_PAIR(a_silent_line_returns_at_the_deadline_and_not_before),
        ON_A_PAIR(a_deadline_in_the_past_takes_what_is_there),
        ON_A_PAIR(a_pty_says_that_it_is_simulated_and_has_no_rate),
        ON_A_PAIR(a_lost_parity_is_said_and_one_that_was_not_asked_for_is_not),
        ON_A_PAIR(after_closing_the_settings_are_as_before),
        ON_A_PAIR(a_process_that_dies_can_put_the_settings_back_first),
        ON_A_PAIR(a_closed_port_is_not_touched_any_more),
        ON_A_PAIR(a_far_end_that_goes_away_is_a_lost_line),
        ON_A_PAIR(a_set_flag_and_a_readable_pipe_each_cancel),
        ON_A_PAIR(a_signal_in_the_middle_of_waiting_cancels_at_once),
        ON_A_PAIR(a_signal_that_means_nothing_does_not_shorten_the_wait),
        ON_A_PAIR(a_port_that_somebody_holds_is_busy),
        cmocka_unit_test(what_is_no_port_is_refused_with_its_reason),
        ON_A_PAIR(a_port_without_permission_names_the_group_that_has_it),
        ON_A_PAIR(a_pty_is_known_through_a_link),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
