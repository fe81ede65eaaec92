// SPDX-License-Identifier: GPL-3.0-or-later
//
// Terminals as the system has them: what opening a serial port and opening a pseudo-terminal have
// in common. Only lib/line includes this.
#ifndef LW_LINE_TERMINAL_H
#define LW_LINE_TERMINAL_H

#include "line/line.h"

#include <termios.h>

// Opens a terminal without waiting for a carrier, takes it for this process alone, and notes its
// settings in *before. Every refusal has a sentence of its own: no such port, no terminal, no
// permission (and which group has it), busy (and who holds it). With `alone` a port that any other
// process has open is busy; without, only one that is locked. LW_USAGE for what is no terminal,
// else LW_SYSTEM.
enum lw_status lw_terminal_open(const char *path, bool alone, int *descriptor,
                                struct termios *before, struct lw_error *error);

// Lets lw_line_restore_all() put the driver's settings back as well, from now on.
struct lw_driver;
void lw_terminal_keep(int descriptor, const struct lw_driver *driver);

// Puts the settings back and closes. Until then lw_line_restore_all() knows the terminal.
void lw_terminal_close(int descriptor, const struct termios *before);

// Settings for raw bytes in this framing, from what the terminal has now. Rates outside the
// system's table are left as they are.
void lw_terminal_raw(struct termios *settings, const struct lw_framing *framing);

// Whether the terminal took character size, parity and stop bits. False also when it cannot be
// read.
bool lw_terminal_took(int descriptor, const struct termios *asked);

#endif
