// SPDX-License-Identifier: GPL-3.0-or-later
//
// Pictures on their way into a visit: what a camera writes into them beside the picture, position
// and owner first of all, is left behind. And on their way into a report: how large they are. Pure:
// bytes in, bytes out; the picture itself is copied bit by bit, never decoded.
//
// Sources: JPEG segments as in ITU-T T.81, annex B; Exif tags as in CIPA DC-008 (DateTimeOriginal,
// OffsetTimeOriginal, Orientation); PNG chunks as in W3C PNG (Third Edition), 5 and annex D.
#ifndef LW_CHECK_PHOTO_H
#define LW_CHECK_PHOTO_H

#include "base/error.h"
#include "base/text.h"

#include <stdbool.h>

struct lw_photo {
    struct lw_text bytes; // what is to be kept; the caller's to finish
    const char *ending;   // "jpg", "png"
    char taken[20];       // by the camera's clock, "2026-11-25 09:12:00"; empty: it does not
                          // say
    char offset[7];       // "+01:00" of that clock; empty: it does not say
};

// JPEG: application segments and comments go, but for the colour profile (APP2) and Adobe's colour
// transform (APP14); which way up the picture stands is written anew. PNG: texts, times and Exif
// go. LW_BAD_FILE for HEIC (it would have to be written anew: save it as JPEG), for what is no
// picture and for one that ends too early. LW_MEMORY. `name` is for messages.
enum lw_status lw_photo_clean(const char *bytes, size_t length, const char *name,
                              struct lw_photo *photo, struct lw_error *error);

// What a picture says of itself before its first scan.
struct lw_photo_frame {
    bool png;
    int width_px, height_px; // as stored, above 0
    int components;          // JPEG: 1 grey, 3 colour; PNG: 0
    int orientation;         // 1..8 (CIPA DC-008), 1: as stored
};

// Reads the frame of a whole picture that all readers show alike: JPEG as baseline, extended or
// progressive Huffman with 8 bits (SOF0 to SOF2) in grey or colour, PNG with sound check sums.
// LW_BAD_FILE for what is damaged, ends too early or is coded otherwise (print colours among them:
// some readers take them inverted, others not); *frame is then unspecified. What lies between the
// first scan of a JPEG and its end is not looked at. `name` is for messages.
enum lw_status lw_photo_measure(const char *bytes, size_t length, const char *name,
                                struct lw_photo_frame *frame, struct lw_error *error);

#endif
