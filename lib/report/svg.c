// SPDX-License-Identifier: GPL-3.0-or-later
//
// A display list as SVG. Inks are classes, so the page's style sheet decides colours for light,
// dark and print; coordinates are the list's millimetres.
#include "report/markup.h"

void lw_markup_text(struct lw_text *out, const char *text)
{
    for (size_t from = 0; text[from] != '\0';) {
        size_t plain = strcspn(text + from, "&<>\"'");
        lw_text_put(out, text + from, plain);
        from += plain;
        if (text[from] != '\0') {
            lw_text_add(out, "&#%d;", text[from]);
            from++;
        }
    }
}

// A length with up to three decimals and no zeros behind them.
static void put_mm(struct lw_text *out, double mm)
{
    char text[32];
    snprintf(text, sizeof text, "%.2f", mm);
    size_t length = strlen(text);
    while (text[length - 1] == '0') {
        text[--length] = '\0';
    }
    if (text[length - 1] == '.') {
        text[length - 1] = '\0';
    }
    lw_text_add(out, "%s", strcmp(text, "-0") == 0 ? "0" : text);
}

static void put_attribute(struct lw_text *out, const char *name, double mm)
{
    lw_text_add(out, " %s=\"", name);
    put_mm(out, mm);
    lw_text_add(out, "\"");
}

static void put_point(struct lw_text *out, char command, double x, double y)
{
    lw_text_add(out, "%c", command);
    put_mm(out, x);
    lw_text_add(out, " ");
    put_mm(out, y);
}

// Lines that meet become one path. Returns the index behind the last one taken.
static size_t put_path(struct lw_text *out, const struct lw_op *ops, size_t count, size_t first)
{
    lw_text_add(out, "<path class=\"l %s\" d=\"", lw_inks[ops[first].ink].word);
    put_point(out, 'M', ops[first].x, ops[first].y);
    size_t i = first;
    do {
        put_point(out, 'L', ops[i].x2, ops[i].y2);
        i++;
    } while (i < count && ops[i].kind == LW_OP_LINE && ops[i].ink == ops[i - 1].ink &&
             ops[i].x == ops[i - 1].x2 && ops[i].y == ops[i - 1].y2);
    lw_text_add(out, "\"/>");
    return i;
}

static void put_rect(struct lw_text *out, const struct lw_op *op)
{
    lw_text_add(out, "<rect class=\"r %s\"", lw_inks[op->ink].word);
    put_attribute(out, "x", op->x);
    put_attribute(out, "y", op->y);
    put_attribute(out, "width", op->x2 - op->x);
    put_attribute(out, "height", op->y2 - op->y);
    lw_text_add(out, "/>");
}

static void put_dot(struct lw_text *out, const struct lw_op *op)
{
    lw_text_add(out, "<circle class=\"d %s\"", lw_inks[op->ink].word);
    put_attribute(out, "cx", op->x);
    put_attribute(out, "cy", op->y);
    put_attribute(out, "r", op->size_mm / 2);
    lw_text_add(out, "/>");
}

static void put_text(struct lw_text *out, const struct lw_op *op)
{
    static const char *const anchors[] = {"start", "middle", "end"};
    lw_text_add(out, "<text class=\"t %s\" text-anchor=\"%s\"", lw_inks[op->ink].word,
                anchors[op->anchor + 1]);
    put_attribute(out, "font-size", op->size_mm);
    if (op->upright) {
        lw_text_add(out, " transform=\"translate(");
        put_mm(out, op->x);
        lw_text_add(out, " ");
        put_mm(out, op->y);
        lw_text_add(out, ") rotate(-90)\">");
    } else {
        put_attribute(out, "x", op->x);
        put_attribute(out, "y", op->y);
        lw_text_add(out, ">");
    }
    lw_markup_text(out, op->text);
    lw_text_add(out, "</text>");
}

static void put_ops(struct lw_text *out, const struct lw_op *ops, size_t count)
{
    for (size_t i = 0; i < count;) {
        switch (ops[i].kind) {
        case LW_OP_LINE:
            i = put_path(out, ops, count, i);
            continue;
        case LW_OP_RECT:
            put_rect(out, &ops[i]);
            break;
        case LW_OP_DOT:
            put_dot(out, &ops[i]);
            break;
        case LW_OP_TEXT:
            put_text(out, &ops[i]);
            break;
        }
        i++;
    }
}

void lw_svg(struct lw_text *out, const struct lw_display_list *list, const char *class,
            const char *title, const char *alternative, int number)
{
    lw_text_add(out, "<svg class=\"%s\" role=\"img\" aria-labelledby=\"t%d a%d\" viewBox=\"0 0 ",
                class, number, number);
    put_mm(out, list->width_mm);
    lw_text_add(out, " ");
    put_mm(out, list->height_mm);
    lw_text_add(out, "\"><title id=\"t%d\">", number);
    lw_markup_text(out, title);
    lw_text_add(out, "</title><desc id=\"a%d\">", number);
    lw_markup_text(out, alternative);
    lw_text_add(out, "</desc>");
    put_ops(out, list->ops.items, list->ops.count);
    lw_text_add(out, "</svg>\n");
}
