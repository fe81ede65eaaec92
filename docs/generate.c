// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writes the parts of the documentation that the code knows better: the JSON Schemas, the tables of
// keys, the table of findings. With --check it writes nothing and says which of them are not
// current, so that a changed table cannot leave its documentation behind.
#include "page.h"

#include "base/number.h"
#include "check/checklist.h"
#include "check/ports.h"
#include "site/plan.h"
#include "site/record.h"
#include "site/shapes.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SHAPES_MOST = 64, PLACE = 200 };

// Sub-tables that are written already, and where.
struct seen {
    const struct lw_shape *shapes[SHAPES_MOST];
    char places[SHAPES_MOST][PLACE];
    size_t count;
};

static const char *seen_at(const struct seen *seen, const struct lw_shape *shape)
{
    for (size_t i = 0; i < seen->count; i++) {
        if (seen->shapes[i] == shape) {
            return seen->places[i];
        }
    }
    return NULL;
}

static void see(struct seen *seen, const struct lw_shape *shape, const char *place)
{
    assert(seen->count < SHAPES_MOST);
    seen->shapes[seen->count] = shape;
    lw_copy(seen->places[seen->count++], PLACE, place);
}

static const char *kind_word(const struct lw_field *field)
{
    switch (field->kind) {
    case LW_TEXT:
        return "text";
    case LW_NUMBER:
        return "number";
    case LW_INTEGER:
        return "whole number";
    case LW_BOOLEAN:
        return "true or false";
    case LW_CHOICE:
        return "one of";
    case LW_OBJECT:
    case LW_OPTIONAL:
        return "object";
    case LW_LIST:
        return field->sub->tuple ? "list of lists" : "list of objects";
    case LW_NUMBERS:
        return "list of numbers";
    case LW_TEXTS:
        return "list of texts";
    case LW_MAP:
        return "object of numbers";
    case LW_RAW:
        return "anything";
    }
    return "";
}

static void put_range(struct lw_text *out, const struct lw_field *field)
{
    char low[LW_NUMBER_TEXT], high[LW_NUMBER_TEXT];
    if (!field->ranged) {
        return;
    }
    lw_number_exact(field->low, low);
    if (isinf(field->high)) {
        lw_text_add(out, field->above_low ? ", above %s" : ", from %s", low);
        return;
    }
    lw_number_exact(field->high, high);
    lw_text_add(out, field->above_low ? ", above %s to %s" : ", %s to %s", low, high);
}

static void put_words(struct lw_text *out, const struct lw_field *field)
{
    for (size_t i = 0; field->names && field->names[i]; i++) {
        const char *between = i > 0 ? "," : field->kind == LW_CHOICE ? "" : ", or";
        lw_text_add(out, "%s `%s`", between, field->names[i]);
    }
}

static void put_row(struct lw_text *out, const struct lw_field *field)
{
    lw_text_add(out, "| `%s` | %s", field->key, kind_word(field));
    put_range(out, field);
    put_words(out, field);
    lw_text_add(out, " | %s | %s |\n", field->required ? "yes" : "", field->says);
}

static void put_shape(struct lw_text *out, struct seen *seen, const struct lw_shape *shape,
                      const char *place);

static void put_sub_shapes(struct lw_text *out, struct seen *seen, const struct lw_shape *shape,
                           const char *place)
{
    for (const struct lw_field *field = shape->fields; field->key; field++) {
        char inner[PLACE];
        if (!field->sub) {
            continue;
        }
        lw_print(inner, sizeof inner, "%s%s%s%s", place, place[0] ? "." : "", field->key,
                 field->kind == LW_LIST ? "[]" : "");
        put_shape(out, seen, field->sub, inner);
    }
}

static void put_shape(struct lw_text *out, struct seen *seen, const struct lw_shape *shape,
                      const char *place)
{
    const char *before = seen_at(seen, shape);
    if (place[0]) {
        lw_text_add(out, "\n## %s\n\n", place);
    }
    if (before) {
        lw_text_add(out, "As `%s`.\n", before);
        return;
    }
    see(seen, shape, place);
    if (shape->tuple) {
        lw_text_add(out, "Stands in the file as a list of these, in this order.\n\n");
    }
    lw_text_add(out, "| key | is | needed | meaning |\n| --- | --- | --- | --- |\n");
    for (const struct lw_field *field = shape->fields; field->key; field++) {
        put_row(out, field);
    }
    put_sub_shapes(out, seen, shape, place);
}

static void put_fault_keys(struct lw_text *out, enum lw_fault_kind kind, enum lw_fault_use use)
{
    const char *between = "";
    for (size_t key = 0; lw_fault_keys[key]; key++) {
        if (lw_fault_use(kind, key) == use) {
            lw_text_add(out, "%s`%s`", between, lw_fault_keys[key]);
            between = ", ";
        }
    }
}

static void faults_table(struct lw_text *out)
{
    lw_text_add(out, "\n## Which fault has which keys\n\nBeside `kind`, `from_s` and `to_s`, which "
                     "all have.\n\n| kind | needs | may have |\n| --- | --- | --- |\n");
    for (enum lw_fault_kind kind = LW_FAULT_WEAK_SPAN; kind <= LW_FAULT_NEW_NODE; kind++) {
        lw_text_add(out, "| `%s` | ", lw_fault_word(kind));
        put_fault_keys(out, kind, LW_FAULT_KEY_NEEDS);
        lw_text_add(out, " | ");
        put_fault_keys(out, kind, LW_FAULT_KEY_MAY);
        lw_text_add(out, " |\n");
    }
}

static void format_page(struct lw_text *out, const struct lw_site_shape *site)
{
    struct seen seen = {0};
    lw_text_add(out,
                "# %s\n\nMade from the program's own tables; the same as a JSON Schema: "
                "[%s.json](../schema/%s.json). A key that is not in a table is an error.\n\n",
                site->title, site->name, site->name);
    put_shape(out, &seen, site->shape, "");
    if (site->shape == &lw_plan_shape) {
        faults_table(out);
    }
}

static void findings_page(struct lw_text *out)
{
    lw_text_add(out, "# Findings\n\nEverything that a record can find, by the check that finds it, "
                     "with what to do next and what to take care of. `...` stands for the node, "
                     "span or supply that the finding names.\n");
    const char *check = "";
    for (const struct lw_code *row = lw_codes; row->code; row++) {
        if (strcmp(check, row->check) != 0) {
            check = row->check;
            lw_text_add(out,
                        "\n## %s\n\n| code | title | next | caution |\n"
                        "| --- | --- | --- | --- |\n",
                        check);
        }
        lw_text_add(out, "| `%s` | %s | ", row->code, row->title);
        const char *hole = strstr(row->next, "%s");
        lw_text_put(out, row->next, hole ? (size_t)(hole - row->next) : strlen(row->next));
        lw_text_add(out, "%s%s | %s |\n", hole ? "..." : "", hole ? hole + 2 : "",
                    row->caution ? row->caution : "");
    }
}

static bool pages_of(const struct lw_site_shape *site, const char *docs, bool check)
{
    char name[PLACE], says[LW_ERROR_SAYS];
    struct lw_text page = {0};
    struct lw_error error = {0};
    if (lw_json_schema(site->shape, site->title, &page, &error) != LW_OK) {
        fprintf(stderr, "generate: %s\n", lw_error_text(&error, says, sizeof says));
        return false;
    }
    lw_print(name, sizeof name, "schema/%s.json", site->name);
    bool good = lw_page_finish(docs, name, check, &page);
    format_page(&page, site);
    lw_print(name, sizeof name, "formats/%s.md", site->name);
    return lw_page_finish(docs, name, check, &page) && good;
}

int main(int count, char **words)
{
    bool check = count == 3 && strcmp(words[1], "--check") == 0;
    if (count != 2 + check) {
        fprintf(stderr, "usage: generate [--check] DOCS-FOLDER\n");
        return 2;
    }
    const char *docs = words[1 + check];
    struct lw_text page = {0};
    findings_page(&page);
    bool good = lw_page_finish(docs, "findings.md", check, &page);
    for (const struct lw_site_shape *site = lw_site_shapes; site->name; site++) {
        good = pages_of(site, docs, check) && good;
    }
    const struct lw_site_shape ports = {"ports", "linewalk ports: what ports --json prints",
                                        &lw_ports_shape};
    good = pages_of(&ports, docs, check) && good;
    const struct lw_site_shape checklist = {"checklist", "Checklist: a list of one's own",
                                            &lw_checklist_file_shape};
    good = pages_of(&checklist, docs, check) && good;
    return good ? 0 : 1;
}
