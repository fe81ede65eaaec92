// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a year later proves the report: instruments, every record with its digests, and by which
// published methods the numbers came about.
#include "base/unit.h"
#include "report/build.h"
#include "report/words.h"

// The meter of the guided steps is named there; what the visit lists comes first.
static size_t count_meters(const struct lw_report_view *view)
{
    size_t count = 0;
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_report_counted *counted = lw_report_counted_at(view, i);
        count += counted->result != NULL && strcmp(counted->record->check, "meter") == 0;
    }
    return count;
}

static void meter_rows(struct lw_document *document, const struct lw_report_view *view)
{
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_report_counted *counted = lw_report_counted_at(view, i);
        if (counted->result == NULL || strcmp(counted->record->check, "meter") != 0) {
            continue;
        }
        const struct lw_meter_result *result = counted->result;
        lw_document_cell(document, result->instrument.name);
        lw_document_cell(document, _("Hand meter"));
        lw_document_cell(document, result->instrument.serial);
        lw_document_cell(document, NULL);
        lw_document_cell(document, NULL);
        lw_document_cell(document, result->instrument.due_on);
        lw_document_cell(document, NULL);
    }
}

static void instruments(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_list *list = &view->facts->instruments;
    const struct lw_column columns[] = {
        {_("Instrument"), NULL, false},  {_("Kind"), NULL, false},       {_("Serial"), NULL, false},
        {_("Certificate"), NULL, false}, {_("Calibrated"), NULL, false}, {_("Due"), NULL, false},
        {_("Uncertainty"), NULL, false},
    };
    lw_document_heading(document, 1, _("Instruments"));
    if (list->count + count_meters(view) == 0) {
        lw_document_paragraph(document,
                              _("No hand-held instrument was named. Voltages are as the nodes "
                                "themselves measure them."));
        return;
    }
    lw_document_table(document, _("Instruments used"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < list->count; i++) {
        const struct lw_instrument *instrument = &((const struct lw_instrument *)list->items)[i];
        char text[128];
        lw_print(text, sizeof text, "%.6g %s, k = %.6g", instrument->u,
                 instrument->unit == NULL ? "" : lw_unit_shown(instrument->unit, true),
                 instrument->k);
        lw_document_cell(document, instrument->id);
        lw_document_cell(document, instrument->kind);
        lw_document_cell(document, instrument->serial);
        lw_document_cell(document, instrument->certificate);
        lw_document_cell(document, instrument->calibrated_on);
        lw_document_cell(document, instrument->due_on);
        lw_document_cell(document, isfinite(instrument->u) ? text : NULL);
    }
    meter_rows(document, view);
}

static void record_rows(struct lw_document *document, const struct lw_list *records)
{
    const struct lw_column columns[] = {
        {_("Record"), NULL, true},         {_("Check"), NULL, false},
        {_("Started"), NULL, false},       {_("Finished"), NULL, false},
        {_("Machine state"), NULL, false}, {_("Line"), NULL, false},
        {_("Result"), NULL, false},
    };
    lw_document_table(document, _("Records of this visit, also those that later ones replaced"),
                      columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < records->count; i++) {
        const struct lw_record *record = lw_report_record_at(records, i);
        char time[64];
        lw_document_number(document, record->number, 0);
        lw_document_cell(document, record->check);
        lw_report_time(record->started, time, sizeof time);
        lw_document_cell(document, time);
        lw_report_time(record->finished, time, sizeof time);
        lw_document_cell(document, time);
        lw_document_cell(document, record->state);
        lw_document_cell(document, record->line == NULL      ? NULL
                                   : record->line->simulated ? _("simulated")
                                                             : record->line->on);
        lw_document_cell(document, _(lw_verdict_shown((enum lw_verdict)record->verdict)));
        lw_document_mark(document, (enum lw_verdict)record->verdict);
    }
}

// A record's own digest stands in the record after it; the last one's was computed anew.
static void digests(struct lw_document *document, const struct lw_report_view *view)
{
    for (size_t i = 0; i < view->records->count; i++) {
        const struct lw_record *record = lw_report_record_at(view->records, i);
        bool is_last = i + 1 == view->records->count;
        char name[LW_DOCUMENT_CELL];
        lw_print(name, sizeof name, "%04d-%s.json", record->number, record->check);
        lw_document_evidence(document, name,
                             is_last ? view->last_digest
                                     : lw_report_record_at(view->records, i + 1)->previous_sha256);
        for (size_t k = 0; k < record->files.count; k++) {
            const struct lw_record_file *file =
                &((const struct lw_record_file *)record->files.items)[k];
            lw_document_evidence(document, file->name, file->sha256);
        }
    }
}

static bool named_before(const struct lw_list *records, size_t index, const char *digest)
{
    for (size_t i = 0; i < index; i++) {
        const struct lw_list *inputs = &lw_report_record_at(records, i)->inputs;
        for (size_t k = 0; k < inputs->count; k++) {
            if (strcmp(((const struct lw_record_file *)inputs->items)[k].sha256, digest) == 0) {
                return true;
            }
        }
    }
    return false;
}

static void inputs(struct lw_document *document, const struct lw_list *records)
{
    for (size_t i = 0; i < records->count; i++) {
        const struct lw_list *list = &lw_report_record_at(records, i)->inputs;
        for (size_t k = 0; k < list->count; k++) {
            const struct lw_record_file *file = &((const struct lw_record_file *)list->items)[k];
            if (!named_before(records, i, file->sha256)) {
                lw_document_evidence(document, file->name, file->sha256);
            }
        }
    }
}

void lw_report_evidence(struct lw_document *document, const struct lw_report_view *view)
{
    instruments(document, view);
    lw_document_heading(document, 1, _("Evidence"));
    if (view->records->count == 0) {
        lw_document_paragraph(document, _("The visit has no records."));
        return;
    }
    if (view->broken > 0) {
        lw_document_paragraph(document,
                              _("The records do not fit together: record %d or what stands beside "
                                "it was changed, removed or added after it was written."),
                              view->broken);
    } else {
        lw_document_paragraph(document,
                              _("The records fit together: each names the digest of the one before "
                                "it, and every file fits its digest."));
    }
    record_rows(document, view->records);
    lw_document_heading(document, 2, _("Digests (SHA-256)"));
    lw_document_paragraph(
        document, _("A file whose digest differs from the one here has been changed. Digests alone "
                    "prove no time: the signed paper that carries them does."));
    digests(document, view);
    inputs(document, view->records);
}

struct method {
    const char *check, *text; // check NULL: always
};

static const struct method methods[] = {
    {NULL,
     N_("Decisions. A limit is proved or disproved at one-sided 95 % confidence, corrected for "
        "the number of nodes judged together; between lies undecided. Uncertainty counts "
        "against the party that makes the proof (ISO 14253-1:2017).")},
    {"scan",
     N_("Scan. Every address of 1 to 247 that is asked for is sent one read request; any "
        "answer, a refusal too, is presence (MODBUS over Serial Line V1.02, 2.2; MODBUS "
        "Application Protocol V1.1b3, 6 and 7). Silent planned and damaged answers are asked "
        "again, longer.")},
    {"roster", N_("Identity. Read Device Identification, function 0x2B/0x0E (MODBUS Application "
                  "Protocol V1.1b3, 6.21), and the registers that the profile names.")},
    {"link",
     N_("Error rate. Failed polls over all polls; the bound is the exact binomial one (C. J. "
        "Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413) on events, errors within "
        "a second of each other being one, since errors come in bursts.")},
    {"supply",
     N_("Supply. Both rails as a ladder of resistances with the nodes as loads. Conductors "
        "count at the largest resistance that IEC 60228 allows for class 5 at 20 degC, "
        "corrected with 0.00393 per kelvin; the worst case takes the far end of every "
        "tolerance the plan names at once.")},
    {"supply",
     N_("Uncertainty of a measured voltage is its standard uncertainty (JCGM 100:2008); the "
        "interval drawn is twice that. A node's voltmeter errs by a constant, so more "
        "readings do not make it better.")},
    {"compare",
     N_("Comparison. Bounds of a change are two-sided and hold with 95 % confidence for all rows "
        "together (Bonferroni). A voltmeter's constant error cancels when the node's serial is the "
        "same; spreads are compared with the F distribution on effective degrees of freedom, error "
        "rates by the bounds of both (Clopper and Pearson, 1934).")},
    {"touch",
     N_("Touch walk. A sensor counts as deflected when two readings in a row leave its rest by a "
        "share of its planned travel or range, above twelve standard deviations of its noise. It "
        "is named when all others have been looked at while it was held and it stands out "
        "sixfold. Returns are judged at 95 %, shared among all of them, with the noise of the "
        "readings and a steady drift allowed for.")},
    {"assign",
     N_("Addresses. A node is written to only when one node answers where it is and none where it "
        "is to be; several reads of serial and live value tell two like nodes from one. It counts "
        "as assigned when the same serial answers at the new place and none at the old.")},
    {"restart",
     N_("Restart. All nodes are polled in turn while the supply is switched off and on; a first "
        "answer is known to the time since the node was last asked. A restart is proved by the "
        "node's own uptime, its count of restarts, or its count of bus messages (MODBUS "
        "Application Protocol V1.1b3, 6.8), which begins anew.")},
    {"meter",
     N_("Hand meter. A value is held against its band with the maker's limits of the meter as an "
        "even distribution (JCGM 100:2008, 4.3.7) at one-sided 95 %. Bands of the data pair count "
        "terminators, receivers of 12 kohm a unit load (TIA/EIA-485-A) and the bias, resistors 5 % "
        "either way; continuity by a hand meter is below 1 ohm (common practice) and proves no "
        "quality.")},
    {"noise",
     N_("Noise. Standard deviation of readings at rest about a straight line through them, "
        "with chi-square bounds for as many independent readings as the correlation of "
        "neighbours leaves. The limit is the profile's or the plan's, over the time it "
        "names.")},
    {"watch",
     N_("Watching. A drop-out is a silence of two polls and more in a row; a jump is a step "
        "between neighbouring readings of more than ten standard deviations of the steps before "
        "it. What a node did between two polls is not seen: the longest time is named.")},
};

void lw_report_methods(struct lw_document *document, const struct lw_report_view *view)
{
    lw_document_heading(document, 1, _("Method and sources"));
    for (size_t i = 0; i < sizeof methods / sizeof *methods; i++) {
        bool used = methods[i].check == NULL;
        for (size_t k = 0; k < view->counting->count && !used; k++) {
            used = strcmp(lw_report_counted_at(view, k)->record->check, methods[i].check) == 0;
        }
        if (used) {
            lw_document_paragraph(document, "%s", _(methods[i].text));
        }
    }
    lw_document_paragraph(document, _("Digests are SHA-256 (FIPS 180-4)."));
}
