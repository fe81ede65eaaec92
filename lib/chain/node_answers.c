// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a node answers to each function (MODBUS Application Protocol V1.1b3, section 6). Registers
// and coils are in node_registers.c; here is the rest: diagnostics, counters, identity.
#include "base/text.h"
#include "chain/inside.h"

#include <assert.h>

enum { CLEAR_COUNTERS = 0x0A, RESTART_COMMUNICATIONS = 0x01 };

static uint8_t diagnostics(struct lw_node *node, const struct lw_request *request,
                           struct lw_reply *reply)
{
    reply->sub = request->sub;
    reply->count = request->count;
    memcpy(reply->values, request->values, sizeof reply->values);
    if (request->sub == LW_DIAGNOSTICS_ECHO) {
        return 0;
    }
    reply->count = 1;
    if (request->sub == LW_DIAGNOSTICS_REGISTER) {
        reply->values[0] = 0;
    } else if (request->sub == CLEAR_COUNTERS) {
        memset(node->counters, 0, sizeof node->counters);
    } else if (request->sub == RESTART_COMMUNICATIONS) {
        memset(node->counters, 0, sizeof node->counters);
        node->events = 0;
        node->saved_address = node->set_address;
        lw_node_readdress(node, node->saved_address);
    } else if (request->sub >= LW_COUNT_BUS_MESSAGES && request->sub <= LW_COUNT_OVERRUN) {
        reply->values[0] = node->counters[request->sub - LW_COUNT_BUS_MESSAGES];
    } else {
        return LW_ILLEGAL_FUNCTION;
    }
    return 0;
}

static void report_id(const struct lw_node *node, struct lw_reply *reply)
{
    char text[LW_PDU_MAX - 4];
    const char *code = node->profile->identity.product_code;
    lw_copy(text, sizeof text, code ? code : node->profile->name);
    size_t length = strlen(text);
    reply->bytes[0] = node->address;
    reply->bytes[1] = 0xFF; // running
    memcpy(reply->bytes + 2, text, length);
    reply->byte_count = (uint8_t)(2 + length);
}

static void event_log(const struct lw_node *node, struct lw_reply *reply)
{
    reply->event_count = node->events;
    reply->message_count = node->counters[0];
    reply->byte_count = (uint8_t)node->log_count;
    memcpy(reply->bytes, node->log, node->log_count);
}

static uint8_t answer(struct lw_node *node, const struct lw_request *request, int64_t now_ns,
                      struct lw_reply *reply)
{
    switch (request->function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
        return lw_node_read(node, request, now_ns, reply);
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
        reply->start = request->start;
        reply->count = request->count;
        reply->value = request->value;
        return lw_node_write(node, request);
    case LW_READ_EXCEPTION_STATUS:
        reply->status = lw_node_status_bits(node, now_ns);
        return 0;
    case LW_DIAGNOSTICS:
        return diagnostics(node, request, reply);
    case LW_EVENT_COUNTER:
        reply->event_count = node->events;
        return 0;
    case LW_EVENT_LOG:
        event_log(node, reply);
        return 0;
    case LW_REPORT_ID:
        report_id(node, reply);
        return 0;
    default:
        return LW_ILLEGAL_FUNCTION;
    }
}

void lw_node_reply(struct lw_node *node, const struct lw_pdu *request, int64_t now_ns,
                   struct lw_pdu *reply)
{
    struct lw_request asked;
    struct lw_reply said = {.function = request->bytes[0] & 0x7F};
    uint8_t exception = lw_request_parse(request, &asked);
    if (exception == 0 && asked.function == LW_ENCAPSULATED && node->identity) {
        lw_identity_reply(node->identity, request, reply);
        return;
    }
    if (exception == 0) {
        exception = answer(node, &asked, now_ns, &said);
    }
    if (exception != 0) {
        said = (struct lw_reply){.function = request->bytes[0] & 0x7F, .exception = exception};
    }
    if (!lw_reply_build(&said, reply)) {
        reply->count = 0;
    }
}
