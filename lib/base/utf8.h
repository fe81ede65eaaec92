// SPDX-License-Identifier: GPL-3.0-or-later
//
// UTF-8 as RFC 3629 defines it: no overlong forms, no surrogates, nothing above U+10FFFF. One
// decoder for all who look at text from outside, so that they agree on what is valid.
#ifndef LW_BASE_UTF8_H
#define LW_BASE_UTF8_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

// Decodes the character at the start of `bytes`. Returns its length (1..4), or 0 when count is 0 or
// no valid character stands there; *code is set on success only.
size_t lw_utf8_next(const char *bytes, size_t count, uint32_t *code);

// Encodes a code point (no surrogate, at most U+10FFFF) and returns its length; not terminated.
size_t lw_utf8_encode(uint32_t code, char to[4]);

// The longest length <= count at which text whose first `count` bytes are kept ends with a whole
// character: a sequence that lost its tail is left out, bytes invalid for another reason stay.
size_t lw_utf8_whole(const char *bytes, size_t count);

// True for characters that would move a cursor, hide text or turn its direction: C0, DEL, C1, line
// and paragraph separator, and those with Unicode's property Bidi_Control.
bool lw_utf8_control(uint32_t code);

bool lw_utf8_valid(const char *bytes, size_t count);

#endif
