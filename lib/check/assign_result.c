// SPDX-License-Identifier: GPL-3.0-or-later
//
// What assign says: its JSON shape and its findings.
#include "check/assign.h"

#include "base/text.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

static const char *const way_words[] = {"written", "switches", "none", NULL};
static const char *const state_words[] = {"open",    "assigned", "already", "undone", "left",
                                          "refused", "unproved", "lost",    NULL};
static const char *const problem_words[] = {
    "none", "nobody", "doubled", "taken", "wrong_kind", "other_serial", "cannot", "declined", NULL};

const char *lw_assign_state_word(enum lw_assign_state state)
{
    return state_words[state];
}

static const struct lw_field write_fields[] = {
    {LW_AT(struct lw_assign_write, what), .kind = LW_TEXT, .required = true,
     .says = "unlock, address, framing, save or restart"},
    {LW_AT(struct lw_assign_write, to_address), .kind = LW_INTEGER, .required = true,
     .says = "address that it was sent to"},
    {LW_AT(struct lw_assign_write, to_framing), .kind = LW_TEXT, .says = "framing it was sent at"},
    {LW_AT(struct lw_assign_write, function), .kind = LW_INTEGER, .required = true,
     .says = "function code, 6 or 16"},
    {.key = "register",
     .offset = offsetof(struct lw_assign_write, at),
     .kind = LW_INTEGER,
     .required = true,
     .says = "register written, zero-based"},
    {LW_AT(struct lw_assign_write, value), .kind = LW_INTEGER, .required = true,
     .says = "what was written"},
    {LW_AT(struct lw_assign_write, before), .kind = LW_NUMBER, .nullable = true,
     .says = "what it held; null: not read"},
    {LW_AT(struct lw_assign_write, time), .kind = LW_TEXT, .says = "when, UTC"},
    {LW_AT(struct lw_assign_write, outcome), .kind = LW_TEXT,
     .says = "answered: the node confirmed it; no_answer: it may have taken it"},
    {LW_AT(struct lw_assign_write, exception), .kind = LW_INTEGER,
     .says = "code that the node refused it with; 0: none"},
    {LW_AT(struct lw_assign_write, undo), .kind = LW_BOOLEAN, .says = "it put the old state back"},
    {0},
};
static const struct lw_shape write_shape = {
    .name = "assign_write", .size = sizeof(struct lw_assign_write), .fields = write_fields};

#define TEXT(member) LW_AT(struct lw_assign_node, member), .kind = LW_TEXT

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_assign_node, tap), .kind = LW_INTEGER, .required = true,
     .says = "place on the chain, from 1"},
    {TEXT(node), .required = true, .says = "name in the plan"},
    {TEXT(place), .says = "where its sensor sits"},
    {TEXT(profile), .says = "its kind"},
    {LW_AT(struct lw_assign_node, way), .kind = LW_CHOICE, .names = way_words,
     .says = "how it gets its address"},
    {LW_AT(struct lw_assign_node, state), .kind = LW_CHOICE, .names = state_words,
     .says = "what came of it"},
    {LW_AT(struct lw_assign_node, problem), .kind = LW_CHOICE, .names = problem_words,
     .says = "why it was left alone"},
    {LW_AT(struct lw_assign_node, to_address), .kind = LW_INTEGER, .says = "address it was to get"},
    {TEXT(to_framing), .says = "framing it was to get"},
    {LW_AT(struct lw_assign_node, before_address), .kind = LW_INTEGER,
     .says = "address where it was found; 0: it was not"},
    {TEXT(before_framing), .says = "framing at which it was found"},
    {LW_AT(struct lw_assign_node, after_address), .kind = LW_INTEGER,
     .says = "address where it answered at the end; 0: nothing was written, or it was not found"},
    {TEXT(after_framing), .says = "framing at which it answered at the end"},
    {TEXT(vendor), .says = "as the node says it"},
    {TEXT(product_code), .says = "as the node says it"},
    {TEXT(serial), .says = "as the node says it"},
    {TEXT(planned_serial), .says = "of the plan"},
    {TEXT(replaced_serial), .says = "of the node that was there before"},
    {TEXT(switches), .says = "setting of its address switches, switch 1 first"},
    {TEXT(label), .says = "what its label says"},
    {LW_AT(struct lw_assign_node, answered_after_s), .kind = LW_NUMBER, .nullable = true,
     .unit = "s", .says = "from the last write to the answer at its new place; null: none"},
    {LW_AT(struct lw_assign_node, writes), .kind = LW_LIST, .sub = &write_shape,
     .says = "every register written, in order"},
    {LW_AT(struct lw_assign_node, restarted), .kind = LW_TEXTS,
     .says = "nodes that restarted meanwhile, while others did not"},
    {LW_AT(struct lw_assign_node, silent), .kind = LW_TEXTS,
     .says = "nodes that answered before and not any more"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "assign_node", .size = sizeof(struct lw_assign_node), .fields = node_fields};

static const struct lw_field assign_fields[] = {
    {LW_AT(struct lw_assign_result, allowed_by), .kind = LW_TEXT, .says = "who allowed writing"},
    {LW_AT(struct lw_assign_result, made_sure_by), .kind = LW_TEXT,
     .says = "who made sure that drives are off and locked out"},
    {LW_AT(struct lw_assign_result, walk), .kind = LW_BOOLEAN,
     .says = "each node was plugged when it was asked for"},
    {LW_AT(struct lw_assign_result, nodes), .kind = LW_LIST, .sub = &node_shape,
     .says = "as they were come to"},
    {0},
};
const struct lw_shape lw_assign_shape = {
    .name = "assign", .size = sizeof(struct lw_assign_result), .fields = assign_fields};

static bool read_result(const struct lw_record *record, struct lw_assign_result *result)
{
    return strcmp(record->check, "assign") == 0 && record->result != NULL &&
           lw_json_read(&lw_assign_shape, record->result, strlen(record->result), result, NULL) ==
               LW_OK;
}

bool lw_assign_wrote(const struct lw_record *record)
{
    struct lw_assign_result result;
    bool wrote = false;
    if (!read_result(record, &result)) {
        return false;
    }
    const struct lw_assign_node *nodes = result.nodes.items;
    for (size_t i = 0; i < result.nodes.count; i++) {
        wrote = wrote || nodes[i].writes.count > 0;
    }
    lw_json_free(&lw_assign_shape, &result);
    return wrote;
}

static bool has_come_to(const struct lw_assign_result *result, int tap)
{
    const struct lw_assign_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].tap == tap && nodes[i].state != LW_ASSIGN_OPEN &&
            nodes[i].state != LW_ASSIGN_LEFT) {
            return true;
        }
    }
    return false;
}

bool lw_assign_covers(const struct lw_record *later, const struct lw_record *earlier)
{
    struct lw_assign_result new, old;
    if (!read_result(later, &new)) {
        return false;
    }
    bool covers = read_result(earlier, &old);
    if (covers) {
        const struct lw_assign_node *nodes = old.nodes.items;
        for (size_t i = 0; i < old.nodes.count; i++) {
            covers = covers && has_come_to(&new, nodes[i].tap);
        }
        lw_json_free(&lw_assign_shape, &old);
    }
    lw_json_free(&lw_assign_shape, &new);
    return covers;
}

static struct lw_finding *about(struct lw_findings *findings, struct lw_finding *finding,
                                const struct lw_assign_node *node)
{
    lw_finding_node(findings, finding, node->node, (size_t)node->tap, node->to_address);
    return finding;
}

static const struct lw_assign_write *refused_write(const struct lw_assign_node *node)
{
    const struct lw_assign_write *writes = node->writes.items;
    for (size_t i = node->writes.count; i-- > 0;) {
        if (writes[i].exception != 0) {
            return &writes[i];
        }
    }
    return NULL;
}

// What stands in the node now is what matters most to whoever comes next.
static void because_where(struct lw_findings *findings, struct lw_finding *finding,
                          const struct lw_assign_node *node)
{
    size_t taken = 0;
    const struct lw_assign_write *writes = node->writes.items;
    for (size_t i = 0; i < node->writes.count; i++) {
        taken += strcmp(writes[i].outcome != NULL ? writes[i].outcome : "", "answered") == 0;
    }
    lw_finding_because(findings, finding, "%zu of %zu writes were confirmed", taken,
                       node->writes.count);
    if (node->after_address > 0) {
        lw_finding_because(findings, finding, "it was last found at address %d, %s",
                           node->after_address, node->after_framing);
    } else {
        lw_finding_because(findings, finding, "it was last found at address %d, %s",
                           node->before_address, node->before_framing);
    }
}

static void find_written(const struct lw_assign_node *node, struct lw_findings *findings)
{
    struct lw_finding *finding = NULL;
    if (node->state == LW_ASSIGN_REFUSED) {
        const struct lw_assign_write *write = refused_write(node);
        finding = about(findings,
                        lw_findings_add(findings, "assign_refused", LW_FAIL,
                                        "%s refused what was written to it", node->node),
                        node);
        if (write != NULL) {
            lw_finding_because(findings, finding, "register %d = %d (%s): exception %d", write->at,
                               write->value, write->what, write->exception);
        }
        because_where(findings, finding, node);
    } else if (node->state == LW_ASSIGN_UNPROVED) {
        finding = about(findings,
                        lw_findings_add(findings, "assign_unproved", LW_UNDECIDED,
                                        "%s was written to and not looked for since", node->node),
                        node);
        because_where(findings, finding, node);
    } else if (node->state == LW_ASSIGN_LOST) {
        finding = about(findings,
                        lw_findings_add(findings, "assign_lost", LW_FAIL,
                                        "%s was written to and was not found at its new place",
                                        node->node),
                        node);
        because_where(findings, finding, node);
    } else if (node->state == LW_ASSIGN_UNDONE) {
        finding = about(findings,
                        lw_findings_add(findings, "assign_undone", LW_NOT_TESTED,
                                        "what was written to %s was undone", node->node),
                        node);
        because_where(findings, finding, node);
    }
}

static void find_left(const struct lw_assign_node *node, struct lw_findings *findings)
{
    struct lw_finding *finding = NULL;
    switch ((enum lw_assign_problem)node->problem) {
    case LW_ASSIGN_NOBODY:
        finding = lw_findings_add(findings, "assign_nobody", LW_FAIL, "no new node answered for %s",
                                  node->node);
        break;
    case LW_ASSIGN_DOUBLED:
        finding = lw_findings_add(findings, "assign_doubled", LW_FAIL,
                                  "more than one new node answered for %s", node->node);
        break;
    case LW_ASSIGN_TAKEN:
        finding = lw_findings_add(findings, "assign_taken", LW_FAIL,
                                  "the address of %s is taken by another node", node->node);
        break;
    case LW_ASSIGN_WRONG_KIND:
        finding = lw_findings_add(findings, "assign_wrong_kind", LW_FAIL,
                                  "the node plugged for %s is of another kind", node->node);
        break;
    case LW_ASSIGN_OTHER_SERIAL:
        finding = lw_findings_add(findings, "assign_left", LW_NOT_TESTED,
                                  "the node plugged for %s is another than planned", node->node);
        break;
    case LW_ASSIGN_CANNOT:
        finding =
            lw_findings_add(findings, "assign_cannot", LW_NOT_TESTED,
                            "the profile of %s does not say how it gets this address", node->node);
        break;
    case LW_ASSIGN_DECLINED:
    case LW_ASSIGN_FINE:
        finding = lw_findings_add(findings, "assign_left", LW_NOT_TESTED, "%s was left as it is",
                                  node->node);
        break;
    }
    about(findings, finding, node);
}

static void find_serial(const struct lw_assign_node *node, struct lw_findings *findings)
{
    bool other = node->planned_serial != NULL && node->serial != NULL &&
                 strcmp(node->planned_serial, node->serial) != 0;
    if (!other || node->state != LW_ASSIGN_ASSIGNED) {
        return;
    }
    struct lw_finding *finding =
        about(findings,
              lw_findings_add(findings, "assign_other_serial", LW_ATTENTION,
                              "%s is another module than planned", node->node),
              node);
    lw_finding_because(findings, finding, "its serial is %s, the plan's %s", node->serial,
                       node->planned_serial);
}

static void find_neighbours(const struct lw_assign_node *node, struct lw_findings *findings)
{
    char *const *restarted = node->restarted.items, *const *silent = node->silent.items;
    for (size_t i = 0; i < node->restarted.count; i++) {
        about(findings,
              lw_findings_add(findings, "assign_neighbour_reset", LW_ATTENTION,
                              "%s restarted while %s was plugged", restarted[i], node->node),
              node);
    }
    for (size_t i = 0; i < node->silent.count; i++) {
        about(findings,
              lw_findings_add(findings, "assign_neighbour_silent", LW_FAIL,
                              "%s fell silent while %s was worked on", silent[i], node->node),
              node);
    }
}

void lw_assign_findings(const struct lw_assign_result *result, struct lw_findings *findings)
{
    const struct lw_assign_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].state == LW_ASSIGN_LEFT || nodes[i].state == LW_ASSIGN_OPEN) {
            find_left(&nodes[i], findings);
        }
        find_written(&nodes[i], findings);
        find_serial(&nodes[i], findings);
        find_neighbours(&nodes[i], findings);
    }
}
