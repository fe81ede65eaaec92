// SPDX-License-Identifier: GPL-3.0-or-later
//
// The UTF-8 decoder and encoder. The valid range of the second byte depends on the first (RFC 3629
// section 4), which is what keeps overlong forms and surrogates out.
#include "base/utf8.h"

#include <assert.h>

static size_t length_of_lead(unsigned char lead)
{
    if (lead < 0x80) {
        return 1;
    }
    if (lead >= 0xc2 && lead <= 0xdf) {
        return 2;
    }
    if (lead >= 0xe0 && lead <= 0xef) {
        return 3;
    }
    return lead >= 0xf0 && lead <= 0xf4 ? 4 : 0;
}

static bool second_fits(unsigned char lead, unsigned char second)
{
    unsigned char low = lead == 0xe0 ? 0xa0 : lead == 0xf0 ? 0x90 : 0x80;
    unsigned char high = lead == 0xed ? 0x9f : lead == 0xf4 ? 0x8f : 0xbf;
    return second >= low && second <= high;
}

size_t lw_utf8_next(const char *bytes, size_t count, uint32_t *code)
{
    if (count == 0) {
        return 0;
    }
    unsigned char lead = (unsigned char)bytes[0];
    size_t length = length_of_lead(lead);
    if (length == 0 || length > count) {
        return 0;
    }
    uint32_t value = length == 1 ? lead : lead & (0x7fU >> length);
    for (size_t i = 1; i < length; i++) {
        unsigned char next = (unsigned char)bytes[i];
        if (i == 1 ? !second_fits(lead, next) : (next & 0xc0) != 0x80) {
            return 0;
        }
        value = value << 6 | (next & 0x3fU);
    }
    *code = value;
    return length;
}

size_t lw_utf8_encode(uint32_t code, char to[4])
{
    assert(code <= 0x10ffff && (code < 0xd800 || code > 0xdfff));
    if (code < 0x80) {
        to[0] = (char)code;
        return 1;
    }
    size_t length = code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
    for (size_t i = length - 1; i > 0; i--) {
        to[i] = (char)(0x80 | (code & 0x3f));
        code >>= 6;
    }
    to[0] = (char)((0xf00U >> length & 0xf0) | code);
    return length;
}

size_t lw_utf8_whole(const char *bytes, size_t count)
{
    for (size_t back = 1; back <= 3 && back <= count; back++) {
        unsigned char byte = (unsigned char)bytes[count - back];
        if ((byte & 0xc0) == 0x80) {
            continue;
        }
        return length_of_lead(byte) > back ? count - back : count;
    }
    return count;
}

bool lw_utf8_control(uint32_t code)
{
    return code < 0x20 || (code >= 0x7f && code <= 0x9f) || code == 0x061c || code == 0x200e ||
           code == 0x200f || (code >= 0x2028 && code <= 0x202e) ||
           (code >= 0x2066 && code <= 0x2069);
}

bool lw_utf8_valid(const char *bytes, size_t count)
{
    uint32_t code;
    while (count > 0) {
        size_t length = lw_utf8_next(bytes, count, &code);
        if (length == 0) {
            return false;
        }
        bytes += length;
        count -= length;
    }
    return true;
}
