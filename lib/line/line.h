// SPDX-License-Identifier: GPL-3.0-or-later
//
// A line: the data pair and the way to it. A serial port, a pseudo-terminal, a gateway's socket and
// a port of the virtual wire are all this. There is no sleep: waiting is receiving, so that late
// and stray bytes are never lost in a pause.
#ifndef LW_LINE_LINE_H
#define LW_LINE_LINE_H

#include "base/clock.h"
#include "base/error.h"
#include "modbus/exchange.h"

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

// "19200/8E1": bit/s, data bits 7 or 8, parity N E O, stop bits 1 or 2.
struct lw_framing {
    int rate;
    int data_bits;
    char parity;
    int stop_bits;
};
enum { LW_FRAMING_TEXT = 24 };
enum lw_status lw_framing_parse(const char *text, struct lw_framing *framing,
                                struct lw_error *error);
void lw_framing_text(const struct lw_framing *framing, char text[LW_FRAMING_TEXT]);
int lw_framing_bits(
    const struct lw_framing *framing); // bits of one character with start, parity and stop
bool lw_framing_same(const struct lw_framing *a, const struct lw_framing *b);
// Time of `count` characters back to back.
int64_t lw_framing_chars_ns(const struct lw_framing *framing, size_t count);
// Silence between frames: 3.5 characters up to 19200 bit/s, 1.75 ms above (MODBUS over Serial Line
// V1.02, 2.5.1.1).
int64_t lw_framing_t35_ns(const struct lw_framing *framing);

// Flags of a received piece: something in it was damaged on the wire.
enum {
    LW_PIECE_PARITY = 1,
    LW_PIECE_STOP_BIT = 2,
    LW_PIECE_BREAK = 4,
    LW_PIECE_OVERRUN = 8,
    LW_PIECE_CLOSED = 16, // the other end closed; no bytes with it
};

struct lw_piece {
    size_t count;
    int64_t first_ns,
        last_ns; // first bit of the first byte, last bit of the last; as far as the line can tell
    int64_t timing_u_ns; // standard uncertainty of both
    unsigned flags;
};

struct lw_line;

struct lw_line_ops {
    enum lw_status (*send)(struct lw_line *, const uint8_t *bytes, size_t count, int64_t *first_ns,
                           int64_t *last_ns, struct lw_error *);
    enum lw_status (*receive)(struct lw_line *, int64_t deadline_ns, uint8_t *bytes, size_t size,
                              struct lw_piece *, struct lw_error *);
    enum lw_status (*set_framing)(struct lw_line *, const struct lw_framing *, struct lw_error *);
    void (*close)(struct lw_line *);
};

// The part of every line that its users see; the kinds of line embed it as their first member.
struct lw_line {
    const struct lw_line_ops *ops;
    const struct lw_clock *clock;
    enum lw_adu adu;
    bool simulated;    // a virtual chain, or a pseudo-terminal
    bool hears_others; // false for a gateway: traffic of other masters does not come through
    bool paced;        // time passes by itself (false on a virtual clock)
    bool framed;       // rate and parity mean something here (false on sockets and ptys)
    struct lw_framing framing;
    int64_t gap_ns;    // pieces of one frame may come so far apart; 0: as on the wire
    int64_t late_ns;   // the longest that received bytes may have been kept by adapter, network and
                       // system before they are dated; 0: not at all (a virtual chain)
    char name[160];    // as the user named it, cleaned
    char adapter[120]; // what is known of the hardware; may be empty
    char remark[160];  // what the user has to know about this line ("parity and data bits are not
                       // carried by a pseudo-terminal"); may be empty
};

// Returns when the last bit has left, with the first and last time. LW_SYSTEM when the line is
// gone, LW_CANCELLED.
enum lw_status lw_line_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                            int64_t *first_ns, int64_t *last_ns, struct lw_error *error);

// Returns at the first piece of bytes, or at the deadline (count 0), or LW_CANCELLED, or LW_SYSTEM
// (gone). A deadline in the past takes what is already there. `size` is at least 1; 256 is usual.
enum lw_status lw_line_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                               size_t size, struct lw_piece *piece, struct lw_error *error);

// LW_USAGE where the line has no framing. Bytes under way are lost.
enum lw_status lw_line_set_framing(struct lw_line *line, const struct lw_framing *framing,
                                   struct lw_error *error);

// Puts the port back as it was found and frees the line. NULL is allowed.
void lw_line_close(struct lw_line *line);

// For a signal handler after which the process dies without lw_line_close(): puts the settings of
// all open ports back as they were found. Async-signal-safe.
void lw_line_restore_all(void);

// What interrupts a receive: a flag that a signal handler sets, and the reading end of a pipe that
// it writes to (-1: none).
struct lw_cancel {
    volatile sig_atomic_t flag;
    int wake_descriptor;
};

// Who switches a serial port's transceiver to sending.
enum lw_direction {
    LW_DIRECTION_ADAPTER, // the adapter, by itself
    LW_DIRECTION_RTS,     // this process, with RTS: raised while sending
    LW_DIRECTION_KERNEL,  // the kernel's driver, with RTS: raised while sending
};

struct lw_line_options {
    struct lw_framing framing;      // for lines that are framed
    const struct lw_cancel *cancel; // may be NULL; must outlive the line
    double connect_s;               // sockets: time allowed for connecting; 0 means 5 s
    enum lw_direction direction;    // serial ports only
    int before_ms, after_ms; // with RTS: how long it is raised before the first bit and after the
                             // last, 0 to 100
};

// The openers of lib/line. Each sets *line on success only; close with lw_line_close(). A port is
// taken for this process alone. LW_USAGE for what is no port or no address, LW_SYSTEM for one that
// is not there, busy, forbidden or out of reach, LW_CANCELLED, LW_MEMORY.
//
// A serial port's driver is asked to hand received bytes over at once; that, like all other
// settings, is put back at the close. Where RTS switches the direction from here, the end of a send
// is the driver's word where it knows, else computed, and RTS then stays raised for a further
// millisecond: a node that answers sooner is cut, which the line's remark says. LW_SYSTEM when the
// kernel is to switch and its driver cannot.
//
// Times on a serial port: bytes are dated from when the system handed them over, back by their own
// length; timing_u_ns states how long the adapter may have kept them. The end of a send is computed
// from the rate, unless the system still holds bytes then: an adapter behind USB may really end up
// to about a millisecond later (common practice), none earlier.
enum lw_status lw_serial_open(const char *path, const struct lw_line_options *options,
                              struct lw_line **line, struct lw_error *error);
enum lw_status lw_pty_open(const char *path, const struct lw_line_options *options,
                           struct lw_line **line, struct lw_error *error);
bool lw_pty_is(const char *path); // the path, or what a link there points to, is a pseudo-terminal

// Serves: creates a pseudo-terminal and a link to it (removed at close); the line is the master
// side.
enum lw_status lw_pty_serve(const char *link, const struct lw_line_options *options,
                            struct lw_line **line, struct lw_error *error);
// "tcp://host:port" (MBAP) or "rtu://host:port" (RTU bytes on a socket). Port 502 when none is
// named, for tcp only.
enum lw_status lw_socket_open(const char *url, const struct lw_line_options *options,
                              struct lw_line **line, struct lw_error *error);
// Serves: listens on 127.0.0.1 (port 0: any free; *bound says which), takes one client after the
// other; receive waits for a client too. adu chooses MBAP or RTU bytes.
enum lw_status lw_socket_serve(int port, enum lw_adu adu, const struct lw_line_options *options,
                               int *bound, struct lw_line **line, struct lw_error *error);

// Wraps a line so that everything sent and received on it is written to a capture (NULL: to none);
// the wrapped line is closed with it, the capture is not: close the line first, since that writes
// what is pending. A capture that can't be written any more (full disk) fails the next send or
// receive with LW_SYSTEM, and all that follow until it is switched. On failure `inner` stays the
// caller's.
struct lw_capture;
enum lw_status lw_recorder_wrap(struct lw_line *inner, struct lw_capture *capture,
                                struct lw_line **line, struct lw_error *error);
// Lets the recorder write to another capture from now on (NULL: to none). Writes what is pending
// into the old one and returns its failure, if it had one; the switch is made all the same.
enum lw_status lw_recorder_switch(struct lw_line *recorder, struct lw_capture *capture,
                                  struct lw_error *error);
// Whether `line` is a recorder whose capture can't be written any more: it is the disk then that
// failed, and not the line.
bool lw_recorder_is_full(const struct lw_line *line);

#endif
