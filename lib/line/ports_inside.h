// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the list of ports and an open port both read of an adapter. Only lib/line includes this.
#ifndef LW_LINE_PORTS_INSIDE_H
#define LW_LINE_PORTS_INSIDE_H

// How long the adapter behind /dev/`device` gathers received bytes before it hands them over; -1
// when it has no such timer or does not say.
int lw_port_latency_ms(const char *device);

#endif
