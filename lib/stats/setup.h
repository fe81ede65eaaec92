// SPDX-License-Identifier: GPL-3.0-or-later
//
// The one thing a program does before it uses this room.
#ifndef LW_STATS_SETUP_H
#define LW_STATS_SETUP_H

// Switches off the error handler of the GNU Scientific Library, which would otherwise end the
// program where one of its functions meets a number it can't treat. Once, at a program's start;
// calling it again changes nothing. Errors then come back as LW_GARBLED.
void lw_stats_setup(void);

#endif
