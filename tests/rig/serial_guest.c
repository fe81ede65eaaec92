// SPDX-License-Identifier: GPL-3.0-or-later
//
// Runs inside the virtual machine, on a real kernel's serial driver: opens /dev/ttyUSB0 and tries
// what only a real port can do. Says what it did, one line each, on standard output; "> WORD" asks
// the host to do its part.
#include "line/line.h"
#include "line/ports.h"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

static const char *const path = "/dev/ttyUSB0";
static int failures;

static void check(bool right, const char *what)
{
    printf("%s: %s\n", right ? "right" : "WRONG", what);
    fflush(stdout);
    failures += !right;
}

static void ask_host(const char *word)
{
    printf("> %s\n", word);
    fflush(stdout);
}

static struct termios settings(void)
{
    struct termios now = {0};
    int port = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (port < 0 || tcgetattr(port, &now) != 0) {
        perror("settings");
    }
    close(port);
    return now;
}

static bool same_settings(const struct termios *left, const struct termios *right)
{
    return left->c_iflag == right->c_iflag && left->c_oflag == right->c_oflag &&
           left->c_cflag == right->c_cflag && left->c_lflag == right->c_lflag &&
           memcmp(left->c_cc, right->c_cc, sizeof left->c_cc) == 0;
}

static int64_t in_20_s(const struct lw_line *line)
{
    return lw_clock_now_ns(line->clock) + INT64_C(20000000000);
}

static void show_ports(void)
{
    struct lw_list ports = {0};
    bool found = false;
    if (lw_ports_list(&ports, NULL) == LW_OK) {
        for (size_t i = 0; i < ports.count; i++) {
            const struct lw_port *port = (const struct lw_port *)ports.items + i;
            printf("port %s: %s\n", port->name, port->description);
            found |= strcmp(port->name, path) == 0 && port->description[0] && port->may_open;
        }
    }
    lw_ports_free(&ports);
    check(found, "the adapter is listed");
}

// All byte values come twice, through the driver's marks.
static void hear_all_bytes(struct lw_line *line)
{
    uint8_t got[512 + 256];
    size_t count = 0;
    unsigned flags = 0;
    int64_t end_ns = in_20_s(line), last_ns = 0;
    bool ordered = true, right = true;
    ask_host("bytes");
    while (count < 512 && lw_clock_now_ns(line->clock) < end_ns) {
        struct lw_piece piece;
        if (lw_line_receive(line, end_ns, got + count, 256, &piece, NULL) != LW_OK) {
            break;
        }
        ordered &= piece.first_ns >= last_ns && piece.last_ns >= piece.first_ns;
        last_ns = piece.last_ns;
        flags |= piece.flags;
        count += piece.count;
    }
    for (size_t i = 0; i < 512; i++) {
        right &= got[i] == i % 256;
    }
    check(count == 512 && right, "512 bytes of every value are heard unchanged");
    check(flags == 0, "no damage is told where there was none");
    check(ordered, "times go forward");
}

static void send_bytes(struct lw_line *line)
{
    static const char bytes[] = "\x11\x03\x00\x6b\x00\x03\x76\x87";
    int64_t first_ns = 0, last_ns = 0;
    enum lw_status status =
        lw_line_send(line, (const uint8_t *)bytes, 8, &first_ns, &last_ns, NULL);
    printf("sent in %.3f ms\n", (double)(last_ns - first_ns) / 1e6);
    // 8 * 11 / 19200 s.
    check(status == LW_OK && last_ns - first_ns >= 4583333, "a send takes its characters' time");
}

static void set_framings(struct lw_line *line)
{
    static const char *const texts[] = {"9600/8N1", "115200/8E1", "250000/8O2", "19200/7E1"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct lw_framing framing;
        struct lw_error error = {0};
        char what[400];
        lw_framing_parse(texts[i], &framing, NULL);
        enum lw_status status = lw_line_set_framing(line, &framing, &error);
        snprintf(what, sizeof what, "%s is set %s", texts[i], error.says);
        check(status == LW_OK, what);
    }
}

static void open_again(void)
{
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    const struct lw_line_options options = {.framing = {19200, 8, 'E', 1}};
    pid_t child = fork();
    if (child == 0) {
        enum lw_status status = lw_serial_open(path, &options, &line, &error);
        printf("second: %s\n", error.says);
        fflush(stdout);
        _exit(status == LW_SYSTEM && strstr(error.says, "is busy: ") ? 0 : 1);
    }
    int status = -1;
    waitpid(child, &status, 0);
    check(status == 0, "a second process finds it busy");
}

static void lose(struct lw_line *line)
{
    uint8_t bytes[64];
    struct lw_piece piece = {0};
    struct lw_error error = {0};
    enum lw_status status = LW_OK;
    ask_host("guest_unplug");
    int64_t end_ns = in_20_s(line);
    while (status == LW_OK && lw_clock_now_ns(line->clock) < end_ns) {
        status = lw_line_receive(line, end_ns, bytes, sizeof bytes, &piece, &error);
    }
    printf("lost: %s\n", error.says);
    check(status == LW_SYSTEM && strstr(error.says, "is gone: unplugged"),
          "an unplugged adapter is a lost line");
    status = lw_line_send(line, bytes, 8, NULL, NULL, &error);
    check(status == LW_SYSTEM, "a send to a lost line fails");
}

int main(void)
{
    const struct lw_line_options options = {.framing = {19200, 8, 'E', 1}};
    struct lw_line *line = NULL;
    struct lw_error error = {0};
    show_ports();
    struct termios before = settings();
    if (lw_serial_open(path, &options, &line, &error) != LW_OK) {
        check(false, error.says);
        return 1;
    }
    printf("adapter: %s; %s\n", line->adapter, line->remark);
    check(line->framed && !line->simulated && line->adapter[0], "the port opens");
    check(strcmp(line->remark, "the adapter keeps received bytes for up to 1 ms") == 0,
          "the adapter's latency is lowered without a word to it");
    open_again();
    send_bytes(line);
    hear_all_bytes(line);
    set_framings(line);
    lw_line_close(line);
    struct termios after = settings();
    check(same_settings(&before, &after), "after closing the settings are as before");
    line = NULL;
    if (lw_serial_open(path, &options, &line, &error) == LW_OK) {
        lose(line);
    } else {
        check(false, error.says);
    }
    lw_line_close(line);
    printf("done, %d wrong\n", failures);
    return failures != 0;
}
