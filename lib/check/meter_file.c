// SPDX-License-Identifier: GPL-3.0-or-later
//
// Rows of a hand meter. Whoever has typed them is told the line and the word that does not fit.
#include "check/meter_file.h"

#include "base/csv.h"
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LINE = 1000, COLUMNS = 5, MOST_VALUES = 10000 };

static const char header[] = "tap,from,to,value,unit";
static const char *const base_units[LW_METER_QUANTITIES] = {"V", "A", "ohm"};

struct reader {
    const struct lw_plan *plan;
    struct lw_meter_file *file;
    size_t line;
    bool has_header;
    struct lw_error *error;
};

static enum lw_status fail_word(const struct reader *reader, const char *says, const char *word)
{
    char clean[48];
    lw_text_clean(clean, sizeof clean, word, strlen(word));
    return lw_fail(reader->error, LW_BAD_FILE, "line %zu: %s '%s'", reader->line, says, clean);
}

static enum lw_status find_unit(const struct reader *reader, const char *unit,
                                enum lw_meter_quantity *quantity, double *factor)
{
    for (int q = 0; q < LW_METER_QUANTITIES; q++) {
        if (lw_unit_factor(unit, base_units[q], factor)) {
            *quantity = (enum lw_meter_quantity)q;
            return LW_OK;
        }
    }
    return fail_word(reader, "no unit of volts, amperes or ohms:", unit);
}

// "0.5 % + 0.02 V"
static enum lw_status take_accuracy(struct reader *reader, char *text)
{
    char *words[5];
    size_t count = 0;
    char *rest = NULL;
    for (char *word = strtok_r(text, " \t", &rest); word != NULL && count < 5;
         word = strtok_r(NULL, " \t", &rest)) {
        words[count++] = word;
    }
    double share = 0, fixed = 0, factor = 1;
    enum lw_meter_quantity quantity = LW_METER_VOLTS;
    if (count != 5 || strcmp(words[1], "%") != 0 || strcmp(words[2], "+") != 0 ||
        lw_number_real(words[0], 0, 100, false, &share, NULL) != LW_OK ||
        lw_number_real(words[3], 0, DBL_MAX, false, &fixed, NULL) != LW_OK) {
        return lw_fail(reader->error, LW_BAD_FILE,
                       "line %zu: an accuracy is written as 0.5 %% + 0.02 V", reader->line);
    }
    enum lw_status status = find_unit(reader, words[4], &quantity, &factor);
    if (status == LW_OK) {
        reader->file->share[quantity] = share / 100;
        reader->file->fixed[quantity] = fixed * factor;
    }
    return status;
}

static enum lw_status take_remark(struct reader *reader, char *text)
{
    text += 1 + strspn(text + 1, " ");
    if (strncmp(text, "accuracy:", 9) == 0) {
        return take_accuracy(reader, text + 9);
    }
    if (strncmp(text, "instrument:", 11) == 0) {
        text += 11 + strspn(text + 11, " ");
        lw_text_clean(reader->file->instrument, sizeof reader->file->instrument, text,
                      strlen(text));
    }
    return LW_OK;
}

static bool find_supply(const struct lw_plan *plan, const char *name, size_t *index)
{
    const struct lw_supply *supplies = plan->supplies.items;
    for (size_t i = 0; i < plan->supplies.count; i++) {
        if (strcmp(supplies[i].name, name) == 0) {
            *index = i;
            return true;
        }
    }
    return false;
}

static bool find_tap(const struct lw_plan *plan, const char *word, size_t *tap)
{
    int64_t number = 0;
    if (lw_plan_by_name(plan, word, tap) != NULL) {
        return true;
    }
    bool fine = lw_number_integer(word, 1, (int64_t)lw_plan_taps(plan), &number, NULL) == LW_OK;
    *tap = fine ? (size_t)number : 0;
    return fine;
}

// "V+" or "V+@P06".
static enum lw_status take_end(const struct reader *reader, char *word, size_t tap,
                               struct lw_meter_end *end)
{
    static const char *const words[] = {"V+", "0V", "D1", "D0", "frame", "shield", "", NULL};
    char *at = strchr(word, '@');
    end->tap = tap;
    if (at != NULL) {
        *at = '\0';
        if (!find_tap(reader->plan, at + 1, &end->tap)) {
            return fail_word(reader, "no tap of the plan:", at + 1);
        }
    }
    for (int i = 0; words[i] != NULL; i++) {
        if (strcmp(word, words[i]) == 0) {
            end->terminal = (enum lw_terminal)i;
            return LW_OK;
        }
    }
    return fail_word(reader, "no terminal (V+, 0V, D1, D0, frame or shield):", word);
}

static enum lw_status take_value(const struct reader *reader, const char *word, const char *unit,
                                 struct lw_meter_value *value)
{
    double factor = 1;
    struct lw_error inner = {0};
    enum lw_status status = find_unit(reader, unit, &value->quantity, &factor);
    if (status != LW_OK) {
        return status;
    }
    if (strcmp(word, "OL") == 0) {
        value->value = INFINITY;
        return LW_OK;
    }
    if (lw_number_real(word, -1e9, 1e9, false, &value->value, &inner) != LW_OK) {
        return lw_fail(reader->error, LW_BAD_FILE, "line %zu: %s", reader->line, inner.says);
    }
    value->value *= factor;
    return LW_OK;
}

// A current flows through one terminal; anything else lies between two.
static enum lw_status check_value(const struct reader *reader, const struct lw_meter_value *value)
{
    bool is_current = value->quantity == LW_METER_AMPS;
    bool one = value->to.terminal == LW_TERMINAL_NONE;
    if (value->from.terminal == LW_TERMINAL_NONE || is_current != one) {
        return lw_fail(reader->error, LW_BAD_FILE,
                       is_current
                           ? "line %zu: a current goes through 'from'; 'to' stays empty"
                           : "line %zu: a voltage or a resistance needs both 'from' and 'to'",
                       reader->line);
    }
    bool same = value->from.tap == value->to.tap && value->from.terminal == value->to.terminal;
    return same ? lw_fail(reader->error, LW_BAD_FILE, "line %zu: both ends are one terminal",
                          reader->line)
                : LW_OK;
}

static enum lw_status take_row(struct reader *reader, char *fields[COLUMNS])
{
    struct lw_meter_value value = {0};
    size_t tap = 0;
    if (!find_supply(reader->plan, fields[0], &value.supply) &&
        !find_tap(reader->plan, fields[0], &tap)) {
        return fail_word(reader, "no tap and no supply of the plan:", fields[0]);
    }
    enum lw_status status = take_end(reader, fields[1], tap, &value.from);
    if (status == LW_OK) {
        status = take_end(reader, fields[2], tap, &value.to);
    }
    if (status == LW_OK) {
        status = take_value(reader, fields[3], fields[4], &value);
    }
    if (status == LW_OK) {
        status = check_value(reader, &value);
    }
    if (status != LW_OK) {
        return status;
    }
    struct lw_meter_value *kept = reader->file->values.count < MOST_VALUES
                                      ? lw_list_add(&reader->file->values, sizeof *kept)
                                      : NULL;
    if (kept == NULL) {
        return lw_fail(reader->error, LW_MEMORY, "no memory for more than %zu values",
                       reader->file->values.count);
    }
    *kept = value;
    return LW_OK;
}

static enum lw_status take_line(struct reader *reader, char *line)
{
    char *fields[COLUMNS];
    line[strcspn(line, "\r\n")] = '\0';
    if (line[strspn(line, " \t")] == '\0') {
        return LW_OK;
    }
    if (line[0] == '#') {
        return take_remark(reader, line);
    }
    if (!reader->has_header) {
        reader->has_header = strcmp(line, header) == 0;
        return reader->has_header
                   ? LW_OK
                   : lw_fail(reader->error, LW_BAD_FILE, "line %zu: the columns must be '%s'",
                             reader->line, header);
    }
    return lw_csv_split(line, fields, COLUMNS) == COLUMNS
               ? take_row(reader, fields)
               : lw_fail(reader->error, LW_BAD_FILE, "line %zu: not the five fields of the header",
                         reader->line);
}

static enum lw_status take_lines(struct reader *reader, const char *bytes, size_t length)
{
    char line[LINE + 1];
    for (size_t at = 0; at < length;) {
        const char *end = memchr(bytes + at, '\n', length - at);
        size_t count = end == NULL ? length - at : (size_t)(end - (bytes + at));
        reader->line++;
        if (count > LINE || memchr(bytes + at, '\0', count) != NULL) {
            return lw_fail(reader->error, LW_BAD_FILE, "line %zu: %s", reader->line,
                           count > LINE ? "too long" : "a NUL byte");
        }
        memcpy(line, bytes + at, count);
        line[count] = '\0';
        enum lw_status status = take_line(reader, line);
        if (status != LW_OK) {
            return status;
        }
        at += count + 1;
    }
    return reader->has_header
               ? LW_OK
               : lw_fail(reader->error, LW_BAD_FILE, "there is no header '%s'", header);
}

enum lw_status lw_meter_file_read(const char *bytes, size_t length, const char *name,
                                  const struct lw_plan *plan, struct lw_meter_file *file,
                                  struct lw_error *error)
{
    *file = (struct lw_meter_file){.share = {LW_METER_SHARE, LW_METER_SHARE, LW_METER_SHARE},
                                   .fixed = {0.02, 0.02, 0.2}};
    struct reader reader = {.plan = plan, .file = file, .error = error};
    bool marked = length >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0;
    enum lw_status status =
        take_lines(&reader, bytes + (marked ? 3 : 0), length - (marked ? 3 : 0));
    if (status != LW_OK) {
        lw_meter_file_finish(file);
        lw_error_within(error, "'%s'", name);
    }
    return status;
}

void lw_meter_file_finish(struct lw_meter_file *file)
{
    if (file != NULL) {
        free(file->values.items);
        *file = (struct lw_meter_file){0};
    }
}

double lw_meter_common_u(const struct lw_meter_file *file, const struct lw_meter_value *value)
{
    return file->share[value->quantity] * value->value / sqrt(3);
}

double lw_meter_own_u(const struct lw_meter_file *file, const struct lw_meter_value *value)
{
    return file->fixed[value->quantity] / sqrt(3);
}
