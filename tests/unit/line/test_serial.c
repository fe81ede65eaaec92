// SPDX-License-Identifier: GPL-3.0-or-later
//
// Serial ports over a pseudo-terminal that is dressed up as one: libserialport asks for an entry in
// /sys and for the modem lines, which this program answers in its place; everything else is the
// kernel's. What a pty cannot do, parity errors and rates, is shown on marks by themselves.
#include "line/line.h"
#include "line/marks.h"

#include <fcntl.h>
#include <linux/serial.h>
#include <pty.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include <cmocka.h>

static bool dressed_up = true;

static bool is_dressed(const char *path)
{
    return dressed_up && strncmp(path, "/sys/class/tty/pts/", 19) == 0;
}

int __lxstat(int version, const char *path, struct stat *facts);
int __lxstat(int version, const char *path, struct stat *facts)
{
    (void)version;
    if (is_dressed(path)) {
        *facts = (struct stat){.st_mode = S_IFLNK | 0777};
        return 0;
    }
    return fstatat(AT_FDCWD, path, facts, AT_SYMLINK_NOFOLLOW);
}

ssize_t readlink(const char *path, char *to, size_t size)
{
    static const char device[] = "../../devices/platform/serial/tty/x";
    if (is_dressed(path)) {
        size_t length = sizeof device - 1 < size ? sizeof device - 1 : size;
        memcpy(to, device, length);
        return (ssize_t)length;
    }
    return syscall(SYS_readlinkat, AT_FDCWD, path, to, size);
}

static int latency_ms; // what the adapter says; 0: it says nothing

FILE *fopen(const char *path, const char *mode)
{
    static char text[16];
    if (strncmp(path, "/sys/class/tty/", 15) == 0 && strstr(path, "/device/latency_timer")) {
        snprintf(text, sizeof text, "%d\n", latency_ms);
        return latency_ms > 0 ? fmemopen(text, strlen(text), "r") : NULL;
    }
    int descriptor = open(path, O_RDONLY);
    return descriptor < 0 ? NULL : fdopen(descriptor, mode);
}

static int queued; // bytes that the system says it has not sent yet

static bool counts; // the driver has counts of errors
static struct serial_icounter_struct driver;

// What a driver has beside, and what was done to it.
static struct {
    bool has_serial, has_rs485, has_transmitter;
    int flags;
    struct serial_rs485 rs485;
    char rts[40]; // 'R' raised, 'r' lowered, in the order it was done
} made;

static void note_rts(char what)
{
    size_t length = strlen(made.rts);
    if (length + 1 < sizeof made.rts) {
        made.rts[length] = what;
    }
}

// Returns 1 when the request is none of these.
static int answer_as_driver(unsigned long request, void *argument)
{
    struct serial_struct *serial = argument;
    switch (request) {
    case TIOCGSERIAL:
        *serial = (struct serial_struct){.flags = made.flags};
        return made.has_serial ? 0 : -1;
    case TIOCSSERIAL:
        made.flags = serial->flags;
        return made.has_serial ? 0 : -1;
    case TIOCGRS485:
        *(struct serial_rs485 *)argument = made.rs485;
        return made.has_rs485 ? 0 : -1;
    case TIOCSRS485:
        made.rs485 = *(struct serial_rs485 *)argument;
        return made.has_rs485 ? 0 : -1;
    case TIOCSERGETLSR:
        *(unsigned *)argument = TIOCSER_TEMT;
        return made.has_transmitter ? 0 : -1;
    default:
        return 1;
    }
}

int ioctl(int descriptor, unsigned long request, ...)
{
    va_list list;
    va_start(list, request);
    void *argument = va_arg(list, void *);
    va_end(list);
    if (request == TIOCMGET) {
        *(int *)argument = TIOCM_DTR | TIOCM_RTS;
        return 0;
    }
    if (request == TIOCGICOUNT) {
        *(struct serial_icounter_struct *)argument = driver;
        return counts ? 0 : -1;
    }
    if (request == TIOCOUTQ) {
        *(int *)argument = queued;
        return 0;
    }
    if (request == TIOCMBIS || request == TIOCMBIC) {
        note_rts(request == TIOCMBIS ? 'R' : 'r');
        return 0;
    }
    if (request == TIOCMSET) {
        return 0;
    }
    int answer = answer_as_driver(request, argument);
    if (answer != 1) {
        return answer;
    }
    return (int)syscall(SYS_ioctl, descriptor, request, argument);
}

struct ends {
    int far;
    char path[64];
    struct lw_line *line;
};

// No parity and 8 bits, since a pty drops anything else and a serial port must not.
static const struct lw_line_options plain = {.framing = {19200, 8, 'N', 2}};

static int set_up(void **state)
{
    struct ends *ends = calloc(1, sizeof *ends);
    int near = -1;
    assert_int_equal(openpty(&ends->far, &near, ends->path, NULL, NULL), 0);
    close(near);
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

static void open_port(struct ends *ends)
{
    struct lw_error error = {0};
    if (lw_serial_open(ends->path, &plain, &ends->line, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
}

static void a_serial_port_is_framed_real_and_hears_others(void **state)
{
    struct ends *ends = *state;
    open_port(ends);
    assert_true(ends->line->framed);
    assert_true(ends->line->hears_others);
    assert_true(ends->line->paced);
    assert_false(ends->line->simulated);
    assert_int_equal(ends->line->framing.rate, 19200);
}

static void a_send_takes_the_time_of_its_characters(void **state)
{
    struct ends *ends = *state;
    int64_t first_ns = 0, last_ns = 0;
    open_port(ends);
    assert_int_equal(
        lw_line_send(ends->line, (const uint8_t *)"12345678", 8, &first_ns, &last_ns, NULL), LW_OK);
    // MODBUS over Serial Line V1.02, 2.5.1: 11 bits a character; 8 * 11 / 19200 s.
    assert_int_equal(last_ns - first_ns, 4583333);
    assert_true(lw_clock_now_ns(ends->line->clock) >= last_ns);
}

static void a_send_that_started_late_ends_when_the_queue_is_empty(void **state)
{
    struct ends *ends = *state;
    int64_t first_ns = 0, last_ns = 0;
    open_port(ends);
    queued = 3;
    assert_int_equal(
        lw_line_send(ends->line, (const uint8_t *)"12345678", 8, &first_ns, &last_ns, NULL), LW_OK);
    queued = 0;
    assert_true(last_ns - first_ns > 4583333); // 8 * 11 / 19200 s
}

// What a driver with the marks hands over, put in from the far end, where nothing marks it again.
static unsigned flags_of(struct ends *ends, const char *bytes, size_t count)
{
    struct termios settings;
    uint8_t got[16];
    struct lw_piece piece;
    assert_int_equal(tcgetattr(ends->far, &settings), 0);
    settings.c_iflag &= ~(tcflag_t)PARMRK;
    assert_int_equal(tcsetattr(ends->far, TCSANOW, &settings), 0);
    assert_int_equal(write(ends->far, bytes, count), count);
    assert_int_equal(lw_line_receive(ends->line, INT64_MAX, got, sizeof got, &piece, NULL), LW_OK);
    assert_int_equal(piece.count, 1);
    return piece.flags;
}

static void damage_is_told_apart_by_what_the_driver_counts(void **state)
{
    struct ends *ends = *state;
    counts = true;
    driver = (struct serial_icounter_struct){.frame = 7, .parity = 7, .overrun = 7};
    open_port(ends);
    ends->line->framing.parity = 'E'; // which a pty cannot be set to
    assert_int_equal(flags_of(ends, "A", 1), 0);
    driver.parity++;
    assert_int_equal(flags_of(ends,
                              "\xff\x00"
                              "A",
                              3),
                     LW_PIECE_PARITY);
    driver.frame++;
    assert_int_equal(flags_of(ends,
                              "\xff\x00"
                              "A",
                              3),
                     LW_PIECE_STOP_BIT);
    driver.frame++;
    driver.parity++;
    assert_int_equal(flags_of(ends,
                              "\xff\x00"
                              "A",
                              3),
                     LW_PIECE_STOP_BIT | LW_PIECE_PARITY);
    driver.overrun++;
    assert_int_equal(flags_of(ends, "A", 1), LW_PIECE_OVERRUN);
    driver.buf_overrun++;
    assert_int_equal(flags_of(ends, "A", 1), LW_PIECE_OVERRUN);
    driver.brk++;
    assert_int_equal(flags_of(ends, "\xff\x00\x00", 3), LW_PIECE_BREAK);
    driver.brk++;
    assert_int_equal(flags_of(ends, "A", 1), LW_PIECE_BREAK);
    assert_int_equal(flags_of(ends, "A", 1), 0);
    counts = false;
}

static void without_counts_damage_is_what_the_framing_makes_likely(void **state)
{
    struct ends *ends = *state;
    open_port(ends);
    assert_int_equal(flags_of(ends,
                              "\xff\x00"
                              "A",
                              3),
                     LW_PIECE_STOP_BIT);
    ends->line->framing.parity = 'E';
    assert_int_equal(flags_of(ends,
                              "\xff\x00"
                              "A",
                              3),
                     LW_PIECE_PARITY);
}

static void an_adapter_that_keeps_bytes_widens_the_uncertainty_and_is_said(void **state)
{
    struct ends *ends = *state;
    uint8_t byte;
    struct lw_piece piece;
    latency_ms = 16;
    open_port(ends);
    latency_ms = 0;
    assert_string_equal(ends->line->remark, "the adapter keeps received bytes for up to 16 ms");
    assert_int_equal(write(ends->far, "a", 1), 1);
    assert_int_equal(lw_line_receive(ends->line, INT64_MAX, &byte, 1, &piece, NULL), LW_OK);
    assert_int_equal(ends->line->late_ns, 16000000);
    // JCGM 100:2008, 4.3.7: 16 ms / sqrt(3).
    assert_int_equal(piece.timing_u_ns, 9237604);
}

static void open_with(struct ends *ends, enum lw_direction direction, enum lw_status wanted)
{
    struct lw_line_options options = plain;
    struct lw_error error = {0};
    options.direction = direction;
    options.before_ms = 2;
    options.after_ms = 3;
    assert_int_equal(lw_serial_open(ends->path, &options, &ends->line, &error), wanted);
    if (wanted != LW_OK) {
        assert_non_null(strstr(error.says, "cannot switch the direction"));
    }
}

static void the_driver_is_asked_to_hurry_and_left_as_it_was(void **state)
{
    struct ends *ends = *state;
    made.has_serial = true;
    made.flags = ASYNC_SPD_CUST;
    open_port(ends);
    assert_int_equal(made.flags, ASYNC_SPD_CUST | ASYNC_LOW_LATENCY);
    lw_line_close(ends->line);
    ends->line = NULL;
    assert_int_equal(made.flags, ASYNC_SPD_CUST);
    open_port(ends);
    lw_line_restore_all();
    assert_int_equal(made.flags, ASYNC_SPD_CUST);
    made.has_serial = false;
}

static void the_kernel_switches_the_direction_with_the_delays_asked(void **state)
{
    struct ends *ends = *state;
    made.has_rs485 = true;
    made.rs485 = (struct serial_rs485){.flags = SER_RS485_RTS_AFTER_SEND};
    open_with(ends, LW_DIRECTION_KERNEL, LW_OK);
    assert_int_equal(made.rs485.flags, SER_RS485_ENABLED | SER_RS485_RTS_ON_SEND);
    assert_int_equal(made.rs485.delay_rts_before_send, 2);
    assert_int_equal(made.rs485.delay_rts_after_send, 3);
    lw_line_close(ends->line);
    ends->line = NULL;
    assert_int_equal(made.rs485.flags, SER_RS485_RTS_AFTER_SEND);
    made.has_rs485 = false;
}

static void a_driver_that_cannot_switch_is_said_before_anything_is_sent(void **state)
{
    open_with(*state, LW_DIRECTION_KERNEL, LW_SYSTEM);
}

static void rts_is_raised_while_sending_and_for_the_time_asked(void **state)
{
    struct ends *ends = *state;
    int64_t first_ns = 0, last_ns = 0;
    made.has_transmitter = true;
    made.rts[0] = '\0';
    open_with(ends, LW_DIRECTION_RTS, LW_OK);
    memset(made.rts, 0, sizeof made.rts);
    int64_t begun_ns = lw_clock_now_ns(ends->line->clock);
    assert_int_equal(
        lw_line_send(ends->line, (const uint8_t *)"abcd", 4, &first_ns, &last_ns, NULL), LW_OK);
    assert_string_equal(made.rts, "Rr");
    assert_true(first_ns - begun_ns >= 2000000);
    assert_true(lw_clock_now_ns(ends->line->clock) - last_ns >= 3000000);
    made.has_transmitter = false;
}

static void rts_goes_down_when_a_send_is_cancelled(void **state)
{
    struct ends *ends = *state;
    struct lw_cancel cancel = {.wake_descriptor = -1};
    struct lw_line_options options = plain;
    options.direction = LW_DIRECTION_RTS;
    options.cancel = &cancel;
    assert_int_equal(lw_serial_open(ends->path, &options, &ends->line, NULL), LW_OK);
    assert_non_null(strstr(ends->line->remark, "sooner answers are cut"));
    memset(made.rts, 0, sizeof made.rts);
    cancel.flag = 1;
    assert_int_equal(lw_line_send(ends->line, (const uint8_t *)"ab", 2, NULL, NULL, NULL),
                     LW_CANCELLED);
    assert_string_equal(made.rts, "Rr");
}

static void every_byte_comes_through_the_marks_unchanged(void **state)
{
    struct ends *ends = *state;
    uint8_t all[512], got[512 + 7];
    size_t count = 0;
    open_port(ends);
    for (size_t i = 0; i < sizeof all; i++) {
        all[i] = i < 256 ? (uint8_t)i : (uint8_t)(i % 3 ? 0xff : 0);
    }
    assert_int_equal(write(ends->far, all, sizeof all), sizeof all);
    int64_t last_ns = 0;
    while (count < sizeof all) {
        struct lw_piece piece;
        assert_int_equal(lw_line_receive(ends->line, INT64_MAX, got + count, 7, &piece, NULL),
                         LW_OK);
        assert_true(piece.count >= 1 && piece.count <= 7);
        assert_true(piece.first_ns >= last_ns && piece.last_ns >= piece.first_ns);
        assert_int_equal(piece.flags, 0);
        last_ns = piece.last_ns;
        count += piece.count;
    }
    assert_int_equal(count, sizeof all);
    assert_memory_equal(got, all, count);
}

static void received_bytes_are_dated_back_by_their_own_length(void **state)
{
    struct ends *ends = *state;
    uint8_t bytes[16];
    struct lw_piece piece;
    open_port(ends);
    assert_int_equal(write(ends->far, "abcd", 4), 4);
    assert_int_equal(lw_line_receive(ends->line, INT64_MAX, bytes, sizeof bytes, &piece, NULL),
                     LW_OK);
    assert_int_equal(piece.last_ns - piece.first_ns,
                     lw_framing_chars_ns(&plain.framing, piece.count));
    assert_true(piece.timing_u_ns > 0);
}

static void after_closing_the_settings_are_as_before(void **state)
{
    struct ends *ends = *state;
    struct termios before, during, after;
    assert_int_equal(tcgetattr(ends->far, &before), 0);
    before.c_iflag |= IXOFF;
    before.c_lflag |= ECHO | ICANON;
    before.c_cc[VMIN] = 3;
    cfsetspeed(&before, B2400);
    assert_int_equal(tcsetattr(ends->far, TCSANOW, &before), 0);
    open_port(ends);
    assert_int_equal(tcgetattr(ends->far, &during), 0);
    assert_int_equal(during.c_lflag & (ECHO | ICANON), 0);
    assert_true(during.c_iflag & PARMRK);
    assert_int_equal(cfgetospeed(&during), B19200);
    lw_line_close(ends->line);
    ends->line = NULL;
    assert_int_equal(tcgetattr(ends->far, &after), 0);
    assert_int_equal(after.c_iflag, before.c_iflag);
    assert_int_equal(after.c_cflag, before.c_cflag);
    assert_int_equal(after.c_lflag, before.c_lflag);
    assert_int_equal(cfgetospeed(&after), B2400);
    assert_memory_equal(after.c_cc, before.c_cc, sizeof after.c_cc);
}

static void another_framing_is_set_and_one_that_cannot_be_leaves_the_old_one(void **state)
{
    struct ends *ends = *state;
    const struct lw_framing faster = {115200, 8, 'N', 1}, even = {9600, 8, 'E', 1};
    struct termios settings;
    struct lw_error error = {0};
    open_port(ends);
    assert_int_equal(lw_line_set_framing(ends->line, &faster, NULL), LW_OK);
    assert_int_equal(tcgetattr(ends->far, &settings), 0);
    assert_int_equal(cfgetospeed(&settings), B115200);
    assert_int_equal(settings.c_cflag & CSTOPB, 0);
    assert_int_equal(lw_line_set_framing(ends->line, &even, &error), LW_SYSTEM);
    assert_non_null(strstr(error.says, "cannot do 9600/8E1"));
    assert_int_equal(ends->line->framing.rate, 115200);
    assert_int_equal(tcgetattr(ends->far, &settings), 0);
    assert_int_equal(cfgetospeed(&settings), B115200);
}

static void a_port_that_another_process_has_open_is_busy_and_says_whose_it_is(void **state)
{
    struct ends *ends = *state;
    struct lw_error error = {0};
    char says[160], byte;
    int ready[2];
    assert_int_equal(pipe(ready), 0);
    pid_t child = fork();
    if (child == 0) {
        int near = open(ends->path, O_RDWR | O_NOCTTY);
        (void)!write(ready[1], "!", 1);
        pause();
        _exit(near);
    }
    assert_int_equal(read(ready[0], &byte, 1), 1);
    snprintf(says, sizeof says, "port '%s' is busy: test_line_seria (%ld) holds it", ends->path,
             (long)child);
    enum lw_status status = lw_serial_open(ends->path, &plain, &ends->line, &error);
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    close(ready[0]);
    close(ready[1]);
    assert_int_equal(status, LW_SYSTEM);
    assert_string_equal(error.says, says);
}

static void a_port_that_is_unplugged_is_a_lost_line(void **state)
{
    struct ends *ends = *state;
    uint8_t byte = 0;
    struct lw_piece piece;
    struct lw_error error = {0};
    open_port(ends);
    close(ends->far);
    assert_int_equal(lw_line_receive(ends->line, INT64_MAX, &byte, 1, &piece, &error), LW_SYSTEM);
    assert_non_null(strstr(error.says, "is gone: unplugged or switched off"));
    assert_int_equal(lw_line_send(ends->line, &byte, 1, NULL, NULL, &error), LW_SYSTEM);
    ends->far = -1;
}

static void a_send_can_be_cancelled_while_it_waits_for_its_end(void **state)
{
    struct ends *ends = *state;
    struct lw_cancel cancel = {.flag = 0, .wake_descriptor = -1};
    const struct lw_line_options slow = {.framing = {50, 8, 'N', 2}, .cancel = &cancel};
    uint8_t bytes[200] = {0};
    int pipe_ends[2];
    assert_int_equal(pipe(pipe_ends), 0);
    cancel.wake_descriptor = pipe_ends[0];
    assert_int_equal(lw_serial_open(ends->path, &slow, &ends->line, NULL), LW_OK);
    assert_int_equal(write(pipe_ends[1], "!", 1), 1);
    // 200 characters at 50 bit/s would take 44 s.
    assert_int_equal(lw_line_send(ends->line, bytes, sizeof bytes, NULL, NULL, NULL), LW_CANCELLED);
    close(pipe_ends[0]);
    close(pipe_ends[1]);
}

static void what_is_no_serial_port_is_refused_with_its_reason(void **state)
{
    struct ends *ends = *state;
    static const struct {
        const char *path, *says;
        enum lw_status status;
    } table[] = {
        {"/dev/ttyUSB77", "no such port: '/dev/ttyUSB77'", LW_SYSTEM},
        {"/etc/passwd", "'/etc/passwd' is no serial port", LW_USAGE},
        {"/dev/null", "'/dev/null' is no serial port", LW_USAGE},
    };
    struct lw_error error = {0};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        assert_int_equal(lw_serial_open(table[i].path, &plain, &ends->line, &error),
                         table[i].status);
        assert_string_equal(error.says, table[i].says);
        assert_null(ends->line);
    }
    dressed_up = false;
    assert_int_equal(lw_serial_open(ends->path, &plain, &ends->line, &error), LW_USAGE);
    assert_non_null(strstr(error.says, "is no serial port"));
    dressed_up = true;
}

static size_t strip(struct lw_marks *marks, const char *in, size_t count, uint8_t *out)
{
    memcpy(out, in, count);
    return lw_marks_strip(marks, out, count);
}

static void marks_of_damage_are_taken_out_and_told(void **state)
{
    (void)state;
    // POSIX.1-2017, 11.2.2: FF 00 X is damaged, FF 00 00 a break, FF FF a good FF.
    struct lw_marks marks = {0};
    uint8_t out[16];
    assert_int_equal(strip(&marks,
                           "a\xff\xff\x00"
                           "b",
                           5, out),
                     4);
    assert_memory_equal(out,
                        "a\xff\x00"
                        "b",
                        4);
    assert_false(marks.damaged_char || marks.damaged_break);
    assert_int_equal(strip(&marks, "\xff\x00\x41x", 4, out), 2);
    assert_memory_equal(out, "Ax", 2);
    assert_true(marks.damaged_char && !marks.damaged_break);
    marks = (struct lw_marks){0};
    assert_int_equal(strip(&marks, "\xff\x00\x00", 3, out), 1);
    assert_int_equal(out[0], 0);
    assert_true(!marks.damaged_char && marks.damaged_break);
}

static void a_mark_may_be_cut_between_reads_at_any_place(void **state)
{
    (void)state;
    static const char in[] = "1\xff\xff"
                             "2\xff\x00"
                             "A3\xff\x00\x00"
                             "4\xff\xff\xff\xff";
    for (size_t cut = 0; cut < sizeof in; cut++) {
        struct lw_marks marks = {0};
        uint8_t out[32];
        size_t count = strip(&marks, in, cut, out);
        count += strip(&marks, in + cut, sizeof in - 1 - cut, out + count);
        assert_int_equal(count, 9);
        assert_memory_equal(out,
                            "1\xff"
                            "2A3\0004\xff\xff",
                            9);
        assert_true(marks.damaged_char && marks.damaged_break);
    }
}

#define ON_A_PORT(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_A_PORT(a_serial_port_is_framed_real_and_hears_others),
        ON_A_PORT(a_send_takes_the_time_of_its_characters),
        ON_A_PORT(a_send_that_started_late_ends_when_the_queue_is_empty),
        ON_A_PORT(damage_is_told_apart_by_what_the_driver_counts),
        ON_A_PORT(without_counts_damage_is_what_the_framing_makes_likely),
        ON_A_PORT(an_adapter_that_keeps_bytes_widens_the_uncertainty_and_is_said),
        ON_A_PORT(the_driver_is_asked_to_hurry_and_left_as_it_was),
        ON_A_PORT(the_kernel_switches_the_direction_with_the_delays_asked),
        ON_A_PORT(a_driver_that_cannot_switch_is_said_before_anything_is_sent),
        ON_A_PORT(rts_is_raised_while_sending_and_for_the_time_asked),
        ON_A_PORT(rts_goes_down_when_a_send_is_cancelled),
        ON_A_PORT(every_byte_comes_through_the_marks_unchanged),
        ON_A_PORT(received_bytes_are_dated_back_by_their_own_length),
        ON_A_PORT(after_closing_the_settings_are_as_before),
        ON_A_PORT(another_framing_is_set_and_one_that_cannot_be_leaves_the_old_one),
        ON_A_PORT(a_port_that_another_process_has_open_is_busy_and_says_whose_it_is),
        ON_A_PORT(a_port_that_is_unplugged_is_a_lost_line),
        ON_A_PORT(a_send_can_be_cancelled_while_it_waits_for_its_end),
        ON_A_PORT(what_is_no_serial_port_is_refused_with_its_reason),
        cmocka_unit_test(marks_of_damage_are_taken_out_and_told),
        cmocka_unit_test(a_mark_may_be_cut_between_reads_at_any_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
