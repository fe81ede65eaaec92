// SPDX-License-Identifier: GPL-3.0-or-later
//
// "tcp://host:port" and "rtu://host:port" taken apart. Only lib/line includes this.
#ifndef LW_LINE_ADDRESS_H
#define LW_LINE_ADDRESS_H

#include "base/error.h"
#include "modbus/exchange.h"

// Port 502 is Modbus TCP's (MODBUS Messaging on TCP/IP V1.0b, 3.1.3); RTU bytes over a socket have
// none of their own, so it must be named.
struct lw_address {
    enum lw_adu adu;
    char host[256]; // without the brackets of an IPv6 address
    char port[8];   // 1..65535
};

// LW_USAGE for anything else.
enum lw_status lw_address_parse(const char *url, struct lw_address *address,
                                struct lw_error *error);

#endif
