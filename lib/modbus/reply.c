// SPDX-License-Identifier: GPL-3.0-or-later
//
// Replies from bytes to values and back (MODBUS Application Protocol V1.1b3, section 6), and
// whether a reply is the answer to a request. As with requests, the limits stand in the parsers.
#include "modbus/pdu.h"

#include "modbus/bytes.h"

static bool parse_bits(struct reader *from, struct lw_reply *reply)
{
    size_t bytes = take_byte(from);
    if (bytes == 0 || bytes > LW_BITS_BYTES || from->left != bytes) {
        return false;
    }
    take_bytes(from, reply->bits, bytes);
    reply->count = (uint16_t)(8 * bytes);
    return true;
}

static bool parse_registers(struct reader *from, struct lw_reply *reply)
{
    size_t bytes = take_byte(from);
    if (bytes == 0 || bytes > 2 * LW_READ_REGISTERS_MAX || bytes % 2 != 0 || from->left != bytes) {
        return false;
    }
    reply->count = (uint16_t)(bytes / 2);
    take_words(from, reply->values, reply->count);
    return true;
}

static bool parse_written_one(struct reader *from, struct lw_reply *reply)
{
    reply->start = take_word(from);
    reply->value = take_word(from);
    return used_up(from);
}

static bool parse_written_many(struct reader *from, struct lw_reply *reply, unsigned most)
{
    reply->start = take_word(from);
    reply->count = take_word(from);
    return used_up(from) && reply->count > 0 && reply->count <= most;
}

static bool parse_status(struct reader *from, struct lw_reply *reply)
{
    reply->status = take_byte(from);
    return used_up(from);
}

static bool parse_diagnostics(struct reader *from, struct lw_reply *reply)
{
    reply->sub = take_word(from);
    if (from->dry || from->left < 2 || from->left % 2 != 0) {
        return false;
    }
    reply->count = (uint16_t)(from->left / 2);
    take_words(from, reply->values, reply->count);
    return reply->sub == LW_DIAGNOSTICS_ECHO || reply->count == 1;
}

static bool parse_event_counter(struct reader *from, struct lw_reply *reply)
{
    reply->event_status = take_word(from);
    reply->event_count = take_word(from);
    return used_up(from);
}

static bool parse_event_log(struct reader *from, struct lw_reply *reply)
{
    size_t bytes = take_byte(from);
    if (from->left != bytes || bytes < 6 || bytes > 6 + LW_EVENTS_MAX) {
        return false;
    }
    reply->event_status = take_word(from);
    reply->event_count = take_word(from);
    reply->message_count = take_word(from);
    reply->byte_count = (uint8_t)from->left;
    take_bytes(from, reply->bytes, reply->byte_count);
    return true;
}

static void take_rest(struct reader *from, struct lw_reply *reply)
{
    reply->byte_count = (uint8_t)from->left;
    take_bytes(from, reply->bytes, reply->byte_count);
}

static bool parse_id(struct reader *from, struct lw_reply *reply)
{
    size_t bytes = take_byte(from);
    bool counted = from->left == bytes || from->left == bytes + 1;
    if (from->left == 0 || !counted) {
        return false;
    }
    take_rest(from, reply);
    return true;
}

static bool parse_file_read(struct reader *from, struct lw_reply *reply)
{
    size_t bytes = take_byte(from), words = 0;
    if (from->left != bytes || bytes == 0 || bytes > 0xF5) {
        return false;
    }
    while (from->left > 0) {
        size_t length = take_byte(from);
        uint8_t kind = take_byte(from);
        size_t count = length / 2;
        if (kind != 6 || length % 2 != 1 || length == 1 || from->left < 2 * count ||
            reply->part_count == LW_FILE_PARTS_MAX) {
            return false;
        }
        take_words(from, reply->values + words, count);
        reply->parts[reply->part_count++] = (struct lw_file_part){.count = (uint16_t)count};
        words += count;
    }
    return true;
}

// 0x15 answers with the request itself, so its parser is the request's.
static bool parse_file_written(const struct lw_pdu *pdu, struct lw_reply *reply)
{
    struct lw_request same;
    if (lw_request_parse(pdu, &same) != 0) {
        return false;
    }
    reply->part_count = same.part_count;
    memcpy(reply->parts, same.parts, sizeof same.parts);
    memcpy(reply->values, same.values, sizeof same.values);
    return true;
}

static bool parse_masked(struct reader *from, struct lw_reply *reply)
{
    reply->start = take_word(from);
    reply->and_mask = take_word(from);
    reply->or_mask = take_word(from);
    return used_up(from);
}

static bool parse_fifo(struct reader *from, struct lw_reply *reply)
{
    size_t bytes = take_word(from);
    if (from->left != bytes) {
        return false;
    }
    reply->count = take_word(from);
    if (from->dry || reply->count > LW_FIFO_MAX || from->left != 2u * reply->count) {
        return false;
    }
    take_words(from, reply->values, reply->count);
    return true;
}

// MEI 0x0E has type, read code, conformity, more follows, next object and number of objects.
static bool parse_encapsulated(struct reader *from, struct lw_reply *reply)
{
    if (from->left == 0 || (from->bytes[0] == LW_MEI_IDENTITY && from->left < 6)) {
        return false;
    }
    take_rest(from, reply);
    return true;
}

static bool parse_known(struct reader *from, const struct lw_pdu *pdu, struct lw_reply *reply)
{
    switch (reply->function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
        return parse_bits(from, reply);
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_READ_WRITE:
        return parse_registers(from, reply);
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
        return parse_written_one(from, reply);
    case LW_READ_EXCEPTION_STATUS:
        return parse_status(from, reply);
    case LW_DIAGNOSTICS:
        return parse_diagnostics(from, reply);
    case LW_EVENT_COUNTER:
        return parse_event_counter(from, reply);
    case LW_EVENT_LOG:
        return parse_event_log(from, reply);
    case LW_WRITE_COILS:
        return parse_written_many(from, reply, LW_WRITE_BITS_MAX);
    case LW_WRITE_REGISTERS:
        return parse_written_many(from, reply, LW_WRITE_REGISTERS_MAX);
    case LW_REPORT_ID:
        return parse_id(from, reply);
    case LW_READ_FILE:
        return parse_file_read(from, reply);
    case LW_WRITE_FILE:
        return parse_file_written(pdu, reply);
    case LW_MASK_WRITE:
        return parse_masked(from, reply);
    case LW_READ_FIFO:
        return parse_fifo(from, reply);
    case LW_ENCAPSULATED:
        return parse_encapsulated(from, reply);
    default:
        take_rest(from, reply);
        return true;
    }
}

static bool parse_alone(const struct lw_pdu *pdu, struct lw_reply *reply)
{
    struct reader from = {.bytes = pdu->bytes, .left = pdu->count};
    uint8_t function = take_byte(&from);
    memset(reply, 0, offsetof(struct lw_reply, parts));
    reply->function = function & 0x7F;
    if (reply->function == 0) {
        return false;
    }
    if (function & LW_EXCEPTION_BIT) {
        reply->exception = take_byte(&from);
        return used_up(&from) && reply->exception != 0;
    }
    return parse_known(&from, pdu, reply);
}

// The first `count` bytes of request and reply agree.
static bool echoes(const struct lw_pdu *request, const struct lw_pdu *pdu, size_t count)
{
    return request->count >= count && pdu->count >= count &&
           memcmp(request->bytes, pdu->bytes, count) == 0;
}

static bool same_parts(const struct lw_request *asked, const struct lw_reply *reply)
{
    bool same = asked->part_count == reply->part_count;
    for (size_t i = 0; same && i < asked->part_count; i++) {
        same = asked->parts[i].count == reply->parts[i].count;
    }
    return same;
}

static bool fits(const struct lw_pdu *request, const struct lw_request *asked,
                 const struct lw_pdu *pdu, struct lw_reply *reply)
{
    switch (asked->function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
        if (reply->count != 8 * ((asked->count + 7) / 8)) {
            return false;
        }
        reply->count = asked->count;
        return true;
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_READ_WRITE:
        return reply->count == asked->count;
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
        return echoes(request, pdu, 5);
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
    case LW_WRITE_FILE:
    case LW_MASK_WRITE:
        return pdu->count == request->count && echoes(request, pdu, pdu->count);
    case LW_DIAGNOSTICS:
        return reply->sub == asked->sub &&
               (asked->sub != LW_DIAGNOSTICS_ECHO ||
                (pdu->count == request->count && echoes(request, pdu, pdu->count)));
    case LW_READ_FILE:
        return same_parts(asked, reply);
    case LW_ENCAPSULATED:
        return echoes(request, pdu, 3);
    default:
        return true;
    }
}

bool lw_reply_parse(const struct lw_pdu *request, const struct lw_pdu *pdu, struct lw_reply *reply)
{
    struct lw_request asked;
    if (!parse_alone(pdu, reply)) {
        return false;
    }
    if (request != NULL) {
        if (request->count == 0 || request->bytes[0] != reply->function) {
            return false;
        }
        bool judged = reply->exception == 0 && lw_request_parse(request, &asked) == 0;
        if (judged && !fits(request, &asked, pdu, reply)) {
            return false;
        }
    }
    return true;
}

static void build_bits(struct writer *to, const struct lw_reply *reply)
{
    size_t bytes = (reply->count + 7u) / 8;
    if (bytes > LW_BITS_BYTES) {
        to->over = true;
        return;
    }
    put_byte(to, (uint8_t)bytes);
    put_bytes(to, reply->bits, bytes);
}

static void build_event_log(struct writer *to, const struct lw_reply *reply)
{
    put_byte(to, (uint8_t)(6 + reply->byte_count));
    put_word(to, reply->event_status);
    put_word(to, reply->event_count);
    put_word(to, reply->message_count);
    put_bytes(to, reply->bytes, reply->byte_count);
}

// 0x14 repeats a length and the reference type before each part, 0x15 the whole head.
static void put_part_head(struct writer *to, uint8_t function, const struct lw_file_part *part)
{
    if (function == LW_READ_FILE) {
        put_byte(to, (uint8_t)(2 * part->count + 1));
        put_byte(to, 6);
        return;
    }
    put_part(to, part);
}

static void build_file(struct writer *to, const struct lw_reply *reply)
{
    size_t words = 0;
    put_byte(to, 0);
    for (size_t i = 0; i < reply->part_count && i < LW_FILE_PARTS_MAX; i++) {
        const struct lw_file_part *part = &reply->parts[i];
        put_part_head(to, reply->function, part);
        if (words + part->count > LW_READ_REGISTERS_MAX) {
            to->over = true;
            return;
        }
        put_words(to, reply->values + words, part->count);
        words += part->count;
    }
    to->pdu->bytes[1] = (uint8_t)(to->pdu->count - 2);
}

static void build_fifo(struct writer *to, const struct lw_reply *reply)
{
    put_word(to, (uint16_t)(2 + 2 * reply->count));
    put_word(to, reply->count);
    put_values(to, reply->values, reply->count);
}

static void build_known(struct writer *to, const struct lw_reply *reply)
{
    switch (reply->function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
        build_bits(to, reply);
        return;
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_READ_WRITE:
        put_byte(to, (uint8_t)(2 * reply->count));
        put_values(to, reply->values, reply->count);
        return;
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
        put_word(to, reply->start);
        put_word(to, reply->value);
        return;
    case LW_READ_EXCEPTION_STATUS:
        put_byte(to, reply->status);
        return;
    case LW_DIAGNOSTICS:
        put_word(to, reply->sub);
        put_values(to, reply->values, reply->count);
        return;
    case LW_EVENT_COUNTER:
        put_word(to, reply->event_status);
        put_word(to, reply->event_count);
        return;
    case LW_EVENT_LOG:
        build_event_log(to, reply);
        return;
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
        put_word(to, reply->start);
        put_word(to, reply->count);
        return;
    case LW_REPORT_ID:
        put_byte(to, reply->byte_count);
        put_bytes(to, reply->bytes, reply->byte_count);
        return;
    case LW_READ_FILE:
    case LW_WRITE_FILE:
        build_file(to, reply);
        return;
    case LW_MASK_WRITE:
        put_word(to, reply->start);
        put_word(to, reply->and_mask);
        put_word(to, reply->or_mask);
        return;
    case LW_READ_FIFO:
        build_fifo(to, reply);
        return;
    default:
        put_bytes(to, reply->bytes, reply->byte_count);
        return;
    }
}

bool lw_reply_build(const struct lw_reply *reply, struct lw_pdu *pdu)
{
    struct lw_reply again;
    struct writer to = {.pdu = pdu};
    pdu->count = 0;
    if (reply->exception != 0) {
        put_byte(&to, reply->function | LW_EXCEPTION_BIT);
        put_byte(&to, reply->exception);
    } else {
        put_byte(&to, reply->function);
        build_known(&to, reply);
    }
    if (to.over || !parse_alone(pdu, &again)) {
        pdu->count = 0;
        return false;
    }
    return true;
}
