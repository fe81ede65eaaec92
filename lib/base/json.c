// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reading a JSON file into its struct by the table of fields, and the struct's beginning and end.
// The pre-scan has bounded the depth, so plain recursion over the document is safe.
#include "base/json_inside.h"

#include "base/number.h"

#include <assert.h>
#include <cjson/cJSON.h>
#include <limits.h>

enum { MOST_FIELDS = 128, WORDS_SHOWN = 200, TEXT_SHOWN = 48, GUESS_LONGEST = 32 };

static void init_field(const struct lw_field *field, void *member)
{
    switch (field->kind) {
    case LW_NUMBER:
        *(double *)member = field->has_default ? field->fallback : NAN;
        break;
    case LW_INTEGER:
    case LW_CHOICE:
        *(int *)member = (int)field->fallback;
        break;
    case LW_BOOLEAN:
        *(bool *)member = field->fallback != 0;
        break;
    case LW_OBJECT:
        lw_json_init(field->sub, member);
        break;
    case LW_TEXT:
    case LW_RAW:
    case LW_OPTIONAL:
    case LW_LIST:
    case LW_NUMBERS:
    case LW_TEXTS:
    case LW_MAP:
        break;
    }
}

void lw_json_init(const struct lw_shape *shape, void *object)
{
    memset(object, 0, shape->size);
    for (const struct lw_field *field = shape->fields; field->key != NULL; field++) {
        init_field(field, lw_json_member(object, field));
    }
}

static void free_list(const struct lw_field *field, struct lw_list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        if (field->kind == LW_TEXTS) {
            free(((char **)list->items)[i]);
        } else if (field->kind == LW_MAP) {
            free(((struct lw_pair *)list->items)[i].name);
        } else if (field->kind == LW_LIST) {
            lw_json_free(field->sub, (char *)list->items + i * field->sub->size);
        }
    }
    free(list->items);
}

static void free_field(const struct lw_field *field, void *member)
{
    switch (field->kind) {
    case LW_TEXT:
    case LW_RAW:
        free(*(char **)member);
        break;
    case LW_OBJECT:
        lw_json_free(field->sub, member);
        break;
    case LW_OPTIONAL:
        lw_json_free(field->sub, *(void **)member);
        free(*(void **)member);
        break;
    case LW_LIST:
    case LW_NUMBERS:
    case LW_TEXTS:
    case LW_MAP:
        free_list(field, member);
        break;
    case LW_NUMBER:
    case LW_INTEGER:
    case LW_BOOLEAN:
    case LW_CHOICE:
        break;
    }
}

void lw_json_free(const struct lw_shape *shape, void *object)
{
    if (object == NULL) {
        return;
    }
    for (const struct lw_field *field = shape->fields; field->key != NULL; field++) {
        free_field(field, lw_json_member(object, field));
    }
    memset(object, 0, shape->size);
}

// What is being read, where it stands and how it is to be understood.
struct at {
    const cJSON *item;
    struct lw_json_place place;
    struct lw_error *error;
};

static const char *kind_of(const cJSON *item)
{
    return cJSON_IsNumber(item)   ? "a number"
           : cJSON_IsString(item) ? "a text"
           : cJSON_IsBool(item)   ? "true or false"
           : cJSON_IsNull(item)   ? "null"
           : cJSON_IsArray(item)  ? "a list"
                                  : "an object";
}

static enum lw_status wrong_type(const struct at *at, const char *wanted)
{
    return lw_json_fail(&at->place, at->error, LW_BAD_FILE, "wrong type: must be %s, is %s", wanted,
                        kind_of(at->item));
}

static enum lw_status no_memory(const struct at *at)
{
    return lw_json_no_memory(at->error);
}

static enum lw_status check_range(const struct at *at, double value, double low, double high,
                                  bool above_low)
{
    char is[LW_NUMBER_TEXT], limit[LW_NUMBER_TEXT];
    assert(above_low ? low < high : low <= high);
    bool below = above_low ? value <= low : value < low;
    if (!below && value <= high) {
        return LW_OK;
    }
    lw_number_exact(value, is);
    lw_number_exact(below ? low : high, limit);
    return lw_json_fail(&at->place, at->error, LW_BAD_FILE, "must be %s %s, is %s",
                        !below      ? "at most"
                        : above_low ? "above"
                                    : "at least",
                        limit, is);
}

static enum lw_status read_number(const struct lw_field *field, const struct at *at, double *value)
{
    if (!cJSON_IsNumber(at->item)) {
        return wrong_type(at, "a number");
    }
    enum lw_status status = LW_OK;
    if (field->ranged) {
        status = check_range(at, at->item->valuedouble, field->low, field->high, field->above_low);
    }
    *value = status == LW_OK ? at->item->valuedouble : *value;
    return status;
}

static int find_word(const char *const *words, const char *word)
{
    for (int i = 0; words[i] != NULL; i++) {
        if (strcmp(words[i], word) == 0) {
            return i;
        }
    }
    return -1;
}

static enum lw_status unknown_word(const struct lw_field *field, const struct at *at)
{
    char words[WORDS_SHOWN], safe[TEXT_SHOWN];
    const char *is = at->item->valuestring;
    lw_text_clean(safe, sizeof safe, is, strlen(is));
    lw_json_words(field->names, words, sizeof words);
    return lw_json_fail(&at->place, at->error, LW_BAD_FILE, "must be %sone of %s, is '%s'",
                        field->kind == LW_INTEGER ? "a whole number or " : "", words, safe);
}

static enum lw_status read_integer(const struct lw_field *field, const struct at *at, int *value)
{
    if (field->names != NULL && cJSON_IsString(at->item)) {
        int index = find_word(field->names, at->item->valuestring);
        *value = index < 0 ? *value : -1 - index;
        return index < 0 ? unknown_word(field, at) : LW_OK;
    }
    if (!cJSON_IsNumber(at->item)) {
        return wrong_type(at, field->names != NULL ? "a whole number or a word" : "a whole number");
    }
    double is = at->item->valuedouble;
    if (is != floor(is)) {
        char text[LW_NUMBER_TEXT];
        lw_number_exact(is, text);
        return lw_json_fail(&at->place, at->error, LW_BAD_FILE, "must be a whole number, is %s",
                            text);
    }
    double low = field->ranged ? fmax(field->low, INT_MIN) : field->names ? 0 : INT_MIN;
    double high = field->ranged ? fmin(field->high, INT_MAX) : INT_MAX;
    enum lw_status status = check_range(at, is, low, high, field->ranged && field->above_low);
    *value = status == LW_OK ? (int)is : *value;
    return status;
}

static enum lw_status read_boolean(const struct at *at, bool *value)
{
    if (!cJSON_IsBool(at->item)) {
        return wrong_type(at, "true or false");
    }
    *value = cJSON_IsTrue(at->item);
    return LW_OK;
}

static enum lw_status read_choice(const struct lw_field *field, const struct at *at, int *value)
{
    if (!cJSON_IsString(at->item)) {
        return wrong_type(at, "a word");
    }
    int index = find_word(field->names, at->item->valuestring);
    *value = index < 0 ? *value : index;
    return index < 0 ? unknown_word(field, at) : LW_OK;
}

static enum lw_status read_text(const struct at *at, char **value)
{
    if (!cJSON_IsString(at->item)) {
        return wrong_type(at, "a text");
    }
    *value = lw_duplicate(at->item->valuestring);
    return *value == NULL ? no_memory(at) : LW_OK;
}

static void put_raw(struct lw_text *out, const cJSON *item)
{
    if (cJSON_IsNumber(item)) {
        lw_json_put_number(out, item->valuedouble);
    } else if (cJSON_IsString(item)) {
        lw_json_put_text(out, item->valuestring);
    } else if (!cJSON_IsArray(item) && !cJSON_IsObject(item)) {
        const char *word = cJSON_IsNull(item) ? "null" : cJSON_IsTrue(item) ? "true" : "false";
        lw_text_put(out, word, strlen(word));
    } else {
        lw_text_put(out, cJSON_IsArray(item) ? "[" : "{", 1);
        for (const cJSON *child = item->child; child != NULL; child = child->next) {
            if (child != item->child) {
                lw_text_put(out, ",", 1);
            }
            if (cJSON_IsObject(item)) {
                lw_json_put_text(out, child->string);
                lw_text_put(out, ":", 1);
            }
            put_raw(out, child);
        }
        lw_text_put(out, cJSON_IsArray(item) ? "]" : "}", 1);
    }
}

static enum lw_status read_raw(const struct at *at, char **value)
{
    struct lw_text text = {0};
    put_raw(&text, at->item);
    if (text.failed) {
        lw_text_finish(&text);
        return no_memory(at);
    }
    *value = text.bytes;
    return LW_OK;
}

static enum lw_status read_shape(const struct lw_shape *shape, const struct at *at, void *object);

static enum lw_status read_optional(const struct lw_field *field, const struct at *at, void **value)
{
    *value = calloc(1, field->sub->size);
    return *value == NULL ? no_memory(at) : read_shape(field->sub, at, *value);
}

static enum lw_status read_pair(const struct lw_field *field, const struct at *at,
                                struct lw_pair *pair)
{
    enum lw_status status = read_number(field, at, &pair->value);
    if (status != LW_OK) {
        return status;
    }
    pair->name = lw_duplicate(at->item->string);
    return pair->name == NULL ? no_memory(at) : LW_OK;
}

static size_t item_size(const struct lw_field *field)
{
    return field->kind == LW_LIST      ? field->sub->size
           : field->kind == LW_NUMBERS ? sizeof(double)
           : field->kind == LW_TEXTS   ? sizeof(char *)
                                       : sizeof(struct lw_pair);
}

static enum lw_status read_item(const struct lw_field *field, const struct at *at, void *item)
{
    if (field->kind == LW_LIST) {
        return read_shape(field->sub, at, item);
    }
    if (field->kind == LW_NUMBERS) {
        return read_number(field, at, item);
    }
    return field->kind == LW_TEXTS ? read_text(at, item) : read_pair(field, at, item);
}

static enum lw_status check_count(const struct lw_field *field, const struct at *at, size_t count)
{
    if (count < field->low_items) {
        return lw_json_fail(&at->place, at->error, LW_BAD_FILE,
                            "must have at least %zu items, has %zu", field->low_items, count);
    }
    if (field->high_items > 0 && count > field->high_items) {
        return lw_json_fail(&at->place, at->error, LW_BAD_FILE,
                            "must have at most %zu items, has %zu", field->high_items, count);
    }
    return LW_OK;
}

static enum lw_status read_list(const struct lw_field *field, const struct at *at,
                                struct lw_list *list)
{
    bool map = field->kind == LW_MAP;
    if (map ? !cJSON_IsObject(at->item) : !cJSON_IsArray(at->item)) {
        return wrong_type(at, map ? "an object" : "a list");
    }
    for (const cJSON *child = at->item->child; child != NULL; child = child->next) {
        struct at inner = {child, {&at->place, map ? child->string : NULL, list->count}, at->error};
        void *item = lw_list_add(list, item_size(field));
        enum lw_status status = item == NULL ? no_memory(at) : read_item(field, &inner, item);
        if (status != LW_OK) {
            return status;
        }
    }
    return check_count(field, at, list->count);
}

static enum lw_status read_field(const struct lw_field *field, const struct at *at, void *member)
{
    if (field->nullable && cJSON_IsNull(at->item)) {
        if (field->kind == LW_NUMBER) {
            *(double *)member = NAN;
        }
        return LW_OK;
    }
    switch (field->kind) {
    case LW_TEXT:
        return read_text(at, member);
    case LW_NUMBER:
        return read_number(field, at, member);
    case LW_INTEGER:
        return read_integer(field, at, member);
    case LW_BOOLEAN:
        return read_boolean(at, member);
    case LW_CHOICE:
        return read_choice(field, at, member);
    case LW_OBJECT:
        return read_shape(field->sub, at, member);
    case LW_OPTIONAL:
        return read_optional(field, at, member);
    case LW_RAW:
        return read_raw(at, member);
    case LW_LIST:
    case LW_NUMBERS:
    case LW_TEXTS:
    case LW_MAP:
        return read_list(field, at, member);
    }
    assert(!"a kind outside its enum");
    return LW_USAGE;
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

// Edit distance in which two swapped neighbours count once (Damerau's operations).
static size_t distance(const char *a, const char *b)
{
    size_t rows[3][GUESS_LONGEST + 1];
    size_t *before = rows[0], *above = rows[1], *row = rows[2];
    size_t length = strlen(b);
    for (size_t j = 0; j <= length; j++) {
        above[j] = j;
    }
    for (size_t i = 1; a[i - 1] != '\0'; i++) {
        row[0] = i;
        for (size_t j = 1; j <= length; j++) {
            size_t changed = above[j - 1] + (a[i - 1] != b[j - 1]);
            row[j] = smaller(changed, smaller(above[j], row[j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                row[j] = smaller(row[j], before[j - 2] + 1);
            }
        }
        size_t *free_row = before;
        before = above;
        above = row;
        row = free_row;
    }
    return above[length];
}

// The known key that the user most likely meant, or NULL.
static const char *guess(const struct lw_shape *shape, const char *key)
{
    const char *best = NULL;
    size_t least = 3;
    if (strlen(key) > GUESS_LONGEST) {
        return NULL;
    }
    for (const struct lw_field *field = shape->fields; field->key != NULL; field++) {
        size_t length = strlen(field->key);
        size_t apart = length > GUESS_LONGEST ? least : distance(key, field->key);
        if (apart < least && apart * 2 < length) {
            least = apart;
            best = field->key;
        }
    }
    return best;
}

static enum lw_status unknown_key(const struct lw_shape *shape, const struct at *at)
{
    const char *meant = guess(shape, at->place.key);
    if (meant == NULL) {
        return lw_json_fail(&at->place, at->error, LW_BAD_FILE, "unknown key");
    }
    return lw_json_fail(&at->place, at->error, LW_BAD_FILE, "unknown key (did you mean '%s'?)",
                        meant);
}

static size_t index_of(const struct lw_shape *shape, const char *key)
{
    size_t index = 0;
    while (shape->fields[index].key != NULL && strcmp(shape->fields[index].key, key) != 0) {
        index++;
    }
    assert(index < MOST_FIELDS);
    return index;
}

static enum lw_status check_required(const struct lw_shape *shape, const struct at *at,
                                     const bool *seen)
{
    for (size_t i = 0; shape->fields[i].key != NULL; i++) {
        if (shape->fields[i].required && !seen[i]) {
            struct lw_json_place place = {&at->place, shape->tuple ? NULL : shape->fields[i].key,
                                          i};
            return lw_json_fail(&place, at->error, LW_BAD_FILE, "missing");
        }
    }
    return LW_OK;
}

static enum lw_status read_members(const struct lw_shape *shape, const struct at *at, void *object,
                                   bool *seen)
{
    size_t position = 0;
    for (const cJSON *child = at->item->child; child != NULL; child = child->next, position++) {
        struct at inner = {child, {&at->place, child->string, position}, at->error};
        size_t index = shape->tuple ? position : index_of(shape, child->string);
        const struct lw_field *field = &shape->fields[index];
        if (field->key == NULL) {
            return shape->tuple ? lw_json_fail(&inner.place, at->error, LW_BAD_FILE,
                                               "must have at most %zu items", index)
                                : unknown_key(shape, &inner);
        }
        seen[index] = true;
        enum lw_status status = read_field(field, &inner, lw_json_member(object, field));
        if (status != LW_OK) {
            return status;
        }
    }
    return LW_OK;
}

static enum lw_status read_shape(const struct lw_shape *shape, const struct at *at, void *object)
{
    bool seen[MOST_FIELDS] = {false};
    lw_json_init(shape, object);
    if (shape->tuple ? !cJSON_IsArray(at->item) : !cJSON_IsObject(at->item)) {
        return wrong_type(at, shape->tuple ? "a list" : "an object");
    }
    enum lw_status status = read_members(shape, at, object, seen);
    return status == LW_OK ? check_required(shape, at, seen) : status;
}

enum lw_status lw_json_read(const struct lw_shape *shape, const char *bytes, size_t length,
                            void *object, struct lw_error *error)
{
    memset(object, 0, shape->size);
    enum lw_status status = lw_json_scan(bytes, length, error);
    if (status != LW_OK) {
        return status;
    }
    cJSON *root = cJSON_ParseWithLength(bytes, length);
    if (root == NULL) {
        return lw_json_no_memory(error);
    }
    struct at top = {.item = root, .error = error};
    status = read_shape(shape, &top, object);
    cJSON_Delete(root);
    if (status != LW_OK) {
        lw_json_free(shape, object);
    }
    return status;
}
