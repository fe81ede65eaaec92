// SPDX-License-Identifier: GPL-3.0-or-later
//
// Serial ports. libserialport opens and sets them, rates outside the usual table included; waiting
// is our own, since its blocking calls go on after a signal. The port's settings are noted before
// libserialport touches it and put back at the end, since it restores nothing.
#include "line/driver.h"
#include "line/line.h"
#include "line/marks.h"
#include "line/ports_inside.h"
#include "line/system_line.h"
#include "line/terminal.h"

#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <libserialport.h>
#include <limits.h>
#include <linux/serial.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

struct serial {
    struct lw_system_line system; // first: it is a line; its descriptor is ours, not the library's
    struct termios before;
    struct lw_driver driver;     // as it was found
    bool by_rts;                 // the direction is switched here
    int64_t before_ns, after_ns; // RTS around a send
    struct sp_port *port;
    struct lw_marks marks;
    struct serial_icounter_struct errors; // the driver's counts so far
    bool counted;                         // the driver has such counts
    int64_t adapter_late_ns;              // how long the adapter may keep bytes; -1: has no timer
    int64_t last_ns;                      // end of the last piece
};

// A plain UART hands its bytes over at the latest after four silent characters (16550 data sheet,
// character time-out), and the kernel within a millisecond (common practice).
static int64_t late_ns(const struct serial *serial, const struct lw_framing *framing)
{
    return serial->adapter_late_ns >= 0 ? serial->adapter_late_ns
                                        : 1000000 + lw_framing_chars_ns(framing, 4);
}

static enum lw_status wait_until(const struct lw_system_line *system, int64_t time_ns,
                                 struct lw_error *error)
{
    bool ready = false;
    return lw_system_line_wait(system, -1, 0, time_ns, &ready, error);
}

static enum lw_status drain(const struct lw_system_line *system, struct lw_error *error)
{
    while (tcdrain(system->descriptor) != 0) {
        if (errno != EINTR) {
            return lw_system_line_gone(system, error);
        }
        if (system->cancel && system->cancel->flag) {
            return lw_fail(error, LW_CANCELLED, "interrupted");
        }
    }
    return LW_OK;
}

// The end is computed, for the system says only that its own buffer is empty while the adapter
// still sends; when even that is not so at the computed end, the transmission started late and its
// end is when the buffer is empty.
static enum lw_status transmit(const struct serial *serial, const uint8_t *bytes, size_t count,
                               int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    const struct lw_system_line *system = &serial->system;
    *first_ns = lw_clock_now_ns(&system->clock);
    enum lw_status status = lw_system_line_write(system, bytes, count, error);
    if (status == LW_OK) {
        *last_ns = *first_ns + lw_framing_chars_ns(&system->line.framing, count);
        status = wait_until(system, *last_ns, error);
    }
    int left = 0;
    if (status == LW_OK && ioctl(system->descriptor, TIOCOUTQ, &left) == 0 && left > 0) {
        status = drain(system, error);
        *last_ns = lw_clock_now_ns(&system->clock);
    }
    return status;
}

// Until the last bit has left: the driver's word, asked every 50 us for at most 20 ms, or a
// millisecond for an adapter behind USB that says nothing (common practice).
static enum lw_status wait_for_end(const struct serial *serial, int64_t *last_ns,
                                   struct lw_error *error)
{
    const struct lw_system_line *system = &serial->system;
    const int64_t step_ns = 50000, most_ns = 20000000, unknown_ns = 1000000;
    int64_t begun_ns = lw_clock_now_ns(&system->clock), now_ns = begun_ns;
    bool known = true;
    enum lw_status status = LW_OK;
    while (status == LW_OK && !lw_driver_sent(system->descriptor, &known) && known &&
           now_ns - begun_ns < most_ns) {
        status = wait_until(system, now_ns + step_ns, error);
        now_ns = lw_clock_now_ns(&system->clock);
        *last_ns = now_ns;
    }
    return known || status != LW_OK ? status : wait_until(system, begun_ns + unknown_ns, error);
}

// RTS goes down again whatever became of the bytes: a driver that stays on blocks the line.
static enum lw_status transmit_with_rts(const struct serial *serial, const uint8_t *bytes,
                                        size_t count, int64_t *first_ns, int64_t *last_ns,
                                        struct lw_error *error)
{
    const struct lw_system_line *system = &serial->system;
    if (!lw_driver_rts(system->descriptor, true)) {
        return lw_system_line_gone(system, error);
    }
    enum lw_status status =
        wait_until(system, lw_clock_now_ns(&system->clock) + serial->before_ns, error);
    if (status == LW_OK) {
        status = transmit(serial, bytes, count, first_ns, last_ns, error);
    }
    if (status == LW_OK) {
        status = wait_for_end(serial, last_ns, error);
    }
    if (status == LW_OK) {
        status = wait_until(system, lw_clock_now_ns(&system->clock) + serial->after_ns, error);
    }
    lw_driver_rts(system->descriptor, false);
    return status;
}

static enum lw_status serial_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                  int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    const struct serial *serial = (struct serial *)line;
    return serial->by_rts ? transmit_with_rts(serial, bytes, count, first_ns, last_ns, error)
                          : transmit(serial, bytes, count, first_ns, last_ns, error);
}

// What the marks cannot tell, parity from stop bit, and what they do not show, an overrun and a
// break without a byte, the driver's counts do, where it has them.
static unsigned damage(struct serial *serial)
{
    struct serial_icounter_struct now = serial->errors;
    unsigned flags = 0;
    if (serial->counted) {
        serial->counted = ioctl(serial->system.descriptor, TIOCGICOUNT, &now) == 0;
    }
    if (serial->marks.damaged_break || now.brk != serial->errors.brk) {
        flags |= LW_PIECE_BREAK;
    }
    if (now.overrun != serial->errors.overrun || now.buf_overrun != serial->errors.buf_overrun) {
        flags |= LW_PIECE_OVERRUN;
    }
    if (serial->marks.damaged_char) {
        bool stop_bit =
            now.frame != serial->errors.frame || serial->system.line.framing.parity == 'N';
        flags |= stop_bit ? LW_PIECE_STOP_BIT : LW_PIECE_PARITY;
    }
    if (serial->marks.damaged_char && now.parity != serial->errors.parity) {
        flags |= LW_PIECE_PARITY;
    }
    serial->errors = now;
    serial->marks.damaged_char = serial->marks.damaged_break = false;
    return flags;
}

// The bytes stood back to back on the line, as far as one can tell, and after the last piece.
static void stamp(struct serial *serial, size_t count, struct lw_piece *piece)
{
    lw_system_line_stamp(&serial->system, count, piece);
    piece->first_ns -= lw_framing_chars_ns(&serial->system.line.framing, count);
    if (piece->first_ns < serial->last_ns) {
        piece->first_ns = serial->last_ns;
    }
    serial->last_ns = piece->last_ns;
    piece->flags = damage(serial);
}

static enum lw_status serial_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                     size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct serial *serial = (struct serial *)line;
    size_t raw = 1;
    while (raw > 0 && piece->count == 0) {
        enum lw_status status =
            lw_system_line_take(&serial->system, deadline_ns, bytes, size, &raw, error);
        if (status != LW_OK) {
            return status;
        }
        size_t count = lw_marks_strip(&serial->marks, bytes, raw);
        if (count > 0) {
            stamp(serial, count, piece);
        }
    }
    return LW_OK;
}

static enum sp_parity parity_of(const struct lw_framing *framing)
{
    return framing->parity == 'E'   ? SP_PARITY_EVEN
           : framing->parity == 'O' ? SP_PARITY_ODD
                                    : SP_PARITY_NONE;
}

static bool configure(struct sp_port *port, const struct lw_framing *framing)
{
    struct sp_port_config *config = NULL;
    if (sp_new_config(&config) != SP_OK) {
        return false;
    }
    sp_set_config_baudrate(config, framing->rate);
    sp_set_config_bits(config, framing->data_bits);
    sp_set_config_parity(config, parity_of(framing));
    sp_set_config_stopbits(config, framing->stop_bits);
    sp_set_config_flowcontrol(config, SP_FLOWCONTROL_NONE);
    bool set = sp_set_config(port, config) == SP_OK;
    sp_free_config(config);
    return set;
}

// Drivers report the rate that they could make; a character's last bit is still met when it is
// within 2 % (common practice).
static bool rate_is_near(struct sp_port *port, int rate)
{
    struct sp_port_config *config = NULL;
    int has = 0;
    bool near = sp_new_config(&config) == SP_OK && sp_get_config(port, config) == SP_OK &&
                sp_get_config_baudrate(config, &has) == SP_OK && abs(has - rate) <= rate / 50;
    sp_free_config(config);
    return near;
}

// After the library's settings: damaged characters marked, and a read of nothing meaning the end.
static bool finish_settings(const struct serial *serial, const struct lw_framing *framing)
{
    struct termios settings, asked;
    int descriptor = serial->system.descriptor;
    if (tcgetattr(descriptor, &settings) != 0) {
        return false;
    }
    asked = settings;
    lw_terminal_raw(&asked, framing);
    settings.c_iflag &= ~(tcflag_t)(IGNPAR | IGNBRK | BRKINT | ISTRIP | IXON | IXOFF | IXANY);
    settings.c_iflag |= INPCK | PARMRK;
    settings.c_cc[VMIN] = 1;
    settings.c_cc[VTIME] = 0;
    return tcsetattr(descriptor, TCSANOW, &settings) == 0 && lw_terminal_took(descriptor, &asked);
}

static enum lw_status apply(struct serial *serial, const struct lw_framing *framing,
                            struct lw_error *error)
{
    if (!configure(serial->port, framing) || !rate_is_near(serial->port, framing->rate) ||
        !finish_settings(serial, framing)) {
        char text[LW_FRAMING_TEXT];
        lw_framing_text(framing, text);
        return lw_fail(error, LW_SYSTEM, "port '%s' cannot do %s", serial->system.line.name, text);
    }
    tcflush(serial->system.descriptor, TCIOFLUSH);
    serial->marks = (struct lw_marks){0};
    serial->system.line.late_ns = late_ns(serial, framing);
    serial->counted = ioctl(serial->system.descriptor, TIOCGICOUNT, &serial->errors) == 0;
    return LW_OK;
}

static enum lw_status serial_set_framing(struct lw_line *line, const struct lw_framing *framing,
                                         struct lw_error *error)
{
    struct serial *serial = (struct serial *)line;
    enum lw_status status = apply(serial, framing, error);
    if (status != LW_OK) {
        apply(serial, &line->framing, NULL);
    }
    if (serial->by_rts) {
        lw_driver_rts(serial->system.descriptor, false);
    }
    return status;
}

static void serial_close(struct lw_line *line)
{
    struct serial *serial = (struct serial *)line;
    ioctl(serial->system.descriptor, TIOCNXCL);
    lw_driver_put_back(serial->system.descriptor, &serial->driver);
    if (serial->port) {
        sp_close(serial->port);
        sp_free_port(serial->port);
    }
    lw_terminal_close(serial->system.descriptor, &serial->before);
    free(serial);
}

static const struct lw_line_ops serial_ops = {
    .send = serial_send,
    .receive = serial_receive,
    .set_framing = serial_set_framing,
    .close = serial_close,
};

static void say(struct serial *serial, const char *what)
{
    char before[sizeof serial->system.line.remark];
    lw_copy(before, sizeof before, serial->system.line.remark);
    lw_print(serial->system.line.remark, sizeof before, "%s%s%s", before, before[0] ? "; " : "",
             what);
}

// Some adapters gather bytes until a timer runs out, and tell its milliseconds. One is what is left
// when the driver was asked not to.
static void read_latency(struct serial *serial, const char *device)
{
    char what[80];
    int latency_ms = lw_port_latency_ms(device);
    if (latency_ms > 0) {
        serial->adapter_late_ns = 1000000 * (int64_t)latency_ms;
        lw_print(what, sizeof what, "the adapter keeps received bytes for up to %d ms", latency_ms);
        say(serial, what);
    }
}

static void keep_awake(struct serial *serial, const char *device)
{
    char folder[PATH_MAX];
    lw_print(folder, sizeof folder, "/sys/class/tty/%s/device", device);
    if (!lw_driver_keep_awake(folder, &serial->driver)) {
        say(serial, "USB may put the adapter to sleep in a pause: root can forbid it");
    }
}

static enum lw_status set_direction(struct serial *serial, const struct lw_line_options *options,
                                    struct lw_error *error)
{
    const struct lw_system_line *system = &serial->system;
    bool known = true;
    switch (options->direction) {
    case LW_DIRECTION_ADAPTER:
        break;
    case LW_DIRECTION_KERNEL:
        if (!lw_driver_switch(system->descriptor, options, &serial->driver)) {
            return lw_fail(error, LW_SYSTEM,
                           "the driver of port '%s' cannot switch the direction with these "
                           "delays: let RTS or the adapter do it (the plan's line.direction)",
                           system->line.name);
        }
        break;
    case LW_DIRECTION_RTS:
        serial->by_rts = true;
        serial->before_ns = options->before_ms * INT64_C(1000000);
        serial->after_ns = options->after_ms * INT64_C(1000000);
        if (!lw_driver_rts(system->descriptor, false)) {
            return lw_fail(error, LW_SYSTEM, "port '%s' has no RTS to switch the direction with",
                           system->line.name);
        }
        (void)lw_driver_sent(system->descriptor, &known);
        if (!known) {
            say(serial, "RTS stays raised for 1 ms after a send: sooner answers are cut");
        }
    }
    return LW_OK;
}

static void read_adapter(struct serial *serial)
{
    struct lw_line *line = &serial->system.line;
    const char *says = sp_get_port_description(serial->port);
    if (says) {
        lw_text_clean(line->adapter, sizeof line->adapter, says, strlen(says));
    }
}

// The library knows ports by their own name, not by that of a link.
static enum lw_status open_port(struct serial *serial, const char *path,
                                const struct lw_line_options *options, struct lw_error *error)
{
    char *real = realpath(path, NULL);
    if (!real) {
        return lw_fail_errno(error, errno, "cannot open port '%s'", serial->system.line.name);
    }
    const char *slash = strrchr(real, '/'), *device = slash ? slash + 1 : real;
    lw_driver_hurry(serial->system.descriptor, &serial->driver);
    read_latency(serial, device);
    keep_awake(serial, device);
    enum sp_return got = sp_get_port_by_name(real, &serial->port);
    free(real);
    if (got != SP_OK) {
        return lw_fail(error, LW_USAGE, "'%s' is no serial port", serial->system.line.name);
    }
    read_adapter(serial);
    if (sp_open(serial->port, SP_MODE_READ_WRITE) != SP_OK) {
        return lw_fail_errno(error, sp_last_error_code(), "cannot open port '%s'",
                             serial->system.line.name);
    }
    ioctl(serial->system.descriptor, TIOCEXCL);
    enum lw_status status = apply(serial, &serial->system.line.framing, error);
    if (status == LW_OK) {
        status = set_direction(serial, options, error);
    }
    lw_terminal_keep(serial->system.descriptor, &serial->driver);
    return status;
}

enum lw_status lw_serial_open(const char *path, const struct lw_line_options *options,
                              struct lw_line **line, struct lw_error *error)
{
    assert(path && options && line && options->framing.rate > 0);
    struct serial *serial = calloc(1, sizeof *serial);
    if (!serial) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    lw_system_line_init(&serial->system, &serial_ops, options, path);
    serial->system.gone = "unplugged or switched off";
    serial->system.line.hears_others = true;
    serial->system.line.framed = true;
    serial->adapter_late_ns = -1;
    enum lw_status status =
        lw_terminal_open(path, true, &serial->system.descriptor, &serial->before, error);
    if (status != LW_OK) {
        free(serial);
        return status;
    }
    status = open_port(serial, path, options, error);
    if (status != LW_OK) {
        serial_close(&serial->system.line);
        return status;
    }
    *line = &serial->system.line;
    return LW_OK;
}
