// SPDX-License-Identifier: GPL-3.0-or-later
//
// The list that comes with linewalk, the dialog over a list, and what its answers mean.
#include "check/checklist.h"

#include "base/text.h"
#include "base/words.h"

#include <stdlib.h>
#include <string.h>

static const struct lw_field item_fields[] = {
    {LW_AT(struct lw_checklist_item, id), .kind = LW_TEXT, .required = true,
     .says = "short and lasting, as in files of answers"},
    {LW_AT(struct lw_checklist_item, text), .kind = LW_TEXT, .required = true,
     .says = "the question, answered with yes when all is well"},
    {LW_AT(struct lw_checklist_item, help), .kind = LW_TEXT,
     .says = "why, and how to look; absent: nothing more"},
    {LW_AT(struct lw_checklist_item, required), .kind = LW_BOOLEAN, .fallback = 1,
     .says = "it has to be answered; absent: true"},
    {0},
};
static const struct lw_shape item_shape = {
    .name = "checklist_item", .size = sizeof(struct lw_checklist_item), .fields = item_fields};
static const struct lw_field list_fields[] = {
    {LW_AT(struct lw_checklist, format), .kind = LW_TEXT, .required = true,
     .says = "`linewalk/checklist/1`"},
    {LW_AT(struct lw_checklist, title), .kind = LW_TEXT, .says = "what the report calls it"},
    {LW_AT(struct lw_checklist, items), .kind = LW_LIST, .required = true, .low_items = 1,
     .high_items = 200, .sub = &item_shape, .says = "what is looked at, in order"},
    {0},
};
const struct lw_shape lw_checklist_file_shape = {
    .name = "checklist", .size = sizeof(struct lw_checklist), .fields = list_fields};

static const char *const said_words[] = {"open", "yes", "no", "not_applicable", NULL};
static const struct lw_field answer_fields[] = {
    {LW_AT(struct lw_checklist_answer, id), .kind = LW_TEXT, .required = true, .says = "the item"},
    {LW_AT(struct lw_checklist_answer, text), .kind = LW_TEXT, .says = "as it was asked"},
    {LW_AT(struct lw_checklist_answer, required), .kind = LW_BOOLEAN,
     .says = "it had to be answered"},
    {LW_AT(struct lw_checklist_answer, said), .kind = LW_CHOICE, .names = said_words,
     .says = "the answer"},
    {LW_AT(struct lw_checklist_answer, remark), .kind = LW_TEXT, .nullable = true,
     .says = "remark; null: none"},
    {LW_AT(struct lw_checklist_answer, photo), .kind = LW_TEXT, .nullable = true,
     .says = "name of the picture in the visit; null: none"},
    {LW_AT(struct lw_checklist_answer, photo_sha256), .kind = LW_TEXT, .nullable = true,
     .says = "its digest"},
    {0},
};
static const struct lw_shape answer_shape = {.name = "checklist_answer",
                                             .size = sizeof(struct lw_checklist_answer),
                                             .fields = answer_fields};
static const struct lw_field result_fields[] = {
    {LW_AT(struct lw_checklist_result, title), .kind = LW_TEXT, .nullable = true,
     .says = "the list's title; null: the list that comes with linewalk"},
    {LW_AT(struct lw_checklist_result, answers), .kind = LW_LIST, .sub = &answer_shape,
     .says = "each item with its answer"},
    {0},
};
const struct lw_shape lw_checklist_shape = {
    .name = "checklist", .size = sizeof(struct lw_checklist_result), .fields = result_fields};

struct shipped {
    const char *id, *text, *help;
    bool required;
};

// Common practice, and the serial line guide where it says so.
static const struct shipped shipped[] = {
    {"fixing", N_("Is every sensor fixed by its intended face, and does nothing move by hand?"),
     N_("A probe clamped too hard on its stem sticks, one too loose drifts."), true},
    {"end_clamps",
     N_("Are both ends of the chain clamped where there is vibration or the chain is "
        "to be earthed?"),
     N_("Not applicable where the machine neither shakes nor earths the chain."), true},
    {"terminator",
     N_("Is a terminator seated at the far end, and one at the head, and none "
        "between?"),
     N_("Two of them, at the ends of the pair (MODBUS over Serial Line V1.02, 3.4.5)."), true},
    {"earthing", N_("Is 0 V bonded to the frame at one place, the one of the plan?"),
     N_("The common is tied to protective ground at one point only (MODBUS over Serial Line V1.02, "
        "3.4.4)."),
     true},
    {"shield", N_("Are the shields connected as the maker of the nodes wants it?"),
     N_("All round, not by a pigtail; look at both ends."), true},
    {"routing",
     N_("Do sensor cables run apart from motor cables and cross them at right angles "
        "only?"),
     N_("Look inside cable chains and ducts, too."), true},
    {"strain",
     N_("Has every cable strain relief and room to move, and does none rub or hang in "
        "the way of a moving part?"),
     N_("With the drives off and locked out, move what moves by hand."), true},
    {"magnets", N_("Are magnets, solenoids and magnetic bases kept away from inductive probes?"),
     N_("Chucks, clamping magnets, indicator stands; also those that come with the part."), true},
    {"plugs", N_("Are all plugs locked, and unused ones capped?"),
     N_("A plug that is pushed but not locked works until the machine shakes."), true},
    {"labels", N_("Does every node carry the name that the plan gives it?"),
     N_("At the node and at its plug."), false},
    {"coolant", N_("Are nodes and plugs out of coolant, chips and oil, or made for it?"),
     N_("Look at their protection class and at where the jet goes."), false},
    {"ventilation", N_("Has the supply in the cabinet the clearance that its maker wants?"),
     N_("Mounting position and air around it decide what it can give."), false},
    {0}};

static enum lw_status take_shipped(struct lw_checklist *list, struct lw_error *error)
{
    list->format = lw_duplicate("linewalk/checklist/1");
    bool failed = list->format == NULL;
    for (const struct shipped *row = shipped; row->id != NULL && !failed; row++) {
        struct lw_checklist_item *item = lw_list_add(&list->items, sizeof *item);
        if (item != NULL) {
            *item = (struct lw_checklist_item){lw_duplicate(row->id), lw_duplicate(row->text),
                                               lw_duplicate(row->help), row->required};
        }
        failed = item == NULL || item->id == NULL || item->text == NULL || item->help == NULL;
    }
    return failed ? lw_fail(error, LW_MEMORY, "no memory for a checklist") : LW_OK;
}

static enum lw_status check_list(const struct lw_checklist *list, struct lw_error *error)
{
    const struct lw_checklist_item *items = list->items.items;
    if (strcmp(list->format, "linewalk/checklist/1") != 0) {
        return lw_fail(error, LW_BAD_FILE, "/format: must be 'linewalk/checklist/1'");
    }
    for (size_t i = 0; i < list->items.count; i++) {
        size_t plain = strspn(items[i].id, "abcdefghijklmnopqrstuvwxyz0123456789_-");
        if (plain == 0 || items[i].id[plain] != '\0' || plain > 40) {
            return lw_fail(error, LW_BAD_FILE,
                           "/items/%zu/id: must be a to z, 0 to 9, _ and -, at most 40", i);
        }
        for (size_t k = 0; k < i; k++) {
            if (strcmp(items[i].id, items[k].id) == 0) {
                return lw_fail(error, LW_BAD_FILE, "/items/%zu/id: '%s' stands there twice", i,
                               items[i].id);
            }
        }
    }
    return LW_OK;
}

enum lw_status lw_checklist_read(const char *bytes, size_t length, struct lw_checklist *list,
                                 struct lw_error *error)
{
    enum lw_status status = LW_OK;
    if (bytes == NULL) {
        lw_json_init(&lw_checklist_file_shape, list);
        status = take_shipped(list, error);
    } else {
        status = lw_json_read(&lw_checklist_file_shape, bytes, length, list, error);
        status = status == LW_OK ? check_list(list, error) : status;
    }
    if (status != LW_OK) {
        lw_json_free(&lw_checklist_file_shape, list);
    }
    return status;
}

enum { ITEM, REMARK, PICTURE, TAKE_IN };

static const struct lw_checklist_item *item_of(const struct lw_checklist_dialog *own)
{
    return &((const struct lw_checklist_item *)own->list->items.items)[own->item];
}

static struct lw_checklist_answer *answer_of(const struct lw_checklist_dialog *own)
{
    return &((struct lw_checklist_answer *)own->result.answers.items)[own->item];
}

static void ask_item(const struct lw_checklist_dialog *own, struct lw_question *question)
{
    static const char *const words[] = {N_("yes"), N_("no"), N_("not applicable"), NULL};
    const struct lw_checklist_item *item = item_of(own);
    lw_question_id(question, "%s", item->id);
    lw_copy(question->text, sizeof question->text, item->text);
    lw_copy(question->help, sizeof question->help, item->help != NULL ? item->help : "");
    question->kind = LW_QUESTION_WORD;
    question->words = words;
    question->may_skip = true;
}

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct lw_checklist_dialog *own = (const struct lw_checklist_dialog *)dialog;
    if (own->item == own->list->items.count) {
        return LW_DIALOG_DONE;
    }
    if (own->part == TAKE_IN) {
        return LW_DIALOG_ACT;
    }
    const char *id = item_of(own)->id;
    if (own->part == ITEM) {
        ask_item(own, question);
    } else if (own->part == REMARK) {
        lw_question_id(question, "%s.remark", id);
        lw_print(question->text, sizeof question->text, "Why? (a remark for the report)");
        question->kind = LW_QUESTION_TEXT;
    } else {
        lw_question_id(question, "%s.photo", id);
        lw_print(question->text, sizeof question->text, "A picture of it? (file)");
        lw_print(question->help, sizeof question->help,
                 "JPEG or PNG. It is copied into the visit without position and owner.");
        question->kind = LW_QUESTION_TEXT;
        question->may_skip = true;
    }
    question->lasting = true;
    return LW_DIALOG_ASK;
}

static void on_to_next_item(struct lw_checklist_dialog *own)
{
    own->item++;
    own->part = ITEM;
}

static enum lw_status take_item(struct lw_checklist_dialog *own, const struct lw_answer *given)
{
    struct lw_checklist_answer *answer = answer_of(own);
    answer->said = given->skipped ? LW_CHECK_OPEN : LW_CHECK_YES + given->word;
    if (answer->said == LW_CHECK_NO || answer->said == LW_CHECK_NOT_APPLICABLE) {
        own->part = REMARK;
    } else {
        on_to_next_item(own);
    }
    return LW_OK;
}

static enum lw_status take_remark(struct lw_checklist_dialog *own, const struct lw_answer *given,
                                  struct lw_error *error)
{
    struct lw_checklist_answer *answer = answer_of(own);
    free(answer->remark);
    answer->remark = lw_duplicate(given->text);
    if (answer->said == LW_CHECK_NO) {
        own->part = PICTURE;
    } else {
        on_to_next_item(own);
    }
    return answer->remark != NULL ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for a remark");
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *given,
                             struct lw_error *error)
{
    struct lw_checklist_dialog *own = (struct lw_checklist_dialog *)dialog;
    if (own->part == ITEM) {
        return take_item(own, given);
    }
    if (own->part == REMARK) {
        return take_remark(own, given, error);
    }
    if (given->skipped) {
        on_to_next_item(own);
    } else {
        lw_copy(own->photo, sizeof own->photo, given->text);
        own->part = TAKE_IN;
    }
    return LW_OK;
}

static void forget(struct lw_checklist_answer *answer)
{
    answer->said = LW_CHECK_OPEN;
    char **const owned[] = {&answer->remark, &answer->photo, &answer->photo_sha256};
    for (size_t i = 0; i < sizeof owned / sizeof *owned; i++) {
        free(*owned[i]);
        *owned[i] = NULL;
    }
}

// One question back within an item, else to the item before.
static bool back(struct lw_dialog *dialog)
{
    struct lw_checklist_dialog *own = (struct lw_checklist_dialog *)dialog;
    if (own->part > ITEM) {
        own->part--;
        return true;
    }
    if (own->item == 0) {
        return false;
    }
    own->item--;
    forget(answer_of(own));
    return true;
}

enum lw_status lw_checklist_init(struct lw_checklist_dialog *dialog,
                                 const struct lw_checklist *list, struct lw_error *error)
{
    static const struct lw_dialog_ops ops = {next, answer, back};
    const struct lw_checklist_item *items = list->items.items;
    *dialog = (struct lw_checklist_dialog){.dialog.ops = &ops, .list = list};
    lw_json_init(&lw_checklist_shape, &dialog->result);
    dialog->result.title = lw_duplicate(list->title);
    for (size_t i = 0; i < list->items.count; i++) {
        struct lw_checklist_answer *own = lw_list_add(&dialog->result.answers, sizeof *own);
        if (own == NULL) {
            return lw_fail(error, LW_MEMORY, "no memory for answers");
        }
        *own = (struct lw_checklist_answer){.id = lw_duplicate(items[i].id),
                                            .text = lw_duplicate(items[i].text),
                                            .required = items[i].required};
    }
    return LW_OK;
}

enum lw_status lw_checklist_photo(struct lw_checklist_dialog *dialog, const char *name,
                                  const char *sha256, struct lw_error *error)
{
    struct lw_checklist_answer *own = answer_of(dialog);
    if (name == NULL) {
        dialog->part = PICTURE;
        return LW_OK;
    }
    own->photo = lw_duplicate(name);
    own->photo_sha256 = lw_duplicate(sha256);
    on_to_next_item(dialog);
    return own->photo != NULL && own->photo_sha256 != NULL
               ? LW_OK
               : lw_fail(error, LW_MEMORY, "no memory for a picture's name");
}

void lw_checklist_findings(const struct lw_checklist_result *result, struct lw_findings *findings)
{
    static const char as_asked[] = "%s"; // the question itself, found in the reader's language
    const struct lw_checklist_answer *answers = result->answers.items;
    for (size_t i = 0; i < result->answers.count; i++) {
        const struct lw_checklist_answer *own = &answers[i];
        struct lw_finding *finding = NULL;
        if (own->said == LW_CHECK_NO) {
            finding = lw_findings_add(findings, "checklist_no",
                                      own->required ? LW_FAIL : LW_ATTENTION, "no: %s", own->id);
            lw_finding_because(findings, finding, as_asked, own->text);
            lw_finding_because(findings, finding, "remark: %s",
                               own->remark != NULL ? own->remark : "-");
        } else if (own->said == LW_CHECK_OPEN && own->required) {
            finding = lw_findings_add(findings, "checklist_open", LW_UNDECIDED, "not answered: %s",
                                      own->id);
            lw_finding_because(findings, finding, as_asked, own->text);
        }
        lw_finding_about(findings, finding, own->id);
    }
}
