// SPDX-License-Identifier: GPL-3.0-or-later
//
// The made visit. Figures follow simple curves, so a test can say what a chart has to show.
#include "fixture.h"

#include "base/file.h"
#include "base/list.h"
#include "base/text.h"
#include "check/note.h"

enum { BLOCKS = 40000, CHECKS = 6 };

struct fixture {
    struct fixture_options options;
    void *blocks[BLOCKS];
    size_t block_count;
    struct lw_visit_facts facts;
    struct lw_plan plan;
    struct lw_profile profiles[3];
    struct lw_record records[CHECKS + 1];
    struct lw_list record_list, counting, photo_names, album;
    struct lw_checklist_result checklist;
    struct lw_acceptance acceptance;
    struct lw_anchor anchor;
    struct lw_list signatures;
    struct lw_report_view view;
    struct lw_supply_result supply;
    struct lw_link_result link;
    struct lw_noise_result noise;
    struct lw_roster_result roster;
    struct lw_scan_result scan;
    struct lw_note note;
};

static void *make(struct fixture *fixture, size_t count, size_t size)
{
    void *block = calloc(count == 0 ? 1 : count, size);
    if (block == NULL || fixture->block_count == BLOCKS) {
        abort();
    }
    return fixture->blocks[fixture->block_count++] = block;
}

static struct lw_list list_of(struct fixture *fixture, size_t count, size_t size)
{
    return (struct lw_list){make(fixture, count, size), count};
}

// The ordinary text, or the hostile one in its place.
static char *say(struct fixture *fixture, const char *text)
{
    const char *said = fixture->options.hostile == NULL ? text : fixture->options.hostile;
    size_t length = strlen(said) + 1;
    return memcpy(make(fixture, length, 1), said, length);
}

static char *say_number(struct fixture *fixture, const char *format_before, size_t number)
{
    char text[64];
    snprintf(text, sizeof text, "%s%02zu", format_before, number);
    return say(fixture, text);
}

// One of `count` nodes is the weak span's, one is disturbed; the last tenth is starved.
static size_t weak_tap(const struct fixture *fixture)
{
    return fixture->options.nodes * 6 / 10 + 1;
}

static size_t disturbed_tap(const struct fixture *fixture)
{
    return fixture->options.nodes / 3 + 1;
}

static double volts_at(const struct fixture *fixture, size_t tap)
{
    double share = (double)tap / (double)fixture->options.nodes;
    return 24 - 3.2 * (2 * share - share * share);
}

static double measured_at(const struct fixture *fixture, size_t tap)
{
    double step = fixture->options.faulty && tap >= weak_tap(fixture) ? 3.4 : 0;
    return floor((volts_at(fixture, tap) - step + 0.02 * sin((double)tap * 7)) * 100) / 100;
}

static double minimum_at(size_t tap)
{
    return tap % 3 == 0 ? 16 : 18;
}

static void make_plan(struct fixture *fixture)
{
    static const struct lw_limits limits = {.margin_v = 1,
                                            .supply_load_pct = 80,
                                            .error_rate = 1e-3,
                                            .bursts_per_h = NAN,
                                            .reply_ms = 50,
                                            .noise_limit = NAN,
                                            .first_answer_s = NAN};
    struct lw_plan *plan = &fixture->plan;
    plan->revision = say(fixture, "B");
    plan->drawing = say(fixture, "EX-0417-E3");
    plan->site.customer = say(fixture, "Example Rings");
    plan->site.machine = say(fixture, "Cell 4 ring gauge");
    plan->site.location = say(fixture, "Hall 2");
    plan->site.job = say(fixture, "EX-0417");
    plan->line.wanted_cycle_ms = 500;
    plan->limits = limits;
    plan->chain = list_of(fixture, fixture->options.nodes, sizeof(struct lw_chain_entry));
    plan->supplies = list_of(fixture, 2, sizeof(struct lw_supply));
    struct lw_chain_entry *chain = plan->chain.items;
    for (size_t i = 0; i < plan->chain.count; i++) {
        fixture->profiles[i % 3].kind = (int)(i % 3);
        chain[i].node = say_number(fixture, "P", i + 1);
        chain[i].profile = say(fixture, "example-probe");
        chain[i].place = say_number(fixture, "station ", i / 2 + 1);
        chain[i].serial = say_number(fixture, "1000", i + 1);
        chain[i].address = (int)i + 1;
        chain[i].is = &fixture->profiles[i % 3];
    }
}

static void make_supply(struct fixture *fixture)
{
    size_t count = fixture->options.nodes;
    struct lw_supply_result *supply = &fixture->supply;
    *supply = (struct lw_supply_result){.operating_point = true,
                                        .carries_nodes = (double)count + 6,
                                        .load_factor = 1.3,
                                        .idle_v = 0.24,
                                        .unit_loads = (double)count / 8,
                                        .measured_nodes = (double)count};
    supply->taps = list_of(fixture, count, sizeof(struct lw_supply_tap));
    supply->spans = list_of(fixture, count, sizeof(struct lw_supply_span));
    supply->supplies = list_of(fixture, 2, sizeof(struct lw_supply_supply));
    struct lw_supply_tap *taps = supply->taps.items;
    struct lw_supply_span *spans = supply->spans.items;
    for (size_t tap = 1; tap <= count; tap++) {
        taps[tap - 1] = (struct lw_supply_tap){
            .tap = (int)tap,
            .node = say_number(fixture, "P", tap),
            .volts = volts_at(fixture, tap),
            .zero_rise_v = (24 - volts_at(fixture, tap)) / 2,
            .minimum_v = minimum_at(tap),
            .maximum_v = 30,
            .on = true,
            .worst_volts = volts_at(fixture, tap) - 1.1,
            .under_probability = NAN,
            .cold_volts = NAN,
            .measured_v = tap % 11 == 5 ? (double)NAN : measured_at(fixture, tap),
            .measured_u_v = 0.03};
        spans[tap - 1] = (struct lw_supply_span){.span = (int)tap,
                                                 .amps = 1.5,
                                                 .rated_a = 3,
                                                 .ohm_plan = tap % 8 == 1 ? 0.09 : 0.03,
                                                 .ohm_measured = NAN,
                                                 .ohm_u95 = NAN,
                                                 .ratio_to_plan = NAN,
                                                 .smallest_visible_ohm = 0.05};
    }
    struct lw_supply_supply *supplies = supply->supplies.items;
    const double amps[] = {1.9, 0.7};
    for (int i = 0; i < 2; i++) {
        supplies[i] = (struct lw_supply_supply){.name = say(fixture, i == 0 ? "PS1" : "PS2"),
                                                .tap = i == 0 ? 1 : (int)count,
                                                .amps = amps[i],
                                                .limit_a = 2.5,
                                                .load_pct = 40 * amps[i],
                                                .mode = say(fixture, "voltage"),
                                                .measured_v = NAN,
                                                .measured_u_v = NAN,
                                                .measured_a = NAN,
                                                .measured_u_a = NAN,
                                                .cold_amps = amps[i],
                                                .cold_mode = say(fixture, "voltage")};
    }
    if (fixture->options.faulty) {
        supply->weak_span = (double)weak_tap(fixture);
        supply->weak_span_low = supply->weak_span - 1;
        supply->weak_span_high = supply->weak_span;
        supply->weak_extra_ohm = 2.9;
        supply->weak_proved = true;
    }
}

static void make_link(struct fixture *fixture)
{
    size_t count = fixture->options.nodes;
    struct lw_link_result *link = &fixture->link;
    *link = (struct lw_link_result){.cycle_ms = 17.0 * (double)count,
                                    .longest_cycle_ms = 21.0 * (double)count,
                                    .wire_cycle_ms = 16.1 * (double)count,
                                    .elapsed_s = 60,
                                    .line = {.polls = 3600,
                                             .errors = 1,
                                             .error_rate = 2.8e-4,
                                             .upper95 = 1.3e-3,
                                             .events = 1,
                                             .worst_second = 1}};
    link->nodes = list_of(fixture, count, sizeof(struct lw_link_node));
    struct lw_link_node *nodes = link->nodes.items;
    for (size_t i = 0; i < count; i++) {
        bool odd = i == count / 2;
        nodes[i] = (struct lw_link_node){
            .node = say_number(fixture, "P", i + 1),
            .tap = (int)i + 1,
            .address = (int)i + 1,
            .polls = 900,
            .no_answer = odd,
            .error_rate = odd ? 1.0 / 900 : 0,
            .upper95 = odd ? 5.3e-3 : 3.3e-3,
            .reply_ms = {8.0 + (double)(i % 3), 9.5 + (double)(i % 3), odd ? 41.0 : 12.0}};
    }
}

static void make_noise(struct fixture *fixture)
{
    static const char *const units[] = {"um", "mA", "um"};
    size_t count = fixture->options.nodes;
    struct lw_noise_result *noise = &fixture->noise;
    noise->state = say(fixture, "drives on");
    noise->seconds = 10;
    noise->nodes = list_of(fixture, count, sizeof(struct lw_noise_node));
    struct lw_noise_node *nodes = noise->nodes.items;
    for (size_t i = 0; i < count; i++) {
        bool odd = fixture->options.faulty && i + 1 == disturbed_tap(fixture);
        double stdev = (i % 3 == 1 ? 0.002 : 0.15) * (1 + 0.2 * sin((double)i)) * (odd ? 9 : 1);
        nodes[i] = (struct lw_noise_node){.node = say_number(fixture, "P", i + 1),
                                          .unit = say(fixture, units[i % 3]),
                                          .tap = (int)i + 1,
                                          .address = (int)i + 1,
                                          .n = 400,
                                          .stdev = stdev,
                                          .mean = 812.4,
                                          .peak_to_peak = NAN,
                                          .allan_s = NAN,
                                          .mains_left = 1,
                                          .stdev_low95 = stdev * 0.93,
                                          .stdev_high95 = stdev * 1.08,
                                          .robust_stdev = stdev * 0.98,
                                          .limit = i % 3 == 1 ? 0.005 : 0.4,
                                          .cause = say(fixture, odd ? "mains" : "quiet"),
                                          .verdict = odd ? (int)LW_FAIL : (int)LW_PASS};
        nodes[i].trace_time_s = list_of(fixture, 400, sizeof(double));
        nodes[i].trace_value = list_of(fixture, 400, sizeof(double));
        for (size_t k = 0; k < 400; k++) {
            double time_s = (double)k * 0.025;
            ((double *)nodes[i].trace_time_s.items)[k] = time_s;
            ((double *)nodes[i].trace_value.items)[k] =
                812.4 + stdev * 1.4 * sin(time_s * 19.3) + 0.2 * stdev * cos((double)(k * k));
        }
    }
}

static void make_roster(struct fixture *fixture)
{
    size_t count = fixture->options.nodes;
    fixture->roster = (struct lw_roster_result){.planned = (int)count, .present = (int)count};
    fixture->roster.nodes = list_of(fixture, count, sizeof(struct lw_roster_node));
    struct lw_roster_node *nodes = fixture->roster.nodes.items;
    for (size_t i = 0; i < count; i++) {
        nodes[i] = (struct lw_roster_node){.tap = (int)i + 1,
                                           .node = say_number(fixture, "P", i + 1),
                                           .place = say_number(fixture, "station ", i / 2 + 1),
                                           .address = (int)i + 1,
                                           .vendor = say(fixture, "Example Metrology"),
                                           .product_code = say(fixture, "EM-P2"),
                                           .revision = say(fixture, "1.4.2"),
                                           .serial = say_number(fixture, "1000", i + 1),
                                           .sensor_serial = say_number(fixture, "S-20", i + 1),
                                           .calibrated_on = say(fixture, "2026-03-01")};
    }
}

static void make_scan(struct fixture *fixture)
{
    size_t count = fixture->options.nodes;
    fixture->scan = (struct lw_scan_result){.framing = say(fixture, "19200/8E1"),
                                            .elapsed_s = 14.2,
                                            .asked = 247,
                                            .slowest_reply_s = 0.05};
    fixture->scan.nodes = list_of(fixture, count, sizeof(struct lw_scan_node));
    struct lw_scan_node *nodes = fixture->scan.nodes.items;
    for (size_t i = 0; i < count; i++) {
        struct lw_scan_identity *identity = make(fixture, 1, sizeof *identity);
        identity->vendor = say(fixture, "Example Metrology");
        identity->product_code = say(fixture, "EM-P2");
        identity->revision = say(fixture, "1.4.2");
        nodes[i] = (struct lw_scan_node){
            .address = (int)i + 1, .reply_ms = 8.4, .identity = i % 4 == 3 ? NULL : identity};
    }
}

static void add_finding(struct fixture *fixture, struct lw_record *record, const char *code,
                        enum lw_verdict severity, size_t tap, const char *says)
{
    struct lw_finding *finding = lw_list_add(&record->findings.list, sizeof *finding);
    *finding = (struct lw_finding){.code = (char *)code,
                                   .severity = (int)severity,
                                   .node = say_number(fixture, "P", tap),
                                   .tap = (int)tap,
                                   .address = (int)tap,
                                   .says = say(fixture, says),
                                   .value = 16.21,
                                   .limit = 19,
                                   .uncertainty = 0.03,
                                   .unit = say(fixture, "V"),
                                   .next = say(fixture, "measure V+ to 0 V with a hand meter"),
                                   .caution = say(fixture, "switch the section off first")};
    finding->because = list_of(fixture, 2, sizeof(char *));
    ((char **)finding->because.items)[0] = say(fixture, "the nodes before it read as computed");
    ((char **)finding->because.items)[1] = say(fixture, "95 % confidence, 24 nodes together");
    record->verdict = (int)lw_verdict_worse((enum lw_verdict)record->verdict, severity);
}

static void add_findings(struct fixture *fixture)
{
    size_t count = fixture->options.nodes;
    add_finding(fixture, &fixture->records[2], "link_error_rate", LW_UNDECIDED, count / 2 + 1,
                "1 error in 900 polls: the rate may be anything up to 0.0053");
    if (!fixture->options.faulty) {
        return;
    }
    for (size_t i = 0; i < 3; i++) { // scan, roster and link say it in the same words
        add_finding(fixture, &fixture->records[i], "line_silent_from", LW_FAIL, count - 1,
                    "all nodes up to the last do not answer");
    }
    for (size_t tap = weak_tap(fixture); tap <= count; tap++) {
        add_finding(fixture, &fixture->records[3], "supply_margin", LW_ATTENTION, tap,
                    "reads less than its minimum and margin");
    }
    add_finding(fixture, &fixture->records[3], "supply_weak_span", LW_FAIL, weak_tap(fixture),
                "the drop before it is 3.4 V more than planned");
    add_finding(fixture, &fixture->records[4], "noise_mains", LW_FAIL, disturbed_tap(fixture),
                "standard deviation 1.35, 9 times its neighbours'");
}

static void make_records(struct fixture *fixture)
{
    static const char *const checks[CHECKS] = {"scan", "roster", "link", "supply", "noise", "note"};
    void *results[CHECKS] = {&fixture->scan,   &fixture->roster, &fixture->link,
                             &fixture->supply, &fixture->noise,  &fixture->note};
    static char digest[] = "3f2a9c10d4e5b6a79788990011223344556677889900aabbccddeeff00112233";
    for (size_t i = 0; i < CHECKS; i++) {
        struct lw_record *record = &fixture->records[i];
        record->check = (char *)checks[i];
        record->number = (int)i + 1;
        record->started = (char *)"2026-11-25T08:31:02.118Z";
        record->finished = (char *)"2026-11-25T08:33:47.902Z";
        record->complete = true;
        record->state = say(fixture, "drives on");
        record->previous_sha256 = digest;
        record->line = make(fixture, 1, sizeof *record->line);
        record->line->on = say(fixture, "/dev/ttyUSB0");
        record->line->framing = say(fixture, "19200/8E1");
        record->line->adapter = say(fixture, "USB serial, isolated");
        record->line->simulated = fixture->options.simulated;
        record->controller = make(fixture, 1, sizeof *record->controller);
        record->controller->is = say(fixture, "stopped");
        record->controller->said_by = say(fixture, "A. Sample");
        record->files = list_of(fixture, 1, sizeof(struct lw_record_file));
        *(struct lw_record_file *)record->files.items =
            (struct lw_record_file){say_number(fixture, "capture-", i), digest};
        struct lw_report_counted *counted = lw_list_add(&fixture->counting, sizeof *counted);
        *counted = (struct lw_report_counted){record, results[i]};
    }
    fixture->record_list = (struct lw_list){fixture->records, CHECKS};
}

// One answer for each file of the folder, every other one with a remark.
static void make_checklist(struct fixture *fixture)
{
    struct lw_record *record = &fixture->records[CHECKS];
    const char *folder = fixture->options.photos;
    struct lw_error error = {0};
    if (lw_folder_names(folder, &fixture->photo_names, &error) != LW_OK) {
        abort();
    }
    char *const *names = fixture->photo_names.items;
    size_t count = fixture->photo_names.count;
    *record = fixture->records[CHECKS - 1];
    record->check = (char *)"checklist";
    record->number = CHECKS + 1;
    record->files = list_of(fixture, count, sizeof(struct lw_record_file));
    record->findings = (struct lw_findings){0};
    fixture->checklist.answers = list_of(fixture, count, sizeof(struct lw_checklist_answer));
    fixture->record_list.count++;
    for (size_t i = 0; i < count; i++) {
        struct lw_record_file *file = &((struct lw_record_file *)record->files.items)[i];
        char path[LW_PATH], *digest = make(fixture, LW_DIGEST, 1);
        lw_path_join(path, sizeof path, folder, names[i]);
        if (lw_file_digest(path, digest, &error) != LW_OK) {
            abort();
        }
        *file = (struct lw_record_file){names[i], digest};
        ((struct lw_checklist_answer *)fixture->checklist.answers.items)[i] =
            (struct lw_checklist_answer){.id = names[i],
                                         .text = say(fixture, "Is every cable apart?"),
                                         .said = LW_CHECK_NO,
                                         .remark = i % 2 == 0 ? say(fixture, "it rubs") : NULL,
                                         .photo = names[i],
                                         .photo_sha256 = digest};
        if (lw_album_take(&fixture->album, folder, &fixture->record_list, names[i], digest,
                          &error) != LW_OK) {
            abort();
        }
    }
    struct lw_report_counted *counted = lw_list_add(&fixture->counting, sizeof *counted);
    *counted = (struct lw_report_counted){record, &fixture->checklist};
}

static void make_acceptance(struct fixture *fixture)
{
    struct lw_acceptance *acceptance = &fixture->acceptance;
    bool faulty = fixture->options.faulty;
    acceptance->verdict = faulty ? LW_NOT_ACCEPTED : LW_ACCEPTED_WITH_REMARKS;
    acceptance->simulated = fixture->options.simulated;
    for (size_t i = 0; i < CHECKS; i++) {
        const struct lw_record *record = &fixture->records[i];
        acceptance->checks[acceptance->check_count++] = (struct lw_acceptance_check){
            .check = record->check,
            .required = true,
            .done = true,
            .verdict = (enum lw_verdict)record->verdict,
            .number = record->number,
        };
    }
    acceptance->checks[acceptance->check_count++] =
        (struct lw_acceptance_check){.check = "touch",
                                     .verdict = LW_NOT_TESTED,
                                     .skipped = say(fixture, "machine guarded today")};
    lw_copy(acceptance->because[acceptance->because_count++], sizeof acceptance->because[0],
            say(fixture, faulty ? "supply: a span has 3.4 V more drop than planned"
                                : "link: the error rate is undecided"));
    lw_copy(acceptance->states, sizeof acceptance->states, say(fixture, "drives on"));
}

static void make_facts(struct fixture *fixture)
{
    struct lw_visit_facts *facts = &fixture->facts;
    facts->engineer = say(fixture, "E. Example");
    facts->company = say(fixture, "Example Service");
    facts->customer_contact = say(fixture, "A. Sample");
    facts->machine_serial = say(fixture, "EX-77");
    facts->language = say(fixture, "en");
    facts->instruments = list_of(fixture, 1, sizeof(struct lw_instrument));
    *(struct lw_instrument *)facts->instruments.items =
        (struct lw_instrument){say(fixture, "DMM-3"),
                               say(fixture, "multimeter"),
                               say(fixture, "Example Instruments"),
                               say(fixture, "5521"),
                               say(fixture, "EX-C-118"),
                               say(fixture, "2026-03-01"),
                               say(fixture, "2027-03-01"),
                               say(fixture, "V"),
                               0.005,
                               2};
}

struct fixture *fixture_new(const struct fixture_options *options)
{
    struct fixture *fixture = calloc(1, sizeof *fixture);
    if (fixture == NULL) {
        abort();
    }
    fixture->options = *options;
    make_facts(fixture);
    make_plan(fixture);
    make_supply(fixture);
    make_link(fixture);
    make_noise(fixture);
    make_roster(fixture);
    make_scan(fixture);
    fixture->note = (struct lw_note){.text = say(fixture, "the clamp at station 2 is loose"),
                                     .node = say(fixture, "P03"),
                                     .photo = say(fixture, "0006-note.jpg"),
                                     .open = true};
    make_records(fixture);
    add_findings(fixture);
    if (options->photos != NULL) {
        make_checklist(fixture);
    }
    make_acceptance(fixture);
    lw_copy(fixture->anchor.digest, sizeof fixture->anchor.digest,
            "9d4e5b6a7978899001122334455667788990aabbccddeeff001122333f2a9c10");
    fixture->view = (struct lw_report_view){
        .facts = &fixture->facts,
        .plan = &fixture->plan,
        .records = &fixture->record_list,
        .counting = &fixture->counting,
        .acceptance = &fixture->acceptance,
        .broken = options->broken,
        .last_digest = fixture->anchor.digest,
        .anchor = &fixture->anchor,
        .signatures = &fixture->signatures,
        .album = &fixture->album,
        .now_utc_ns = INT64_C(1795600000000000000),
        .version = "0.1.0",
        .language = "en",
    };
    return fixture;
}

const struct lw_report_view *fixture_view(const struct fixture *fixture)
{
    return &fixture->view;
}

void fixture_free(struct fixture *fixture)
{
    for (size_t i = 0; i < fixture->block_count; i++) {
        free(fixture->blocks[i]);
    }
    for (size_t i = 0; i < CHECKS; i++) {
        free(fixture->records[i].findings.list.items);
    }
    free(fixture->counting.items);
    lw_album_finish(&fixture->album);
    lw_names_free(&fixture->photo_names);
    free(fixture);
}
