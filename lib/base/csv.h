// SPDX-License-Identifier: GPL-3.0-or-later
//
// Comma-separated values as linewalk writes and reads them: UTF-8, comma, point as the decimal
// mark, LF or CRLF, RFC 4180 quotes, lines that start with '#' are remarks of which `# unit: mm` is
// one that counts.
#ifndef LW_BASE_CSV_H
#define LW_BASE_CSV_H

#include "base/error.h"
#include "base/series.h"
#include "base/text.h"

#include <stddef.h>

// Adds one field, quoted where needed. A text that a spreadsheet would take for a formula (= + - @
// at the start, and not a number) gets a leading apostrophe.
void lw_csv_field(struct lw_text *out, const char *field, size_t index_in_row);

// Splits one line in place into at most `most` fields and drops its line end; returns the count, or
// -1 for a broken quote or more fields than that. The line is changed.
int lw_csv_split(char *line, char **fields, int most);

// Readings: `# unit: mm`, header `time_s,node,value` (or without node: `time_s,value`). A unit
// given by the caller is used where the file names none; both absent is LW_BAD_FILE. Values that
// are no finite number, unsorted columns and the like are LW_BAD_FILE with the line number; rows
// out of time order are taken (lw_series_of sorts). A byte order mark is passed over; lines have at
// most 1000 bytes. A file without nodes gives one node named "". `name` is for messages. What
// `series` holds before is ignored; on failure it is empty.
enum lw_status lw_csv_readings(const char *bytes, size_t length, const char *name, const char *unit,
                               struct lw_series *series, struct lw_error *error);

#endif
