// SPDX-License-Identifier: GPL-3.0-or-later
//
// Comma-separated values. Fields for people are guarded against spreadsheets that would run them
// as formulas; readings come in from whatever program kept them, so they are checked line by line.
#include "base/csv.h"

#include "base/number.h"
#include "base/unit.h"
#include "base/utf8.h"

#include <float.h>

enum { MOST_COLUMNS = 4, LONGEST_LINE = 1000 };

static bool looks_like_formula(const char *field)
{
    size_t length = strlen(field);
    return length > 0 && strchr("=+-@\t\r", field[0]) != NULL &&
           lw_number_span(field, length) != length;
}

static bool needs_quotes(const char *field, size_t index_in_row)
{
    size_t length = strlen(field);
    bool remark = index_in_row == 0 && field[0] == '#';
    bool blank_edge = length > 0 && (field[0] == ' ' || field[length - 1] == ' ');
    return remark || blank_edge || strpbrk(field, ",\"\r\n") != NULL;
}

void lw_csv_field(struct lw_text *out, const char *field, size_t index_in_row)
{
    if (index_in_row > 0) {
        lw_text_put(out, ",", 1);
    }
    bool quoted = needs_quotes(field, index_in_row);
    lw_text_add(out, "%s%s", quoted ? "\"" : "", looks_like_formula(field) ? "'" : "");
    for (const char *at = field; *at != '\0'; at++) {
        lw_text_put(out, quoted && *at == '"' ? "\"\"" : at, quoted && *at == '"' ? 2 : 1);
    }
    lw_text_put(out, "\"", quoted ? 1 : 0);
}

// Unquotes the field at `at` in place and returns the mark behind it, or NULL for a broken quote.
static char *take_quoted(char *at)
{
    char *to = at;
    for (char *from = at + 1; *from != '\0'; from++) {
        if (*from == '"' && *++from != '"') {
            *to = '\0';
            return *from == ',' || *from == '\0' ? from : NULL;
        }
        *to++ = *from;
    }
    return NULL;
}

static char *take_plain(char *at)
{
    char *end = at + strcspn(at, ",\"");
    return *end == '"' ? NULL : end;
}

int lw_csv_split(char *line, char **fields, int most)
{
    line[strcspn(line, "\r\n")] = '\0';
    for (int count = 1; count <= most; count++) {
        fields[count - 1] = line;
        char *end = line[0] == '"' ? take_quoted(line) : take_plain(line);
        if (end == NULL) {
            return -1;
        }
        bool last = *end == '\0';
        *end = '\0';
        if (last) {
            return count;
        }
        line = end + 1;
    }
    return -1;
}

struct readings {
    struct lw_series *series;
    struct lw_error *error;
    size_t line;
    int columns; // 0 until the header, then 2 or 3
    char unit[sizeof((struct lw_series_name *)NULL)->unit];
    bool unit_in_file;
};

static enum lw_status fail_line(const struct readings *readings, const char *says)
{
    return lw_fail(readings->error, LW_BAD_FILE, "line %zu: %s", readings->line, says);
}

// `# unit: mm`; every other remark is passed over.
static enum lw_status take_remark(struct readings *readings, char *text)
{
    text += 1 + strspn(text + 1, " ");
    if (strncmp(text, "unit:", 5) != 0) {
        return LW_OK;
    }
    text += 5 + strspn(text + 5, " ");
    text[strcspn(text, " \r\n")] = '\0';
    if (!lw_unit_known(text)) {
        char safe[32], says[64];
        lw_text_clean(safe, sizeof safe, text, strlen(text));
        lw_print(says, sizeof says, "unknown unit '%s'", safe);
        return fail_line(readings, says);
    }
    bool same = strcmp(readings->unit, text) == 0;
    if (!same && (readings->unit_in_file || readings->columns > 0)) {
        return fail_line(readings, "the unit changes within the file");
    }
    lw_copy(readings->unit, sizeof readings->unit, text);
    readings->unit_in_file = true;
    return LW_OK;
}

static enum lw_status take_header(struct readings *readings, char **fields, int count)
{
    bool timed = count >= 2 && strcmp(fields[0], "time_s") == 0;
    bool plain = timed && count == 2 && strcmp(fields[1], "value") == 0;
    bool named =
        timed && count == 3 && strcmp(fields[1], "node") == 0 && strcmp(fields[2], "value") == 0;
    if (!plain && !named) {
        return fail_line(readings, "the columns must be 'time_s,node,value' or 'time_s,value'");
    }
    if (readings->unit[0] == '\0') {
        return fail_line(readings, "no unit: neither '# unit: mm' before this line nor one given");
    }
    readings->columns = count;
    return LW_OK;
}

static bool good_name(const char *name)
{
    size_t count = strlen(name);
    for (size_t at = 0; at < count;) {
        uint32_t code;
        size_t taken = lw_utf8_next(name + at, count - at, &code);
        if (taken == 0 || lw_utf8_control(code)) {
            return false;
        }
        at += taken;
    }
    return count > 0;
}

static enum lw_status take_row(struct readings *readings, char **fields, int count)
{
    struct lw_error inner = {0};
    struct lw_reading reading = {.node = count == 3 ? fields[1] : "", .unit = readings->unit};
    if (count != readings->columns) {
        return fail_line(readings, "not as many fields as the header has");
    }
    if (count == 3 && !good_name(fields[1])) {
        return fail_line(readings, "the node's name is empty or not clean UTF-8");
    }
    if (lw_number_real(fields[0], -DBL_MAX, DBL_MAX, false, &reading.time_s, &inner) != LW_OK ||
        lw_number_real(fields[count - 1], -DBL_MAX, DBL_MAX, false, &reading.value, &inner) !=
            LW_OK) {
        return fail_line(readings, inner.says);
    }
    enum lw_status status = lw_series_add(readings->series, &reading, &inner);
    return status == LW_USAGE ? fail_line(readings, inner.says)
           : status == LW_OK  ? LW_OK
                              : lw_fail(readings->error, status, "%s", inner.says);
}

static enum lw_status take_line(struct readings *readings, char *line)
{
    char *fields[MOST_COLUMNS];
    if (line[strspn(line, " \t\r")] == '\0') {
        return LW_OK;
    }
    if (line[0] == '#') {
        return take_remark(readings, line);
    }
    int count = lw_csv_split(line, fields, MOST_COLUMNS);
    if (count < 0) {
        return fail_line(readings, "a broken quote or too many fields");
    }
    return readings->columns == 0 ? take_header(readings, fields, count)
                                  : take_row(readings, fields, count);
}

static enum lw_status take_lines(struct readings *readings, const char *bytes, size_t length)
{
    char line[LONGEST_LINE + 1];
    for (size_t at = 0; at < length;) {
        const char *end = memchr(bytes + at, '\n', length - at);
        size_t count = end == NULL ? length - at : (size_t)(end - (bytes + at));
        readings->line++;
        if (count > LONGEST_LINE || memchr(bytes + at, '\0', count) != NULL) {
            return fail_line(readings, count > LONGEST_LINE ? "too long" : "a NUL byte");
        }
        memcpy(line, bytes + at, count);
        line[count] = '\0';
        enum lw_status status = take_line(readings, line);
        if (status != LW_OK) {
            return status;
        }
        at += count + 1;
    }
    return readings->columns > 0
               ? LW_OK
               : lw_fail(readings->error, LW_BAD_FILE, "no line with the columns");
}

enum lw_status lw_csv_readings(const char *bytes, size_t length, const char *name, const char *unit,
                               struct lw_series *series, struct lw_error *error)
{
    static const char mark[] = "\xef\xbb\xbf"; // spreadsheets put a byte order mark first
    struct readings readings = {.series = series, .error = error};
    char safe[100];
    size_t skipped = length >= 3 && memcmp(bytes, mark, 3) == 0 ? 3 : 0;
    lw_copy(readings.unit, sizeof readings.unit, unit == NULL ? "" : unit);
    *series = (struct lw_series){0};
    enum lw_status status = take_lines(&readings, bytes + skipped, length - skipped);
    if (status != LW_OK) {
        lw_series_finish(series);
        lw_text_clean(safe, sizeof safe, name, strlen(name));
        lw_error_within(error, "readings '%s'", safe);
    }
    return status;
}
