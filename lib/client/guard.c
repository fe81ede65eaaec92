// SPDX-License-Identifier: GPL-3.0-or-later
//
// The read-only guard. It names what may be sent; whatever is not named is refused, so that a
// function nobody thought of cannot change a node.
#include "client/client.h"

#include "modbus/pdu.h"

static bool reads_diagnostics(const struct lw_pdu *request)
{
    if (request->count < 3) {
        return false;
    }
    unsigned sub = (unsigned)(request->bytes[1] << 8 | request->bytes[2]);
    return sub == LW_DIAGNOSTICS_ECHO || (sub >= LW_COUNT_BUS_MESSAGES && sub <= LW_COUNT_OVERRUN);
}

bool lw_client_reads_only(const struct lw_pdu *request)
{
    switch (request->count > 0 ? request->bytes[0] : 0) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_READ_EXCEPTION_STATUS:
    case LW_EVENT_COUNTER:
    case LW_EVENT_LOG:
    case LW_REPORT_ID:
    case LW_READ_FILE:
    case LW_READ_FIFO:
        return true;
    case LW_DIAGNOSTICS:
        return reads_diagnostics(request);
    case LW_ENCAPSULATED:
        return request->count > 1 && request->bytes[1] == LW_MEI_IDENTITY;
    default:
        return false;
    }
}
