// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a scan says: its JSON shape, and its findings.
#include "check/scan.h"

#include "check/silent.h"

static const struct lw_field object_fields[] = {
    {LW_AT(struct lw_scan_object, object), .kind = LW_INTEGER, .required = true,
     .says = "object id, 0 to 255 (MODBUS Application Protocol V1.1b3, 6.21)"},
    {LW_AT(struct lw_scan_object, text), .kind = LW_TEXT, .says = "its text, cleaned"},
    {0},
};
static const struct lw_shape object_shape = {
    .name = "scan_object", .size = sizeof(struct lw_scan_object), .fields = object_fields};

static const struct lw_field identity_fields[] = {
    {LW_AT(struct lw_scan_identity, vendor), .kind = LW_TEXT, .says = "vendor name"},
    {LW_AT(struct lw_scan_identity, product_code), .kind = LW_TEXT, .says = "product code"},
    {LW_AT(struct lw_scan_identity, revision), .kind = LW_TEXT, .says = "firmware revision"},
    {LW_AT(struct lw_scan_identity, more), .kind = LW_LIST, .sub = &object_shape,
     .says = "all further objects"},
    {LW_AT(struct lw_scan_identity, simulated), .kind = LW_BOOLEAN,
     .says = "the node says that it is a virtual one"},
    {0},
};
static const struct lw_shape identity_shape = {
    .name = "scan_identity", .size = sizeof(struct lw_scan_identity), .fields = identity_fields};

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_scan_node, address), .kind = LW_INTEGER, .required = true,
     .says = "address of the node"},
    {LW_AT(struct lw_scan_node, reply_ms), .kind = LW_NUMBER, .nullable = true,
     .says = "from the end of the request to the start of the answer"},
    {LW_AT(struct lw_scan_node, identity), .kind = LW_OPTIONAL, .sub = &identity_shape,
     .nullable = true, .says = "what it says of itself; null when it has no identity"},
    {LW_AT(struct lw_scan_node, server_id), .kind = LW_TEXT, .nullable = true,
     .says = "answer to Report Server ID, where there is no identity"},
    {LW_AT(struct lw_scan_node, doubled), .kind = LW_BOOLEAN,
     .says = "two nodes answer at this address"},
    {LW_AT(struct lw_scan_node, late), .kind = LW_BOOLEAN,
     .says = "answered, but later than slowest_reply_s"},
    {LW_AT(struct lw_scan_node, exception), .kind = LW_BOOLEAN,
     .says = "answered the question for presence with an exception"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "scan_node", .size = sizeof(struct lw_scan_node), .fields = node_fields};

static const struct lw_field scan_fields[] = {
    {LW_AT(struct lw_scan_result, framing), .kind = LW_TEXT, .says = "framing of the line"},
    {LW_AT(struct lw_scan_result, elapsed_s), .kind = LW_NUMBER, .says = "the whole scan"},
    {LW_AT(struct lw_scan_result, wire_s), .kind = LW_NUMBER,
     .says = "what the wire alone takes for the address pass"},
    {LW_AT(struct lw_scan_result, pass_s), .kind = LW_NUMBER, .says = "the address pass"},
    {LW_AT(struct lw_scan_result, slowest_reply_s), .kind = LW_NUMBER,
     .says = "how long a silent address was waited for"},
    {LW_AT(struct lw_scan_result, asked), .kind = LW_INTEGER, .says = "addresses asked"},
    {LW_AT(struct lw_scan_result, garbled), .kind = LW_INTEGER,
     .says = "addresses with a damaged answer in the first pass"},
    {LW_AT(struct lw_scan_result, late_replies), .kind = LW_INTEGER,
     .says = "answers that came after their time and were traced"},
    {LW_AT(struct lw_scan_result, foreign), .kind = LW_BOOLEAN,
     .says = "another master was heard and the scan stopped there"},
    {LW_AT(struct lw_scan_result, simulated), .kind = LW_BOOLEAN,
     .says = "a node said that it is a virtual one"},
    {LW_AT(struct lw_scan_result, nodes), .kind = LW_LIST, .sub = &node_shape,
     .says = "nodes found, by address"},
    {0},
};
const struct lw_shape lw_scan_shape = {
    .name = "scan", .size = sizeof(struct lw_scan_result), .fields = scan_fields};

static const struct lw_scan_node *node_at(const struct lw_scan_result *result, int address)
{
    const struct lw_scan_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].address == address) {
            return &nodes[i];
        }
    }
    return NULL;
}

static bool was_selected(const struct lw_scan_options *options, int address)
{
    bool any = false;
    for (int i = 0; i < 256; i++) {
        any = any || options->selected[i];
    }
    return !any || options->selected[address];
}

static void find_missing(const struct lw_plan *plan, const struct lw_scan_options *options,
                         const struct lw_scan_result *result, struct lw_findings *findings)
{
    enum lw_silent_tap *taps = calloc(lw_plan_taps(plan) + 1, sizeof *taps);
    if (taps == NULL) {
        findings->failed = true;
        return;
    }
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        bool asked = entry->node != NULL && was_selected(options, entry->address);
        bool answers = asked && node_at(result, entry->address) != NULL;
        taps[tap - 1] = answers ? LW_TAP_ANSWERS : asked ? LW_TAP_SILENT : LW_TAP_NOT_ASKED;
    }
    lw_silent_findings(plan, taps, "each was asked again and waited for 1 s", findings);
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (taps[tap - 1] == LW_TAP_SILENT) {
            struct lw_finding *finding =
                lw_findings_add(findings, "scan_missing", LW_FAIL,
                                "%s does not answer at address %d, not even within 1 s",
                                entry->node, entry->address);
            lw_finding_node(findings, finding, entry->node, tap, entry->address);
        }
    }
    free(taps);
}

static void find_in_node(const struct lw_plan *plan, const struct lw_scan_result *result,
                         const struct lw_scan_node *node, struct lw_findings *findings)
{
    size_t tap = 0;
    const struct lw_chain_entry *entry =
        plan != NULL ? lw_plan_by_address(plan, node->address, &tap) : NULL;
    const char *name = entry != NULL ? entry->node : NULL;
    if (plan != NULL && entry == NULL) {
        struct lw_finding *finding =
            lw_findings_add(findings, "scan_unplanned", LW_ATTENTION,
                            "address %d answers, but the plan has no node there", node->address);
        lw_finding_node(findings, finding, NULL, 0, node->address);
    }
    if (node->doubled) {
        struct lw_finding *finding = lw_findings_add(
            findings, "scan_doubled", LW_FAIL,
            "address %d is answered by more than one node at a time", node->address);
        lw_finding_because(findings, finding,
                           "answers are damaged where two nodes must differ (serial, live value), "
                           "and whole elsewhere on the line");
        lw_finding_node(findings, finding, name, tap, node->address);
    }
    if (node->late) {
        struct lw_finding *finding =
            lw_findings_add(findings, "scan_late", LW_ATTENTION,
                            "address %d answers only after %.0f ms", node->address, node->reply_ms);
        if (finding != NULL) {
            finding->value = node->reply_ms;
            finding->limit = result->slowest_reply_s * 1e3;
            finding->unit = lw_duplicate("ms");
        }
        lw_finding_because(findings, finding, "it was expected within %.0f ms",
                           result->slowest_reply_s * 1e3);
        lw_finding_node(findings, finding, name, tap, node->address);
    }
}

void lw_scan_findings(const struct lw_plan *plan, const struct lw_scan_options *options,
                      const struct lw_scan_result *result, struct lw_findings *findings)
{
    if (result->foreign) {
        lw_findings_add(findings, "line_foreign", LW_FAIL,
                        "another master was heard on the line; the scan stopped there");
    }
    if (plan != NULL && !result->foreign && result->nodes.count > 0) {
        find_missing(plan, options, result, findings);
    }
    const struct lw_scan_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        find_in_node(plan, result, &nodes[i], findings);
    }
    if (result->nodes.count == 0 && result->garbled > 0) {
        lw_findings_add(findings, "scan_garbled", LW_UNDECIDED,
                        "something answers at %d addresses, but nothing of it can be read",
                        result->garbled);
    } else if (result->nodes.count == 0 && !result->foreign) {
        lw_findings_add(findings, "scan_none", LW_FAIL, "nobody answers on this line");
    }
}
