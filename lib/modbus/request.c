// SPDX-License-Identifier: GPL-3.0-or-later
//
// Requests from bytes to values and back (MODBUS Application Protocol V1.1b3, section 6). The
// limits stand in the parsers alone: a request is built by writing it and then reading it again.
#include "modbus/pdu.h"

#include "modbus/bytes.h"

static uint8_t range_check(unsigned start, unsigned count, unsigned most)
{
    if (count == 0 || count > most) {
        return LW_ILLEGAL_VALUE;
    }
    return start + count > 0x10000 ? LW_ILLEGAL_ADDRESS : 0;
}

static uint8_t parse_read(struct reader *from, struct lw_request *request, unsigned most)
{
    request->start = take_word(from);
    request->count = take_word(from);
    return used_up(from) ? range_check(request->start, request->count, most) : LW_ILLEGAL_VALUE;
}

static uint8_t parse_write_one(struct reader *from, struct lw_request *request)
{
    request->start = take_word(from);
    request->value = take_word(from);
    bool coil = request->function == LW_WRITE_COIL;
    if (!used_up(from) || (coil && request->value != 0x0000 && request->value != 0xFF00)) {
        return LW_ILLEGAL_VALUE;
    }
    return 0;
}

static uint8_t parse_bare(struct reader *from)
{
    return used_up(from) ? 0 : LW_ILLEGAL_VALUE;
}

static uint8_t parse_diagnostics(struct reader *from, struct lw_request *request)
{
    request->sub = take_word(from);
    if (from->dry || from->left < 2 || from->left % 2 != 0) {
        return LW_ILLEGAL_VALUE;
    }
    request->count = (uint16_t)(from->left / 2);
    if (request->sub != LW_DIAGNOSTICS_ECHO && request->count != 1) {
        return LW_ILLEGAL_VALUE;
    }
    take_words(from, request->values, request->count);
    return 0;
}

static uint8_t parse_write_coils(struct reader *from, struct lw_request *request)
{
    request->start = take_word(from);
    request->count = take_word(from);
    size_t bytes = take_byte(from);
    if (from->left != bytes || bytes != (request->count + 7u) / 8) {
        return LW_ILLEGAL_VALUE;
    }
    uint8_t wrong = range_check(request->start, request->count, LW_WRITE_BITS_MAX);
    if (wrong == 0) {
        take_bytes(from, request->bits, bytes);
    }
    return wrong;
}

// The tail that 0x10 and 0x17 share: a byte count and as many registers.
static uint8_t parse_values(struct reader *from, uint16_t *values, unsigned start, unsigned count,
                            unsigned most)
{
    size_t bytes = take_byte(from);
    if (from->left != bytes || bytes != 2 * count) {
        return LW_ILLEGAL_VALUE;
    }
    uint8_t wrong = range_check(start, count, most);
    if (wrong == 0) {
        take_words(from, values, count);
    }
    return wrong;
}

static uint8_t parse_write_registers(struct reader *from, struct lw_request *request)
{
    request->start = take_word(from);
    request->count = take_word(from);
    return parse_values(from, request->values, request->start, request->count,
                        LW_WRITE_REGISTERS_MAX);
}

static uint8_t parse_read_write(struct reader *from, struct lw_request *request)
{
    request->start = take_word(from);
    request->count = take_word(from);
    request->write_start = take_word(from);
    request->write_count = take_word(from);
    uint8_t wrong = range_check(request->start, request->count, LW_READ_REGISTERS_MAX);
    if (wrong == LW_ILLEGAL_VALUE) {
        return wrong;
    }
    uint8_t wrong_write = parse_values(from, request->values, request->write_start,
                                       request->write_count, LW_READ_WRITE_MAX);
    return wrong_write != 0 ? wrong_write : wrong;
}

static uint8_t parse_mask_write(struct reader *from, struct lw_request *request)
{
    request->start = take_word(from);
    request->and_mask = take_word(from);
    request->or_mask = take_word(from);
    return used_up(from) ? 0 : LW_ILLEGAL_VALUE;
}

// One part's head: reference type 6, file, record, registers. False when there is no such part.
static bool take_part(struct reader *from, struct lw_file_part *part)
{
    uint8_t kind = take_byte(from);
    part->file = take_word(from);
    part->record = take_word(from);
    part->count = take_word(from);
    return kind == 6 && part->file > 0 && part->record <= LW_FILE_RECORD_MAX && part->count > 0;
}

static uint8_t parse_read_file(struct reader *from, struct lw_request *request)
{
    size_t bytes = take_byte(from);
    if (from->left != bytes || bytes == 0 || bytes % 7 != 0 || bytes > 0xF5) {
        return LW_ILLEGAL_VALUE;
    }
    while (from->left > 0) {
        if (!take_part(from, &request->parts[request->part_count++])) {
            return LW_ILLEGAL_ADDRESS;
        }
    }
    return 0;
}

static uint8_t parse_write_file(struct reader *from, struct lw_request *request)
{
    size_t bytes = take_byte(from), words = 0;
    if (from->left != bytes || bytes < 9 || bytes > 0xFB) {
        return LW_ILLEGAL_VALUE;
    }
    while (from->left > 0) {
        struct lw_file_part *part = &request->parts[request->part_count++];
        bool known = take_part(from, part);
        if (from->dry || from->left < 2u * part->count) {
            return LW_ILLEGAL_VALUE;
        }
        if (!known) {
            return LW_ILLEGAL_ADDRESS;
        }
        take_words(from, request->values + words, part->count);
        words += part->count;
    }
    return 0;
}

static uint8_t parse_fifo(struct reader *from, struct lw_request *request)
{
    request->start = take_word(from);
    return used_up(from) ? 0 : LW_ILLEGAL_VALUE;
}

static uint8_t parse_identity(struct reader *from, struct lw_request *request)
{
    if (take_byte(from) != LW_MEI_IDENTITY) {
        return LW_ILLEGAL_FUNCTION;
    }
    request->read_code = take_byte(from);
    request->object = take_byte(from);
    bool known = request->read_code >= 1 && request->read_code <= 4;
    return used_up(from) && known ? 0 : LW_ILLEGAL_VALUE;
}

static uint8_t parse_known(struct reader *from, struct lw_request *request)
{
    switch (request->function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
        return parse_read(from, request, LW_READ_BITS_MAX);
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
        return parse_read(from, request, LW_READ_REGISTERS_MAX);
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
        return parse_write_one(from, request);
    case LW_READ_EXCEPTION_STATUS:
    case LW_EVENT_COUNTER:
    case LW_EVENT_LOG:
    case LW_REPORT_ID:
        return parse_bare(from);
    case LW_DIAGNOSTICS:
        return parse_diagnostics(from, request);
    case LW_WRITE_COILS:
        return parse_write_coils(from, request);
    case LW_WRITE_REGISTERS:
        return parse_write_registers(from, request);
    case LW_READ_FILE:
        return parse_read_file(from, request);
    case LW_WRITE_FILE:
        return parse_write_file(from, request);
    case LW_MASK_WRITE:
        return parse_mask_write(from, request);
    case LW_READ_WRITE:
        return parse_read_write(from, request);
    case LW_READ_FIFO:
        return parse_fifo(from, request);
    case LW_ENCAPSULATED:
        return parse_identity(from, request);
    default:
        return LW_ILLEGAL_FUNCTION;
    }
}

uint8_t lw_request_parse(const struct lw_pdu *pdu, struct lw_request *request)
{
    struct reader from = {.bytes = pdu->bytes, .left = pdu->count};
    memset(request, 0, offsetof(struct lw_request, parts));
    request->function = take_byte(&from);
    return parse_known(&from, request);
}

static void build_write_coils(struct writer *to, const struct lw_request *request)
{
    size_t bytes = (request->count + 7u) / 8;
    put_word(to, request->start);
    put_word(to, request->count);
    if (bytes > LW_BITS_BYTES) {
        to->over = true;
        return;
    }
    put_byte(to, (uint8_t)bytes);
    put_bytes(to, request->bits, bytes);
}

static void build_read_write(struct writer *to, const struct lw_request *request)
{
    put_word(to, request->start);
    put_word(to, request->count);
    put_word(to, request->write_start);
    put_word(to, request->write_count);
    put_byte(to, (uint8_t)(2 * request->write_count));
    put_values(to, request->values, request->write_count);
}

static void build_file(struct writer *to, const struct lw_request *request)
{
    size_t words = 0;
    put_byte(to, 0);
    for (size_t i = 0; i < request->part_count && i < LW_FILE_PARTS_MAX; i++) {
        const struct lw_file_part *part = &request->parts[i];
        put_part(to, part);
        if (request->function == LW_WRITE_FILE) {
            if (words + part->count > LW_READ_REGISTERS_MAX) {
                to->over = true;
                return;
            }
            put_words(to, request->values + words, part->count);
            words += part->count;
        }
    }
    to->pdu->bytes[1] = (uint8_t)(to->pdu->count - 2);
}

static void build_known(struct writer *to, const struct lw_request *request)
{
    switch (request->function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
        put_word(to, request->start);
        put_word(to, request->count);
        return;
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
        put_word(to, request->start);
        put_word(to, request->value);
        return;
    case LW_DIAGNOSTICS:
        put_word(to, request->sub);
        put_values(to, request->values, request->count);
        return;
    case LW_WRITE_COILS:
        build_write_coils(to, request);
        return;
    case LW_WRITE_REGISTERS:
        put_word(to, request->start);
        put_word(to, request->count);
        put_byte(to, (uint8_t)(2 * request->count));
        put_values(to, request->values, request->count);
        return;
    case LW_READ_FILE:
    case LW_WRITE_FILE:
        build_file(to, request);
        return;
    case LW_MASK_WRITE:
        put_word(to, request->start);
        put_word(to, request->and_mask);
        put_word(to, request->or_mask);
        return;
    case LW_READ_WRITE:
        build_read_write(to, request);
        return;
    case LW_READ_FIFO:
        put_word(to, request->start);
        return;
    case LW_ENCAPSULATED:
        put_byte(to, LW_MEI_IDENTITY);
        put_byte(to, request->read_code);
        put_byte(to, request->object);
        return;
    default:
        return;
    }
}

bool lw_request_build(const struct lw_request *request, struct lw_pdu *pdu)
{
    struct lw_request again;
    struct writer to = {.pdu = pdu};
    pdu->count = 0;
    put_byte(&to, request->function);
    build_known(&to, request);
    if (to.over || lw_request_parse(pdu, &again) != 0) {
        pdu->count = 0;
        return false;
    }
    return true;
}
