// SPDX-License-Identifier: GPL-3.0-or-later
//
// Sentences that stand in records, in the reader's language. A record is written once and in
// English, with its values in the sentences; a report made from it later may be in another
// language. The catalogue of translations (a GNU gettext .mo file) is also the list of patterns: a
// sentence that fits a msgid's format gives the texts for its conversions, and these go into the
// msgstr. What fits none stays as it is. No other way is needed for texts without values.
#ifndef LW_REPORT_SENTENCES_H
#define LW_REPORT_SENTENCES_H

#include "base/error.h"
#include "base/list.h"
#include "base/text.h"

struct lw_sentences; // opaque

// Reads a catalogue; copies what it needs. LW_BAD_FILE when the bytes are none.
enum lw_status lw_sentences_read(const char *bytes, size_t length, struct lw_sentences **sentences,
                                 struct lw_error *error);
void lw_sentences_free(struct lw_sentences *sentences); // NULL is allowed

// The sentence in the catalogue's language, to free; a copy of it where the catalogue has none;
// NULL when memory is out. `sentences` may be NULL.
char *lw_sentences_say(const struct lw_sentences *sentences, const char *english);

// The same of "P04, P05: a sentence about them", whose names stay.
char *lw_sentences_say_of(const struct lw_sentences *sentences, const char *english);

// Puts says, because, next and caution of all findings of `records` (struct lw_record) into the
// language; those of notes, which people wrote, stay. LW_MEMORY.
enum lw_status lw_sentences_apply(const struct lw_sentences *sentences, struct lw_list *records,
                                  struct lw_error *error);

#endif
