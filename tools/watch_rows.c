// SPDX-License-Identifier: GPL-3.0-or-later
//
// The texts of the watch.
#include "watch_rows.h"

#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "cli/cli.h"

#include <math.h>

enum { FIELD = 400 };

static size_t bytes_of_character(const char *at)
{
    size_t count = 1;
    while (((unsigned char)at[count] & 0xC0) == 0x80) {
        count++;
    }
    return count;
}

// The bytes of as many characters as fit into the columns, and the columns that they take.
static size_t take_columns(const char *from, int columns, int *taken)
{
    char one[8];
    size_t bytes = 0;
    *taken = 0;
    while (from[bytes] != '\0') {
        size_t more = bytes_of_character(from + bytes);
        lw_print(one, sizeof one, "%.*s", (int)more, from + bytes);
        int wide = (int)lw_text_columns(one);
        if (*taken + wide > columns) {
            break;
        }
        *taken += wide;
        bytes += more;
    }
    return bytes;
}

const char *lw_row_fit(char *to, size_t size, const char *from, int columns, bool right)
{
    int taken = 0, bytes = (int)take_columns(from, columns, &taken);
    lw_print(to, size, "%*s%.*s%*s", right ? columns - taken : 0, "", bytes, from,
             right ? 0 : columns - taken, "");
    return to;
}

static void put(char *row, size_t size, const char *text, int columns, bool right)
{
    char field[FIELD];
    size_t length = strlen(row);
    lw_row_fit(field, sizeof field, text, columns, right);
    lw_copy(row + length, size - length, field);
}

// "[--|----]" in so many columns; outside the range "<------]" and "[------>".
static const char *bar(const struct lw_live_node *node, int columns, char text[64])
{
    int places = columns - 2;
    memset(text, '-', (size_t)columns);
    text[0] = '[';
    text[columns - 1] = ']';
    text[columns] = '\0';
    if (!isfinite(node->low) || !isfinite(node->high) || !isfinite(node->reading)) {
        memset(text, ' ', (size_t)columns);
    } else if (node->reading < node->low) {
        text[0] = '<';
    } else if (node->reading > node->high) {
        text[columns - 1] = '>';
    } else {
        double share = (node->reading - node->low) / (node->high - node->low);
        text[1 + (int)fmin(share * places, places - 1)] = '|';
    }
    return text;
}

static const char *reading_text(const struct lw_live_node *node, char text[LW_NUMBER_TEXT])
{
    int decimals = node->resolution > 0 ? (int)ceil(-log10(node->resolution) - 1e-9) : 3;
    if (!isfinite(node->reading)) {
        return "-";
    }
    lw_print(text, LW_NUMBER_TEXT, "%.*f",
             decimals < 0   ? 0
             : decimals > 6 ? 6
                            : decimals,
             node->reading);
    return text;
}

static const char *spread_text(const struct lw_live_node *node, char text[LW_NUMBER_TEXT])
{
    char number[LW_NUMBER_TEXT];
    if (!isfinite(node->spread)) {
        return "";
    }
    lw_print(number, sizeof number, "%.2g", node->spread);
    lw_print(text, LW_NUMBER_TEXT, "±%s", number);
    return text;
}

static const char *volts_text(const struct lw_live_node *node, char text[LW_NUMBER_TEXT])
{
    if (!isfinite(node->volts)) {
        return "";
    }
    lw_print(text, LW_NUMBER_TEXT, "%.1fV", node->volts);
    return text;
}

// "out 3.2 s": how long already, for who has time to look.
static const char *state_text(const struct lw_live *live, size_t index, int64_t now_ns,
                              char text[FIELD])
{
    enum lw_live_state state = lw_live_state(live, index, now_ns);
    double since_s = lw_live_seconds(live, now_ns) - lw_live_node(live, index)->silent_s;
    lw_copy(text, FIELD, _(lw_live_word(state)));
    if (state == LW_LIVE_OUT && isfinite(since_s)) {
        lw_print(text, FIELD, since_s < 99.5 ? "%s %.1f s" : "%s %.0f s", _(lw_live_word(state)),
                 since_s);
    }
    return text;
}

const char *lw_row_cell(const struct lw_live *live, size_t index, int64_t now_ns, int columns,
                        char *text, size_t size)
{
    enum { WORD = 11, BAR_WIDE = 14, BAR_NARROW = 7, READING = 9, SPREAD = 9, VOLTS = 6 };
    const struct lw_live_node *node = lw_live_node(live, index);
    enum lw_live_state state = lw_live_state(live, index, now_ns);
    char word[FIELD], number[LW_NUMBER_TEXT], line[64];
    bool wide = columns >= LW_CELL_WIDE;
    const char sign[] = {lw_live_sign(state), '\0'};
    text[0] = '\0';
    put(text, size, sign, 2, false);
    put(text, size, node->entry->node, wide ? 7 : 5, false);
    state_text(live, index, now_ns, word);
    if (wide) {
        put(text, size, word, WORD, false);
        put(text, size, bar(node, BAR_WIDE, line), BAR_WIDE, false);
    } else if (state == LW_LIVE_WELL) {
        put(text, size, bar(node, BAR_NARROW, line), BAR_NARROW + 1, false);
    } else {
        put(text, size, word, BAR_NARROW + 1, false);
    }
    put(text, size, reading_text(node, number), wide ? READING + 1 : READING, true);
    if (wide) {
        put(text, size, " ", 1, false);
        put(text, size, node->unit != NULL ? lw_unit_shown(node->unit, true) : "", 4, false);
    }
    put(text, size, spread_text(node, number), SPREAD, true);
    put(text, size, volts_text(node, number), VOLTS, true);
    if (wide && node->entry->place != NULL) {
        put(text, size, "  ", 2, false);
        put(text, size, node->entry->place, columns - (int)lw_text_columns(text), false);
    }
    char whole[LW_ROW];
    lw_row_fit(whole, sizeof whole, text, columns, false);
    lw_copy(text, size, whole);
    return text;
}

const char *lw_row_event(const struct lw_live *live, const struct lw_live_event *event,
                         const struct lw_sentences *sentences, int columns, char *text, size_t size)
{
    char says[FIELD], row[FIELD + 40];
    lw_live_says(live, event, says, sizeof says);
    char *said = event->what == LW_LIVE_MARK ? NULL : lw_sentences_say(sentences, says);
    lw_print(row, sizeof row, "%9.2f %c %s", event->from_s,
             event->what == LW_LIVE_MARK ? '#'
             : isfinite(event->to_s)     ? ' '
                                         : '*',
             said != NULL ? said : says);
    free(said);
    return lw_row_fit(text, size, row, columns, false);
}

const char *lw_row_counts(const struct lw_live *live, int64_t now_ns, char *text, size_t size)
{
    size_t counts[LW_LIVE_STATES] = {0};
    for (size_t i = 0; i < lw_live_count(live); i++) {
        counts[lw_live_state(live, i, now_ns)]++;
    }
    lw_print(text, size, _("%zu nodes:"), lw_live_count(live));
    for (int state = 0; state < LW_LIVE_STATES; state++) {
        size_t length = strlen(text);
        if (counts[state] > 0) {
            lw_print(text + length, size - length, " %c %zu %s ",
                     lw_live_sign((enum lw_live_state)state), counts[state],
                     _(lw_live_word((enum lw_live_state)state)));
        }
    }
    return text;
}
