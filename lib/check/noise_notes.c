// SPDX-License-Identifier: GPL-3.0-or-later
//
// What has to be known to read a noise result rightly, though nothing is wrong: what the readings
// could not show. Nodes with the same note stand in one sentence.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "base/words.h"
#include "check/noise.h"

enum { KINDS = 6 };

// Less than this share of a tone is as good as nothing.
static const double as_good_as_nothing = 0.1;

// The k-th note that a node may have; false where it has not.
static bool note_of(const struct lw_noise_node *node, size_t kind, char *text, size_t size)
{
    char number[LW_NUMBER_TEXT];
    switch (kind) {
    case 0:
        lw_copy(text, size,
                N_("mains can hardly be seen, the node's own averaging and update take it out"));
        return node->mains_left < as_good_as_nothing;
    case 1:
        lw_copy(text, size, N_("these times cannot tell mains from a slow wave"));
        return node->mains_hidden;
    case 2:
        lw_copy(text, size,
                N_("its steps are coarser than its noise, which stays unknown below them"));
        return node->below_resolution && strcmp(node->cause, "stuck") != 0;
    case 3:
        lw_copy(text, size, N_("values that the node only repeated are left out"));
        return node->repeats > 0.1 * node->n;
    case 4:
        lw_copy(text, size,
                N_("one single reading is far off; noise alone does that in one run of twenty"));
        return node->outliers == 1 && strcmp(node->cause, "spikes") != 0;
    default:
        lw_number_for_people(node->allan_stdev, NAN, number);
        lw_print(text, size, "averaging helps up to %.2g s and leaves %s %s there", node->allan_s,
                 number, node->unit != NULL ? lw_unit_shown(node->unit, true) : "");
        return isfinite(node->allan_s);
    }
}

static bool has_note(const struct lw_noise_node *node, const char *text)
{
    char own[200];
    char *const *reasons = node->not_judged.items;
    for (size_t kind = 0; kind < KINDS; kind++) {
        if (note_of(node, kind, own, sizeof own) && strcmp(own, text) == 0) {
            return true;
        }
    }
    for (size_t i = 0; i < node->not_judged.count; i++) {
        lw_print(own, sizeof own, "not judged: %s", reasons[i]);
        if (strcmp(own, text) == 0) {
            return true;
        }
    }
    return false;
}

// Adds the sentence for all nodes from the index-th on that have this note, unless one before it
// had it too.
static bool add_note(const struct lw_noise_result *result, size_t index, const char *note,
                     struct lw_list *notes)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    struct lw_text sentence = {0};
    for (size_t i = 0; i < index; i++) {
        if (has_note(&nodes[i], note)) {
            return true;
        }
    }
    for (size_t i = index; i < result->nodes.count; i++) {
        if (has_note(&nodes[i], note)) {
            lw_text_add(&sentence, "%s%s", sentence.length > 0 ? ", " : "", nodes[i].node);
        }
    }
    lw_text_add(&sentence, ": %s", note);
    char **text = lw_list_add(notes, sizeof *text);
    if (text == NULL || sentence.bytes == NULL) {
        lw_text_finish(&sentence);
        return false;
    }
    *text = sentence.bytes;
    return true;
}

enum lw_status lw_noise_notes(const struct lw_noise_result *result, struct lw_list *notes,
                              struct lw_error *error)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    bool good = true;
    for (size_t i = 0; i < result->nodes.count && good; i++) {
        char text[200];
        char *const *reasons = nodes[i].not_judged.items;
        for (size_t kind = 0; kind < KINDS && good; kind++) {
            good = !note_of(&nodes[i], kind, text, sizeof text) || add_note(result, i, text, notes);
        }
        for (size_t k = 0; k < nodes[i].not_judged.count && good; k++) {
            lw_print(text, sizeof text, "not judged: %s", reasons[k]);
            good = add_note(result, i, text, notes);
        }
    }
    return good ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for notes");
}

void lw_noise_notes_free(struct lw_list *notes)
{
    char **texts = notes->items;
    for (size_t i = 0; i < notes->count; i++) {
        free(texts[i]);
    }
    free(notes->items);
    *notes = (struct lw_list){0};
}
