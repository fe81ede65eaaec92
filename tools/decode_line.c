// SPDX-License-Identifier: GPL-3.0-or-later
//
// Rows of a decoded stream. Columns are fixed, so that lines can stream; the last one takes what it
// needs.
#include "decode_line.h"

#include "base/text.h"
#include "modbus/frame.h"
#include "modbus/identity.h"
#include "modbus/pdu.h"
#include "site/registers.h"

#include <string.h>

static void put(struct lw_row *row, char c)
{
    if (row->count < LW_ROW - 1) { // the last byte is kept for the line end
        row->bytes[row->count++] = c;
    }
}

static void put_text(struct lw_row *row, const char *text)
{
    while (*text != '\0') {
        put(row, *text++);
    }
}

static void end_line(struct lw_row *row)
{
    while (row->count > 0 && row->bytes[row->count - 1] == ' ') {
        row->count--;
    }
    row->bytes[row->count++] = '\n';
}

// Blanks up to `column`, at least one.
static void pad_to(struct lw_row *row, size_t column)
{
    size_t blanks = row->count < column ? column - row->count : 1;
    if (row->count + blanks < LW_ROW) {
        memset(row->bytes + row->count, ' ', blanks);
        row->count += blanks;
    }
}

// A whole number, right-aligned in `width` and filled with `fill`.
static void put_number(struct lw_row *row, uint32_t value, size_t width, char fill)
{
    char digits[16];
    size_t at = sizeof digits;
    do {
        digits[--at] = (char)('0' + value % 10);
        value /= 10;
    } while (value > 0);
    size_t count = sizeof digits - at, filled = count < width ? width - count : 0;
    if (row->count + filled + count < LW_ROW) {
        memset(row->bytes + row->count, fill, filled);
        memcpy(row->bytes + row->count + filled, digits + at, count);
        row->count += filled + count;
    }
}

static const char hex_digits[] = "0123456789abcdef";

static void put_hex(struct lw_row *row, uint8_t byte)
{
    if (row->count + 2 < LW_ROW) {
        row->bytes[row->count++] = hex_digits[byte >> 4];
        row->bytes[row->count++] = hex_digits[byte & 15];
    }
}

// Seconds with six decimals; "-" for an unknown time.
static void put_seconds(struct lw_row *row, int64_t ns, size_t width)
{
    if (ns < 0) {
        for (size_t i = 1; i < width; i++) {
            put(row, ' ');
        }
        put(row, '-');
        return;
    }
    int64_t us = ns / 1000;
    put_number(row, (uint32_t)(us / 1000000), width > 7 ? width - 7 : 0, ' ');
    put(row, '.');
    put_number(row, (uint32_t)(us % 1000000), 6, '0');
}

static void put_milliseconds(struct lw_row *row, int64_t ns, size_t width)
{
    int64_t tenths = (ns + 50000) / 100000;
    put_number(row, (uint32_t)(tenths / 10), width > 2 ? width - 2 : 0, ' ');
    put(row, '.');
    put_number(row, (uint32_t)(tenths % 10), 1, '0');
}

// In groups of so many, with blanks between them; group 0: all together. What has no room is left
// out whole.
static void put_bytes(struct lw_row *row, const uint8_t *bytes, size_t count, size_t group)
{
    char *to = row->bytes + row->count;
    size_t left = group > 0 ? group : count;
    if (row->count + 3 * count >= LW_ROW) {
        return;
    }
    for (size_t i = 0; i < count; i++) {
        if (left-- == 0) {
            *to++ = ' ';
            left = group - 1;
        }
        *to++ = hex_digits[bytes[i] >> 4];
        *to++ = hex_digits[bytes[i] & 15];
    }
    row->count = (size_t)(to - row->bytes);
}

void lw_decode_names(const struct lw_plan *plan, struct lw_decode_names *names)
{
    memset(names, 0, sizeof *names);
    for (int address = 1; plan != NULL && address <= LW_ADDRESS_MAX; address++) {
        size_t tap;
        names->known = true;
        names->entries[address] = lw_plan_by_address(plan, address, &tap);
    }
}

static const char *node_of(const struct lw_decode_names *names, uint8_t address)
{
    const struct lw_chain_entry *entry = names->entries[address];
    return entry != NULL && entry->node != NULL ? entry->node : "";
}

static uint8_t function_of(const struct lw_exchange *exchange)
{
    const struct lw_pdu *pdu = exchange->request.count > 0 ? &exchange->request : &exchange->reply;
    return (uint8_t)(pdu->count > 0 ? pdu->bytes[0] & ~LW_EXCEPTION_BIT : 0);
}

static unsigned word_at(const struct lw_pdu *pdu, size_t at)
{
    return at + 1 < pdu->count ? (unsigned)(pdu->bytes[at] << 8 | pdu->bytes[at + 1]) : 0;
}

// Registers or bits that the request names: first and how many; false when it names none.
static bool asked_range(const struct lw_pdu *request, unsigned *at, unsigned *count)
{
    switch (request->count > 0 ? request->bytes[0] : 0) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
    case LW_READ_WRITE:
        *count = word_at(request, 3);
        break;
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
    case LW_MASK_WRITE:
        *count = 1;
        break;
    default:
        return false;
    }
    *at = word_at(request, 1);
    return true;
}

static void put_asked(struct lw_row *row, const struct lw_exchange *exchange)
{
    unsigned at, count;
    const struct lw_pdu *request = &exchange->request;
    if (request->count == 0) {
        put_text(row, "not heard");
    } else if (asked_range(request, &at, &count)) {
        put_number(row, at, 0, ' ');
        if (count != 1) {
            put(row, '-');
            put_number(row, at + (count > 0 ? count - 1 : 0), 0, ' ');
        }
    } else {
        put_bytes(row, request->bytes + 1, request->count < 6 ? request->count - 1 : 5, 1);
    }
}

static void put_value(struct lw_row *row, const struct lw_register *reg,
                      const struct lw_value *value)
{
    char text[LW_VALUE_TEXT + 80];
    if (value->is_text) {
        lw_print(text, sizeof text, "%s %s", reg->name, value->text);
    } else {
        lw_print(text, sizeof text, "%s %.7g%s%s", reg->name, value->number,
                 value->unit != NULL ? " " : "", value->unit != NULL ? value->unit : "");
    }
    put_text(row, text);
}

// The registers of the profile that lie in what was read. False when none does.
static bool put_registers(struct lw_row *row, const struct lw_profile *profile,
                          const struct lw_exchange *exchange)
{
    unsigned at, count;
    bool any = false;
    if (function_of(exchange) > LW_READ_INPUT_REGISTERS ||
        !asked_range(&exchange->request, &at, &count)) {
        return false;
    }
    const struct lw_block block = {function_of(exchange), (int)at, (int)count};
    const struct lw_register *registers = profile->registers.items;
    for (size_t i = 0; i < profile->registers.count; i++) {
        struct lw_value value;
        if (registers[i].function != block.function ||
            lw_register_decode(&registers[i], &block, &exchange->reply, &value, NULL) != LW_OK) {
            continue;
        }
        put_text(row, any ? ", " : "");
        put_value(row, &registers[i], &value);
        any = true;
    }
    return any;
}

static void put_identity(struct lw_row *row, const struct lw_exchange *exchange)
{
    struct lw_identity identity = {0};
    char text[LW_OBJECT_MAX * 3 + 1];
    lw_identity_add(&identity, &exchange->request, &exchange->reply);
    for (size_t i = 0; i < identity.count; i++) {
        const struct lw_identity_object *object = &identity.objects[i];
        lw_text_clean(text, sizeof text, (const char *)identity.bytes + object->at, object->length);
        put_text(row, i > 0 ? ", " : "");
        put_text(row, text);
    }
}

// Without a profile: registers as hexadecimal words, all else as bytes.
static void put_raw(struct lw_row *row, uint8_t function, const struct lw_pdu *reply)
{
    switch (function) {
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_READ_WRITE:
        put_bytes(row, reply->bytes + 2, reply->count > 2 ? reply->count - 2 : 0, 2);
        break;
    case LW_READ_COILS:
    case LW_READ_INPUTS:
        put_bytes(row, reply->bytes + 2, reply->count > 2 ? reply->count - 2 : 0, 1);
        break;
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
        put_bytes(row, reply->bytes + 3, reply->count > 3 ? reply->count - 3 : 0, 2);
        break;
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
        break;
    default:
        put_bytes(row, reply->bytes + 1, reply->count > 1 ? reply->count - 1 : 0, 1);
    }
}

static void put_exception(struct lw_row *row, uint8_t code)
{
    const char *word = lw_exception_word(code);
    if (word != NULL) {
        put_text(row, word);
    } else {
        put_text(row, "exception ");
        put_hex(row, code);
    }
}

static void put_values(struct lw_row *row, const struct lw_decode_names *names,
                       const struct lw_exchange *exchange)
{
    uint8_t function = function_of(exchange);
    const struct lw_chain_entry *entry = names->entries[exchange->address];
    if (exchange->outcome == LW_EXCEPTION) {
        put_exception(row, exchange->exception);
    } else if (exchange->outcome == LW_ANSWERED && function == LW_ENCAPSULATED) {
        put_identity(row, exchange);
    } else if (exchange->outcome == LW_ANSWERED &&
               (entry == NULL || entry->is == NULL || !put_registers(row, entry->is, exchange))) {
        put_raw(row, function, &exchange->reply);
    }
}

static int64_t began_ns(const struct lw_exchange *exchange)
{
    return exchange->request.count > 0 ? exchange->sent_first_ns : exchange->reply_first_ns;
}

// Time from the request's end to the reply's beginning; -1: not known.
static int64_t reply_ns(const struct lw_exchange *exchange)
{
    bool known = exchange->reply.count > 0 && exchange->sent_last_ns >= 0 &&
                 exchange->reply_first_ns >= exchange->sent_last_ns;
    return known ? exchange->reply_first_ns - exchange->sent_last_ns : -1;
}

static const char *outcome_shown(const struct lw_exchange *exchange)
{
    if (exchange->address == 0 && exchange->outcome == LW_NO_ANSWER) {
        return "broadcast";
    }
    switch (exchange->outcome) {
    case LW_ANSWERED:
        return "answered";
    case LW_EXCEPTION:
        return "refused";
    case LW_NO_ANSWER:
        return "silent";
    case LW_CRC_ERROR:
        return "damaged";
    case LW_WRONG_ANSWER:
        return "wrong";
    case LW_NOT_SENT:
        break;
    }
    return "not sent";
}

// Where the columns of an exchange begin; those behind the node's move when there is no plan.
enum {
    AT_ADDRESS = 13,
    AT_NODE = 18,
    NODE_WIDTH = 11,
    AT_FUNCTION = 18,
    AT_ASKED = 21,
    AT_OUTCOME = 33,
    AT_REPLY = 43,
    AT_VALUES = 53
};

static size_t shift(const struct lw_decode_names *names)
{
    return names->known ? NODE_WIDTH : 0;
}

static void exchange_heads(struct lw_row *row, const struct lw_decode_names *names)
{
    put_text(row, "      time_s addr");
    if (names->known) {
        pad_to(row, AT_NODE);
        put_text(row, "node");
    }
    pad_to(row, AT_FUNCTION + shift(names));
    put_text(row, "fc asked");
    pad_to(row, AT_OUTCOME + shift(names));
    put_text(row, "outcome    reply_ms  values");
}

void lw_decode_heads(struct lw_row *row, const struct lw_decode_names *names, bool frames)
{
    row->count = 0;
    if (frames) {
        put_text(row, "      time_s what    addr fc  bytes");
    } else {
        exchange_heads(row, names);
    }
    end_line(row);
}

static void put_beside(struct lw_row *row, const struct lw_exchange *exchange)
{
    if (exchange->strays > 0) {
        put_text(row, "  [");
        put_number(row, exchange->strays, 0, ' ');
        put_text(row, exchange->strays == 1 ? " stray byte" : " stray bytes");
        if (exchange->late_address > 0) {
            put_text(row, ", late from ");
            put_number(row, exchange->late_address, 0, ' ');
        }
        put(row, ']');
    }
}

void lw_decode_exchange(struct lw_row *row, const struct lw_decode_names *names,
                        const struct lw_exchange *exchange)
{
    row->count = 0;
    put_seconds(row, began_ns(exchange), AT_ADDRESS - 1);
    put_number(row, exchange->address, 5, ' ');
    if (names->known) {
        pad_to(row, AT_NODE);
        put_text(row, node_of(names, exchange->address));
    }
    pad_to(row, AT_FUNCTION + shift(names));
    put_hex(row, function_of(exchange));
    pad_to(row, AT_ASKED + shift(names));
    put_asked(row, exchange);
    pad_to(row, AT_OUTCOME + shift(names));
    put_text(row, outcome_shown(exchange));
    pad_to(row, AT_REPLY + shift(names));
    if (reply_ns(exchange) >= 0) {
        put_milliseconds(row, reply_ns(exchange), 9);
    }
    pad_to(row, AT_VALUES + shift(names));
    put_values(row, names, exchange);
    put_beside(row, exchange);
    end_line(row);
}

static const char *const kinds[] = {"request", "reply", "echo", "noise"};

// Where address and function stand: an MBAP head is longer.
static size_t address_at(enum lw_adu adu)
{
    return adu == LW_ADU_MBAP ? LW_MBAP_HEAD - 1 : 0;
}

static bool has_address(const struct lw_stream_frame *frame, enum lw_adu adu)
{
    return frame->kind != LW_STREAM_NOISE && frame->count > address_at(adu) + 1;
}

void lw_decode_frame(struct lw_row *row, const struct lw_stream_frame *frame, enum lw_adu adu)
{
    row->count = 0;
    put_seconds(row, frame->first_ns, AT_ADDRESS - 1);
    put(row, ' ');
    put_text(row, kinds[frame->kind]);
    pad_to(row, 21);
    if (has_address(frame, adu)) {
        put_number(row, frame->bytes[address_at(adu)], 4, ' ');
        put(row, ' ');
        put_hex(row, frame->bytes[address_at(adu) + 1]);
    }
    pad_to(row, 30);
    put_bytes(row, frame->bytes, frame->count, 1);
    end_line(row);
}

static void put_csv_seconds(struct lw_row *row, int64_t ns)
{
    if (ns >= 0) {
        put_seconds(row, ns, 0);
    }
    put(row, ',');
}

static void put_quoted(struct lw_row *row, const struct lw_row *text)
{
    put(row, '"');
    for (size_t i = 0; i < text->count; i++) {
        put(row, text->bytes[i]);
        if (text->bytes[i] == '"') {
            put(row, '"');
        }
    }
    put(row, '"');
}

void lw_decode_csv_heads(struct lw_row *row, bool frames)
{
    row->count = 0;
    put_text(row, frames ? "time_s,what,address,function,bytes"
                         : "time_s,address,node,function,outcome,exception,reply_ms,attempt,"
                           "strays,request,reply,values");
    end_line(row);
}

void lw_decode_csv_exchange(struct lw_row *row, const struct lw_decode_names *names,
                            const struct lw_exchange *exchange)
{
    struct lw_row values = {.count = 0};
    row->count = 0;
    put_csv_seconds(row, began_ns(exchange));
    put_number(row, exchange->address, 0, ' ');
    put(row, ',');
    put_text(row, node_of(names, exchange->address));
    put(row, ',');
    put_hex(row, function_of(exchange));
    put(row, ',');
    put_text(row, lw_outcome_word(exchange->outcome));
    put(row, ',');
    put_number(row, exchange->exception, 0, ' ');
    put(row, ',');
    if (reply_ns(exchange) >= 0) {
        put_milliseconds(row, reply_ns(exchange), 0);
    }
    put(row, ',');
    put_number(row, exchange->attempt, 0, ' ');
    put(row, ',');
    put_number(row, exchange->strays, 0, ' ');
    put(row, ',');
    put_bytes(row, exchange->request.bytes, exchange->request.count, 0);
    put(row, ',');
    put_bytes(row, exchange->reply.bytes, exchange->reply.count, 0);
    put(row, ',');
    put_values(&values, names, exchange);
    put_quoted(row, &values);
    end_line(row);
}

void lw_decode_csv_frame(struct lw_row *row, const struct lw_stream_frame *frame, enum lw_adu adu)
{
    row->count = 0;
    put_csv_seconds(row, frame->first_ns);
    put_text(row, kinds[frame->kind]);
    put(row, ',');
    if (has_address(frame, adu)) {
        put_number(row, frame->bytes[address_at(adu)], 0, ' ');
        put(row, ',');
        put_hex(row, frame->bytes[address_at(adu) + 1]);
    } else {
        put(row, ',');
    }
    put(row, ',');
    put_bytes(row, frame->bytes, frame->count, 0);
    end_line(row);
}
