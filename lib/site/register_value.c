// SPDX-License-Identifier: GPL-3.0-or-later
//
// One register between raw words and a value. Words are big-endian on the wire; which of two comes
// first is the profile's to say. Serials keep all their digits as text; dates become days.
#include "site/registers.h"

#include "base/clock.h"
#include "base/text.h"

#include <assert.h>
#include <math.h>
#include <string.h>

// Days that nanoseconds in 64 bits can tell from 1970, and then some less.
enum { DAYS_MOST = 100000 };
static const int64_t day_ns = INT64_C(86400) * 1000000000;

// The raw bits of a register out of a reply's data; false when the reply is too short.
static bool raw_words(const struct lw_register *reg, const struct lw_block *block,
                      const struct lw_pdu *reply, uint16_t *words)
{
    size_t first = 2 + 2 * (size_t)(reg->at - block->at);
    size_t count = lw_register_words(reg);
    if (reply->count < 2 || first + 2 * count > reply->count ||
        reply->bytes[1] != 2 * block->count) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        words[i] = (uint16_t)(reply->bytes[first + 2 * i] << 8 | reply->bytes[first + 2 * i + 1]);
    }
    return true;
}

static bool raw_bit(const struct lw_register *reg, const struct lw_block *block,
                    const struct lw_pdu *reply, uint16_t *bit)
{
    size_t offset = (size_t)(reg->at - block->at);
    if (reply->count < 2 || 2 + offset / 8 >= reply->count ||
        reply->bytes[1] != (block->count + 7) / 8) {
        return false;
    }
    *bit = (uint16_t)(reply->bytes[2 + offset / 8] >> (offset % 8) & 1);
    return true;
}

static uint32_t joined(const struct lw_register *reg, const uint16_t *words)
{
    if (lw_register_words(reg) == 1) {
        return words[0];
    }
    bool high_first = reg->word_order == LW_HIGH_FIRST;
    return (uint32_t)words[high_first ? 0 : 1] << 16 | words[high_first ? 1 : 0];
}

static double plain_number(const struct lw_register *reg, uint32_t raw)
{
    float real;
    switch ((enum lw_register_type)reg->type) {
    case LW_I16:
        return raw < 0x8000 ? raw : raw - 65536.0;
    case LW_I32:
        return raw < 0x80000000 ? raw : raw - 4294967296.0;
    case LW_F32:
        memcpy(&real, &raw, sizeof real);
        return (double)real;
    case LW_U16:
    case LW_U32:
    case LW_BIT:
    case LW_REGISTER_TEXT:
        return raw;
    }
    return raw;
}

// Decimal digits, one in four bits; NAN when one is above 9.
static double bcd_number(uint32_t raw)
{
    double value = 0;
    for (int shift = 28; shift >= 0; shift -= 4) {
        unsigned digit = raw >> shift & 15;
        if (digit > 9) {
            return NAN;
        }
        value = 10 * value + digit;
    }
    return value;
}

// 20261125 as days since 1970-01-01; NAN when it is no date.
static double date_days(uint32_t raw)
{
    char text[LW_TIME_TEXT];
    int64_t utc_ns;
    lw_print(text, sizeof text, "%04u-%02u-%02u", raw / 10000, raw / 100 % 100, raw % 100);
    if (lw_time_parse(text, &utc_ns) != 0) {
        return NAN;
    }
    return (double)lw_time_days(utc_ns);
}

static double encoded_number(const struct lw_register *reg, uint32_t raw)
{
    switch ((enum lw_encoding)reg->encoding) {
    case LW_YYYYMMDD:
        return date_days(raw);
    case LW_BCD:
        return bcd_number(raw);
    case LW_DAYS_SINCE_1970:
    case LW_ENCODING_PLAIN:
        return plain_number(reg, raw);
    }
    return NAN;
}

static bool is_date(const struct lw_register *reg)
{
    return reg->encoding == LW_DAYS_SINCE_1970 || reg->encoding == LW_YYYYMMDD;
}

// A whole number as people and labels write it, with scale 1; a date as 2026-11-25.
static void number_text(const struct lw_register *reg, double number, char text[LW_VALUE_TEXT])
{
    if (is_date(reg) && fabs(number) < DAYS_MOST) {
        char whole[LW_TIME_TEXT];
        lw_time_format((int64_t)number * day_ns, 0, whole);
        lw_print(text, LW_VALUE_TEXT, "%.10s", whole);
    } else if (number == floor(number) && fabs(number) < 1e15) {
        lw_print(text, LW_VALUE_TEXT, "%.0f", number);
    } else {
        lw_print(text, LW_VALUE_TEXT, "%.9g", number);
    }
}

// Text registers hold two characters each; trailing blanks and zeros are padding.
static void text_value(const struct lw_register *reg, const uint16_t *words, struct lw_value *value)
{
    char bytes[2 * 128];
    size_t length = (size_t)reg->length;
    for (size_t i = 0; i < length; i++) {
        uint16_t word = words[i / 2];
        bytes[i] = (char)(i % 2 == 0 ? word >> 8 : word & 0xff);
    }
    const char *end = memchr(bytes, '\0', length);
    length = end ? (size_t)(end - bytes) : length;
    while (length > 0 && bytes[length - 1] == ' ') {
        length--;
    }
    value->is_text = true;
    value->number = NAN;
    lw_text_clean(value->text, sizeof value->text, bytes, length);
}

enum lw_status lw_register_decode(const struct lw_register *reg, const struct lw_block *block,
                                  const struct lw_pdu *reply, struct lw_value *value,
                                  struct lw_error *error)
{
    uint16_t words[128] = {0};
    size_t count = lw_register_words(reg);
    *value = (struct lw_value){.unit = reg->unit};
    if (reg->function != block->function || reg->at < block->at ||
        reg->at + (int)count > block->at + block->count) {
        return lw_fail(error, LW_USAGE, "register %d is not in the block", reg->at);
    }
    if (reg->type == LW_BIT ? !raw_bit(reg, block, reply, words)
                            : !raw_words(reg, block, reply, words)) {
        return lw_fail(error, LW_GARBLED, "the reply is too short for register %d", reg->at);
    }
    if (reg->type == LW_REGISTER_TEXT) {
        text_value(reg, words, value);
        return LW_OK;
    }
    double number = encoded_number(reg, joined(reg, words)) * reg->scale + reg->offset;
    if (!isfinite(number)) {
        return lw_fail(error, LW_GARBLED, "register %d holds no number that makes sense", reg->at);
    }
    value->number = number;
    number_text(reg, number, value->text);
    return LW_OK;
}

static uint32_t bcd_raw(double number)
{
    uint32_t raw = 0;
    uint64_t rest = number > 0 ? (uint64_t)number : 0;
    for (int shift = 0; shift < 32; shift += 4) {
        raw |= (uint32_t)(rest % 10) << shift;
        rest /= 10;
    }
    return raw;
}

static uint32_t date_raw(double days)
{
    char text[LW_TIME_TEXT];
    uint32_t raw = 0;
    if (!(fabs(days) < DAYS_MOST)) {
        return 0;
    }
    lw_time_format((int64_t)days * day_ns, 0, text);
    for (const char *at = text; *at != 'T' && *at != '\0'; at++) {
        raw = *at == '-' ? raw : 10 * raw + (uint32_t)(*at - '0');
    }
    return raw;
}

// Rounded and held at the ends of what the type can say.
static uint32_t whole_raw(double number, double low, double high)
{
    double held = isnan(number) ? 0 : fmin(fmax(nearbyint(number), low), high);
    return (uint32_t)(int64_t)held;
}

static uint32_t raw_of(const struct lw_register *reg, double number)
{
    float real = (float)number;
    uint32_t raw;
    if (reg->encoding == LW_BCD) {
        return bcd_raw(number);
    }
    if (reg->encoding == LW_YYYYMMDD) {
        return date_raw(number);
    }
    switch ((enum lw_register_type)reg->type) {
    case LW_I16:
        return whole_raw(number, -32768, 32767) & 0xffff;
    case LW_I32:
        return whole_raw(number, -2147483648.0, 2147483647.0);
    case LW_F32:
        memcpy(&raw, &real, sizeof raw);
        return raw;
    case LW_BIT:
        return number != 0;
    case LW_U16:
        return whole_raw(number, 0, 65535);
    case LW_U32:
    case LW_REGISTER_TEXT:
        return whole_raw(number, 0, 4294967295.0);
    }
    return 0;
}

static void text_words(const struct lw_register *reg, const char *text, uint16_t *words)
{
    size_t length = text ? strlen(text) : 0;
    for (size_t i = 0; i < lw_register_words(reg); i++) {
        uint8_t high = 2 * i < length ? (uint8_t)text[2 * i] : 0;
        uint8_t low = 2 * i + 1 < length ? (uint8_t)text[2 * i + 1] : 0;
        words[i] = (uint16_t)(high << 8 | low);
    }
}

size_t lw_register_encode(const struct lw_register *reg, double number, const char *text,
                          uint16_t *words, size_t room)
{
    size_t count = lw_register_words(reg);
    assert(count <= room);
    if (count > room) {
        return 0;
    }
    if (reg->type == LW_REGISTER_TEXT) {
        text_words(reg, text, words);
        return count;
    }
    uint32_t raw = raw_of(reg, (number - reg->offset) / reg->scale);
    bool high_first = reg->word_order == LW_HIGH_FIRST;
    words[0] = (uint16_t)(count == 1 || !high_first ? raw : raw >> 16);
    if (count == 2) {
        words[1] = (uint16_t)(high_first ? raw : raw >> 16);
    }
    return count;
}
