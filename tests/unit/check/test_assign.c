// SPDX-License-Identifier: GPL-3.0-or-later
//
// Assign on virtual chains: whatever happens on the way, the result says what was written and where
// the node is. Where it really is, is asked of the chain by its serial.
#include "check/assign.h"

#include "base/text.h"
#include "check/ask.h"
#include "modbus/pdu.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { MOST_WRITES = 400, WAIT_S = 120 };

struct written {
    uint8_t address, function;
    int at, value;
    int64_t sent_ns;
    enum lw_outcome outcome;
};

struct bench {
    struct walk walk;
    struct lw_assign *assign;
    struct written written[MOST_WRITES];
    size_t count;
};

static void note_exchange(void *user, const struct lw_exchange *exchange)
{
    struct bench *bench = user;
    struct lw_request request;
    uint8_t function = exchange->request.bytes[0];
    if (function != LW_WRITE_REGISTER && function != LW_WRITE_REGISTERS) {
        return;
    }
    assert_true(bench->count < MOST_WRITES);
    assert_int_equal(lw_request_parse(&exchange->request, &request), 0);
    bench->written[bench->count++] = (struct written){
        exchange->address,      function,
        request.start,          function == LW_WRITE_REGISTER ? request.value : request.values[0],
        exchange->sent_last_ns, exchange->outcome,
    };
}

static void connect_to_write(struct bench *bench, bool allow_writes)
{
    struct walk *walk = &bench->walk;
    struct lw_error error = {0};
    const struct lw_client_options options = {.allow_writes = allow_writes};
    lw_client_free(walk->client);
    walk->run.user = bench;
    walk->run.exchange = note_exchange;
    assert_int_equal(lw_client_new(walk->line, &walk->run, &options, &walk->client, &error), LW_OK);
}

static void bench_open(struct bench *bench, const struct cell *cell)
{
    *bench = (struct bench){0};
    walk_open_cell(&bench->walk, cell, 1);
    connect_to_write(bench, true);
}

// The profile of a kind, to be changed before bench_again().
static struct lw_profile *profile_of(struct lw_plan *plan, const char *name)
{
    struct lw_profile *profiles = plan->profiles.items;
    for (size_t i = 0; i < plan->profiles.count; i++) {
        if (strcmp(profiles[i].name, name) == 0) {
            return &profiles[i];
        }
    }
    fail_msg("no profile '%s'", name);
    return NULL;
}

static void bench_again(struct bench *bench)
{
    struct walk *walk = &bench->walk;
    lw_client_free(walk->client);
    walk->client = NULL;
    lw_chain_free(walk->chain);
    walk_connect(walk, 1);
    connect_to_write(bench, true);
}

static void bench_close(struct bench *bench)
{
    lw_assign_free(bench->assign);
    walk_close(&bench->walk);
}

static bool everybody[64] = {true, true, true, true, true, true, true, true, true, true,
                             true, true, true, true, true, true, true, true, true, true,
                             true, true, true, true, true, true, true, true, true, true};

static void begin(struct bench *bench, const struct lw_assign_options *options)
{
    struct lw_error error = {0};
    struct lw_assign_options own = *options;
    own.wait_s = own.wait_s > 0 ? own.wait_s : WAIT_S;
    own.selected = own.selected != NULL ? own.selected : everybody;
    lw_assign_free(bench->assign);
    bench->assign = NULL;
    assert_int_equal(lw_assign_new(&bench->walk.plan, &own, &bench->assign, &error), LW_OK);
}

// Answers from a script of "id=answer" lines; a question that does not come next fails the test.
static enum lw_status drive(struct bench *bench, const char *const *script)
{
    struct lw_question question;
    struct lw_error error = {0};
    enum lw_dialog_next next;
    enum lw_dialog_said said;
    while ((next = lw_dialog_next(lw_assign_dialog(bench->assign), &question)) != LW_DIALOG_DONE) {
        if (next == LW_DIALOG_ACT) {
            enum lw_status status =
                lw_assign_act(bench->assign, &bench->walk.run, bench->walk.client, &error);
            if (status != LW_OK) {
                return status;
            }
            continue;
        }
        if (*script == NULL) {
            return LW_CANCELLED; // whoever answered has gone
        }
        const char *equal = strchr(*script, '=');
        assert_non_null(equal);
        if (strncmp(*script, question.id, (size_t)(equal - *script)) != 0 ||
            question.id[equal - *script] != '\0') {
            fail_msg("'%s' is asked instead of '%s'", question.id, *script);
        }
        enum lw_status status =
            lw_dialog_say(lw_assign_dialog(bench->assign), equal + 1, &said, &error);
        assert_true(status == LW_OK || status == LW_USAGE);
        script++;
    }
    assert_null(*script);
    return LW_OK;
}

static const struct lw_assign_node *node_at(const struct bench *bench, size_t index)
{
    const struct lw_assign_result *result = lw_assign_result(bench->assign);
    assert_true(index < result->nodes.count);
    return (const struct lw_assign_node *)result->nodes.items + index;
}

static size_t judge(struct bench *bench)
{
    walk_forget(&bench->walk);
    lw_assign_findings(lw_assign_result(bench->assign), &bench->walk.findings);
    walk_comes_back(&lw_assign_shape, lw_assign_result(bench->assign));
    return walk_count(&bench->walk, NULL);
}

// Where a node with this serial really answers; false: nowhere that is looked at.
static bool where_is(struct bench *bench, const char *serial, int *address, char *framing_text)
{
    static const char *const framings[] = {"19200/8E1", "9600/8E1"};
    struct lw_error error = {0};
    for (size_t f = 0; f < 2; f++) {
        struct lw_framing framing;
        assert_int_equal(lw_framing_parse(framings[f], &framing, NULL), LW_OK);
        assert_int_equal(lw_line_set_framing(bench->walk.line, &framing, NULL), LW_OK);
        assert_int_equal(lw_client_wait(bench->walk.client, 0.05, &error), LW_OK);
        lw_client_reply_s(bench->walk.client, 0.2);
        for (int at = 1; at <= 247; at = at == 30 ? 247 : at + 1) {
            struct lw_node_values values;
            const struct lw_profile *profile = profile_of(&bench->walk.plan, "example-probe");
            assert_int_equal(lw_ask_roles(bench->walk.client, profile, (uint8_t)at,
                                          LW_ROLE_BIT(LW_ROLE_SERIAL), &values, &error),
                             LW_OK);
            if (values.have[LW_ROLE_SERIAL] &&
                strcmp(values.value[LW_ROLE_SERIAL].text, serial) == 0) {
                *address = at;
                lw_copy(framing_text, LW_FRAMING_TEXT, framings[f]);
                return true;
            }
        }
    }
    return false;
}

static void must_be_at(struct bench *bench, const char *serial, int address, const char *framing)
{
    int at = 0;
    char text[LW_FRAMING_TEXT] = "";
    assert_true(where_is(bench, serial, &at, text));
    assert_int_equal(at, address);
    assert_string_equal(text, framing);
}

static void must_have_written(const struct bench *bench, size_t index, int address, int function,
                              int at, int value)
{
    assert_true(index < bench->count);
    assert_int_equal(bench->written[index].address, address);
    assert_int_equal(bench->written[index].function, function);
    assert_int_equal(bench->written[index].at, at);
    assert_int_equal(bench->written[index].value, value);
}

// P01 and P02 are there; P03 is new, and restarted by hand at 60 s.
static const char third_is_new[] =
    "{\"kind\": \"new_node\", \"tap\": 3}, "
    "{\"kind\": \"dead_node\", \"tap\": 3, \"from_s\": 60, \"to_s\": 62}";
static const bool third[] = {false, false, true};
static const struct lw_assign_options third_alone = {.selected = third};

static void a_new_node_gets_the_address_and_framing_of_the_plan(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes", "P03.restart=yes",
                                  "P03.label=keep", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    const struct lw_assign_node *node = node_at(&bench, 0);
    assert_int_equal(node->state, LW_ASSIGN_ASSIGNED);
    assert_int_equal(judge(&bench), 0);
    assert_string_equal(lw_assign_result(bench.assign)->allowed_by, "E. Example");
    // what the profile says, and nothing else
    assert_int_equal(bench.count, 4);
    must_have_written(&bench, 0, 247, 6, 210, 1234);
    must_have_written(&bench, 1, 247, 6, 200, 3);
    must_have_written(&bench, 2, 247, 6, 201, 1);
    must_have_written(&bench, 3, 247, 6, 211, 1);
    const struct lw_assign_write *writes = node->writes.items;
    assert_int_equal(node->writes.count, 4);
    assert_true(writes[1].before == 247 && writes[2].before == 0 && isnan(writes[0].before));
    assert_int_equal(node->before_address, 247);
    assert_string_equal(node->before_framing, "9600/8E1");
    assert_int_equal(node->after_address, 3);
    assert_string_equal(node->serial, "100003");
    must_be_at(&bench, "100003", 3, "19200/8E1");
    bench_close(&bench);
}

static void a_whole_chain_of_24_is_walked(void **state)
{
    (void)state;
    enum { NODES = 24 };
    struct bench bench;
    struct lw_text faults = {0};
    char lines[4 * NODES + 1][40];
    const char *script[4 * NODES + 2] = {"assign.who=E. Example"};
    static const char *const asks[] = {"plug=yes", "write=yes", "restart=yes", "label=keep"};
    for (int i = 0; i < NODES; i++) {
        lw_text_add(&faults,
                    "%s{\"kind\": \"new_node\", \"tap\": %d, \"from_s\": %d}, "
                    "{\"kind\": \"dead_node\", \"tap\": %d, \"from_s\": %d, \"to_s\": %d}",
                    i > 0 ? ", " : "", i + 1, 60 * (i + 1), i + 1, 60 * i + 90, 60 * i + 93);
        for (int k = 0; k < 4; k++) {
            lw_print(lines[4 * i + k], sizeof lines[0], "P%02d.%s", i + 1, asks[k]);
            script[4 * i + k + 1] = lines[4 * i + k];
        }
    }
    script[4 * NODES + 1] = NULL;
    bench_open(&bench, &(struct cell){.probes = NODES, .faults = faults.bytes});
    begin(&bench, &(struct lw_assign_options){.walk = true});
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(judge(&bench), 0);
    assert_int_equal(bench.count, 4 * NODES);
    for (int i = 0; i < NODES; i++) {
        char serial[16];
        lw_print(serial, sizeof serial, "%d", 100001 + i);
        assert_int_equal(node_at(&bench, (size_t)i)->state, LW_ASSIGN_ASSIGNED);
        must_be_at(&bench, serial, i + 1, "19200/8E1");
    }
    // walked again, nothing is asked and nothing written
    const char *const again[] = {"assign.who=E. Example", NULL};
    struct lw_framing home = bench.walk.plan.framing;
    assert_int_equal(lw_line_set_framing(bench.walk.line, &home, NULL), LW_OK);
    begin(&bench, &(struct lw_assign_options){.walk = true});
    assert_int_equal(drive(&bench, again), LW_OK);
    assert_int_equal(bench.count, 4 * NODES);
    assert_int_equal(node_at(&bench, NODES - 1)->state, LW_ASSIGN_ALREADY);
    assert_int_equal(judge(&bench), 0);
    lw_text_finish(&faults);
    bench_close(&bench);
}

static void two_new_nodes_at_once_are_not_written_to(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3,
                                      .faults = "{\"kind\": \"new_node\", \"tap\": 2}, "
                                                "{\"kind\": \"new_node\", \"tap\": 3}"});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.again=again", "P03.again=leave",
                                  NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(bench.count, 0);
    assert_int_equal(node_at(&bench, 0)->problem, LW_ASSIGN_DOUBLED);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_doubled", "P03"));
    bench_close(&bench);
}

static void an_address_that_is_taken_is_not_given_again(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3,
                                      .faults = "{\"kind\": \"new_node\", \"tap\": 3}, "
                                                "{\"kind\": \"double_address\", \"tap\": 2, "
                                                "\"address\": 3}"});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(bench.count, 0);
    assert_int_equal(node_at(&bench, 0)->problem, LW_ASSIGN_TAKEN);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_taken", "P03"));
    bench_close(&bench);
}

static void nobody_at_the_old_address_is_said(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3, .faults = "{\"kind\": \"dead_node\", \"tap\": 3}"});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.again=leave", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_nobody", "P03"));
    assert_int_equal(bench.count, 0);
    bench_close(&bench);
}

static void without_a_yes_nothing_is_written(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yse", "P03.write=no", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(bench.count, 0);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_left", "P03"));
    must_be_at(&bench, "100003", 247, "9600/8E1");
    bench_close(&bench);
}

static void a_client_that_may_not_write_does_not(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    connect_to_write(&bench, false);
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes", NULL};
    assert_int_equal(drive(&bench, script), LW_REFUSED);
    must_be_at(&bench, "100003", 247, "9600/8E1");
    bench_close(&bench);
}

static void what_was_written_is_undone(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3,
                              .faults = "{\"kind\": \"new_node\", \"tap\": 3}, "
                                        "{\"kind\": \"dead_node\", \"tap\": 3, \"from_s\": 60, "
                                        "\"to_s\": 62}, {\"kind\": \"dead_node\", \"tap\": 3, "
                                        "\"from_s\": 90, \"to_s\": 92}"});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes",
                                  "P03.restart=yes",       "P03.label=undo",
                                  "P03.undo-restart=yes",  NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    const struct lw_assign_node *node = node_at(&bench, 0);
    assert_int_equal(node->state, LW_ASSIGN_UNDONE);
    assert_int_equal(node->after_address, 247);
    assert_int_equal(bench.count, 8);
    must_have_written(&bench, 5, 3, 6, 200, 247);
    must_have_written(&bench, 6, 3, 6, 201, 0);
    const struct lw_assign_write *writes = node->writes.items;
    assert_true(writes[5].undo && !writes[3].undo);
    assert_true(writes[5].before == 3);
    must_be_at(&bench, "100003", 247, "9600/8E1");
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_undone", "P03"));
    bench_close(&bench);
}

static void a_refusal_by_the_node_ends_the_writing(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    // the node wants another word to be unlocked than its profile knows
    struct lw_setup *real = profile_of(&bench.walk.real, "example-probe")->setup;
    ((struct lw_write *)real->unlock.items)[0].value = 4321;
    bench_again(&bench);
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes", "P03.after=leave",
                                  NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    const struct lw_assign_node *node = node_at(&bench, 0);
    assert_int_equal(node->state, LW_ASSIGN_REFUSED);
    assert_int_equal(bench.count, 1);
    assert_int_equal(((const struct lw_assign_write *)node->writes.items)[0].exception,
                     LW_ILLEGAL_ADDRESS);
    assert_int_equal(node->after_address, 247);
    must_be_at(&bench, "100003", 247, "9600/8E1");
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_refused", "P03"));
    bench_close(&bench);
}

static void a_refusal_in_the_middle_can_be_undone(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    // it does not know the plan's framing
    struct lw_setup *real = profile_of(&bench.walk.real, "example-probe")->setup;
    ((struct lw_pair *)real->framing.values.items)[1].value = 77;
    bench_again(&bench);
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes",
                                  "P03.after=again",       "P03.after=undo",
                                  "P03.undo-restart=yes",  NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(node_at(&bench, 0)->state, LW_ASSIGN_UNDONE);
    must_be_at(&bench, "100003", 247, "9600/8E1");
    bench_close(&bench);
}

// It thinks for 20 ms at least, so that there is a time between taking a request and answering it.
#define THIRD_ANSWERS_LATE                                                                         \
    "{\"kind\": \"new_node\", \"tap\": 3}, {\"kind\": \"late_replies\", \"tap\": 3, "              \
    "\"late_ms\": 20}"

// Power goes at every moment of the writing in turn, and comes back three seconds later. The record
// must then say what was written and where the node is.
enum then { LOST_AND_LEFT, LOST_AND_RETRIED, LOST_AND_THERE };
static void power_lost_at(int64_t at_ns, enum then then)
{
    struct bench bench;
    char faults[300], framing[LW_FRAMING_TEXT];
    int address = 0;
    lw_print(faults, sizeof faults,
             THIRD_ANSWERS_LATE
             ", {\"kind\": \"dead_node\", \"tap\": 3, "
             "\"from_s\": %.9f, \"to_s\": %.9f}, {\"kind\": \"dead_node\", \"tap\": 3, "
             "\"from_s\": 60, \"to_s\": 62}",
             (double)at_ns / 1e9, (double)at_ns / 1e9 + 3);
    bench_open(&bench, &(struct cell){.probes = 3, .faults = faults});
    begin(&bench, &third_alone);
    const char *const left[] = {"assign.who=E. Example", "P03.write=yes", "P03.after=leave", NULL};
    const char *const retried[] = {"assign.who=E. Example", "P03.write=yes",  "P03.after=again",
                                   "P03.restart=yes",       "P03.label=keep", NULL};
    // saved before the power went, it comes back at its new place
    const char *const there[] = {"assign.who=E. Example", "P03.write=yes", "P03.after=again",
                                 "P03.label=keep", NULL};
    const char *const *const scripts[] = {left, retried, there};
    assert_int_equal(drive(&bench, scripts[then]), LW_OK);
    const struct lw_assign_node *node = node_at(&bench, 0);
    assert_int_equal(node->state, then == LOST_AND_LEFT ? LW_ASSIGN_LOST : LW_ASSIGN_ASSIGNED);
    // every write that went over the wire is in the record, with its outcome
    const struct lw_assign_write *writes = node->writes.items;
    assert_int_equal(node->writes.count, bench.count);
    for (size_t i = 0; i < bench.count; i++) {
        assert_int_equal(writes[i].at, bench.written[i].at);
        assert_int_equal(writes[i].value, bench.written[i].value);
        assert_string_equal(writes[i].outcome, lw_outcome_word(bench.written[i].outcome));
    }
    assert_true(where_is(&bench, "100003", &address, framing));
    assert_int_equal(node->after_address, address);
    assert_string_equal(node->after_framing, framing);
    judge(&bench);
    assert_int_equal(walk_found(&bench.walk, "assign_lost", "P03") != NULL, then == LOST_AND_LEFT);
    bench_close(&bench);
}

static void power_lost_while_writing_leaves_a_true_record(void **state)
{
    (void)state;
    struct bench bench;
    int64_t sent_ns[4];
    bench_open(&bench, &(struct cell){.probes = 3, .faults = THIRD_ANSWERS_LATE});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes", NULL};
    assert_int_equal(drive(&bench, script), LW_CANCELLED);
    assert_int_equal(bench.count, 4);
    for (size_t i = 0; i < 4; i++) {
        sent_ns[i] = bench.written[i].sent_ns;
    }
    bench_close(&bench);
    for (size_t i = 0; i < 4; i++) {
        power_lost_at(sent_ns[i] - 3000000, LOST_AND_LEFT); // the request is not whole
        power_lost_at(sent_ns[i] + 1000000, LOST_AND_LEFT); // nor taken
        power_lost_at(sent_ns[i] + 1000000, LOST_AND_RETRIED);
        power_lost_at(sent_ns[i] + 12000000, LOST_AND_LEFT); // taken and not answered
    }
    power_lost_at(sent_ns[3] + 12000000, LOST_AND_THERE);
}

static void stopped_between_write_and_restart_it_counts_as_not_proved(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes", NULL};
    assert_int_equal(drive(&bench, script), LW_CANCELLED);
    const struct lw_assign_node *node = node_at(&bench, 0);
    assert_int_equal(node->state, LW_ASSIGN_UNPROVED);
    assert_int_equal(node->writes.count, 4);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_unproved", "P03"));
    // the same command goes on from where the node is: written, and restarted since
    struct lw_error error = {0};
    assert_int_equal(lw_client_wait(bench.walk.client, 65, &error), LW_OK);
    begin(&bench, &third_alone);
    const char *const again[] = {"assign.who=E. Example", NULL};
    assert_int_equal(drive(&bench, again), LW_OK);
    assert_int_equal(node_at(&bench, 0)->state, LW_ASSIGN_ALREADY);
    bench_close(&bench);
}

static void add_write(struct lw_list *list, int at, int value)
{
    struct lw_write *write = lw_list_add(list, sizeof *write);
    assert_non_null(write);
    *write = (struct lw_write){at, value};
}

static void profiles_decide_how_it_is_written(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3, .faults = "{\"kind\": \"new_node\", \"tap\": 3}"});
    struct lw_plan *plans[] = {&bench.walk.plan, &bench.walk.real};
    for (size_t i = 0; i < 2; i++) { // block write, restarted by a register
        struct lw_setup *setup = profile_of(plans[i], "example-probe")->setup;
        setup->write_function = 16;
        add_write(&setup->restart, 220, 9);
    }
    bench_again(&bench);
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes", "P03.label=keep", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(bench.count, 5);
    must_have_written(&bench, 4, 247, 16, 220, 9);
    must_be_at(&bench, "100003", 3, "19200/8E1");
    assert_int_equal(judge(&bench), 0);
    bench_close(&bench);
}

static void what_holds_at_once_is_followed(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3, .faults = "{\"kind\": \"new_node\", \"tap\": 3}"});
    struct lw_plan *plans[] = {&bench.walk.plan, &bench.walk.real};
    for (size_t i = 0; i < 2; i++) {
        profile_of(plans[i], "example-probe")->setup->takes_effect = 0;
    }
    bench_again(&bench);
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.write=yes", "P03.label=undo", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    must_have_written(&bench, 1, 247, 6, 200, 3);
    must_have_written(&bench, 2, 3, 6, 201, 1);
    must_have_written(&bench, 3, 3, 6, 211, 1);
    assert_int_equal(node_at(&bench, 0)->state, LW_ASSIGN_UNDONE);
    must_be_at(&bench, "100003", 247, "9600/8E1");
    bench_close(&bench);
}

static void switches_are_told_and_verified(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3,
                              .faults = "{\"kind\": \"double_address\", \"tap\": 3, \"address\": "
                                        "40, \"to_s\": 50}"});
    profile_of(&bench.walk.plan, "example-probe")->setup->address.at = -1;
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.switches=yes", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    const struct lw_assign_node *node = node_at(&bench, 0);
    assert_int_equal(node->state, LW_ASSIGN_ASSIGNED);
    assert_string_equal(node->switches, "on on off off off off off off"); // 3 = 1 + 2
    assert_int_equal(bench.count, 0);
    assert_int_equal(judge(&bench), 0);
    bench_close(&bench);
}

static void switches_that_were_not_set_are_noticed(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3,
                                      .faults = "{\"kind\": \"double_address\", \"tap\": 3, "
                                                "\"address\": 40}"});
    profile_of(&bench.walk.plan, "example-probe")->setup->address.at = -1;
    begin(&bench, &(struct lw_assign_options){.selected = third, .wait_s = 5});
    const char *const script[] = {"assign.who=E. Example", "P03.switches=yes", "P03.after=undo",
                                  "P03.after=leave", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_nobody", "P03"));
    bench_close(&bench);
}

static void switches_count_as_the_profile_says(void **state)
{
    (void)state;
    char text[100];
    struct lw_switches switches = {.count = 5, .offset = 1, .first = 1};
    struct lw_setup setup = {.address = {.at = -1}, .switches = &switches};
    const struct lw_profile profile = {.setup = &setup};
    assert_true(lw_assign_switches(&profile, 20, text, sizeof text)); // 19 = 16 + 2 + 1
    assert_string_equal(text, "on off off on on");
    assert_true(lw_assign_switches(&profile, 1, text, sizeof text));
    assert_string_equal(text, "off off off off off");
    assert_false(lw_assign_switches(&profile, 33, text, sizeof text));
    assert_false(lw_assign_switches(&profile, 0, text, sizeof text));
}

static void another_kind_is_not_written_to(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 2,
                                      .loops = 1,
                                      .faults = "{\"kind\": \"new_node\", \"tap\": 3, \"address\": "
                                                "247, \"framing\": \"9600/8E1\"}"});
    // the plan wants a probe where a loop was plugged
    struct lw_chain_entry *entry = (struct lw_chain_entry *)bench.walk.plan.chain.items + 2;
    entry->is = profile_of(&bench.walk.plan, "example-probe");
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", "P03.again=leave", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(bench.count, 0);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_wrong_kind", "P03"));
    bench_close(&bench);
}

static void change_planned_serial(struct bench *bench, size_t tap, const char *serial)
{
    struct lw_chain_entry *entry = (struct lw_chain_entry *)bench->walk.plan.chain.items + tap - 1;
    free(entry->serial);
    entry->serial = lw_duplicate(serial);
    assert_non_null(entry->serial);
}

static void another_serial_is_asked_about(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    change_planned_serial(&bench, 3, "777");
    begin(&bench, &third_alone);
    const char *const script[] = {
        "assign.who=E. Example", "P03.serial=no",   "P03.again=again", "P03.serial=yes",
        "P03.write=yes",         "P03.restart=yes", "P03.label=keep",  NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(node_at(&bench, 0)->state, LW_ASSIGN_ASSIGNED);
    assert_int_equal(judge(&bench), 1);
    assert_non_null(walk_found(&bench.walk, "assign_other_serial", "P03"));
    bench_close(&bench);
}

static void a_replacement_takes_the_place_of_another(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3,
                              .faults = "{\"kind\": \"new_node\", \"tap\": 3, \"from_s\": 20}, "
                                        "{\"kind\": \"dead_node\", \"tap\": 3, \"from_s\": 60, "
                                        "\"to_s\": 62}"});
    change_planned_serial(&bench, 3, "777"); // of the one that was taken off
    begin(&bench, &(struct lw_assign_options){.selected = third, .swap_in = true});
    const char *const script[] = {"assign.who=E. Example", "P03.plug=yes",   "P03.write=yes",
                                  "P03.restart=yes",       "P03.label=keep", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    const struct lw_assign_node *node = node_at(&bench, 0);
    assert_int_equal(node->state, LW_ASSIGN_ASSIGNED);
    assert_string_equal(node->replaced_serial, "777");
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_other_serial", "P03"));
    bench_close(&bench);
}

// P01 restarts by the inrush of P03; P02 goes on.
static void a_neighbour_that_restarts_is_noticed(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3,
                              .faults = "{\"kind\": \"new_node\", \"tap\": 3, \"from_s\": 20}, "
                                        "{\"kind\": \"dead_node\", \"tap\": 3, \"from_s\": 60, "
                                        "\"to_s\": 62}, {\"kind\": \"dead_node\", \"tap\": 1, "
                                        "\"from_s\": 20, \"to_s\": 20.05}"});
    begin(&bench, &(struct lw_assign_options){.selected = third, .walk = true});
    const char *const script[] = {"assign.who=E. Example", "P03.plug=yes",   "P03.write=yes",
                                  "P03.restart=yes",       "P03.label=keep", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_neighbour_reset", "P03"));
    assert_int_equal(node_at(&bench, 0)->restarted.count, 1);
    assert_string_equal(((char *const *)node_at(&bench, 0)->restarted.items)[0], "P01");
    bench_close(&bench);
}

static void a_section_switched_off_for_plugging_is_no_reset(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench,
               &(struct cell){.probes = 3,
                              .faults = "{\"kind\": \"new_node\", \"tap\": 3, \"from_s\": 20}, "
                                        "{\"kind\": \"dead_node\", \"tap\": 1, \"from_s\": 18, "
                                        "\"to_s\": 20}, {\"kind\": \"dead_node\", \"tap\": 2, "
                                        "\"from_s\": 18, \"to_s\": 20}"});
    begin(&bench, &(struct lw_assign_options){.selected = third, .walk = true});
    const char *const script[] = {"assign.who=E. Example", "P03.plug=yes", "P03.write=no", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(node_at(&bench, 0)->restarted.count, 0);
    bench_close(&bench);
}

static void back_leads_to_the_plug_while_nothing_was_written(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    begin(&bench, &(struct lw_assign_options){.selected = third, .walk = true});
    const char *const script[] = {"assign.who=E. Example", "P03.plug=yes",   "P03.write=back",
                                  "P03.plug=yes",          "P03.write=yes",  "P03.restart=back",
                                  "P03.restart=yes",       "P03.label=keep", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(node_at(&bench, 0)->state, LW_ASSIGN_ASSIGNED);
    bench_close(&bench);
}

// P01 and P02 were addressed crosswise; one goes over a free address.
static void swapped_addresses_are_put_right_over_a_free_one(void **state)
{
    (void)state;
    struct bench bench;
    static const bool first[] = {true, false}, second[] = {false, true};
    bench_open(&bench,
               &(struct cell){.probes = 2,
                              .faults = "{\"kind\": \"new_node\", \"tap\": 1, \"address\": 2, "
                                        "\"framing\": \"19200/8E1\"}, {\"kind\": \"new_node\", "
                                        "\"tap\": 2, \"address\": 1, \"framing\": \"19200/8E1\"}"});
    struct lw_plan *plans[] = {&bench.walk.plan, &bench.walk.real};
    for (size_t i = 0; i < 2; i++) {
        add_write(&profile_of(plans[i], "example-probe")->setup->restart, 220, 9);
    }
    bench_again(&bench);
    begin(&bench,
          &(struct lw_assign_options){.selected = first, .from_address = 2, .to_address = 20});
    const char *const parked[] = {"assign.who=E. Example", "P01.write=yes", "P01.label=keep", NULL};
    assert_int_equal(drive(&bench, parked), LW_OK);
    begin(&bench, &(struct lw_assign_options){.selected = second, .from_address = 1});
    const char *const moved[] = {"assign.who=E. Example", "P02.write=yes", "P02.label=keep", NULL};
    assert_int_equal(drive(&bench, moved), LW_OK);
    begin(&bench, &(struct lw_assign_options){.selected = first, .from_address = 20});
    assert_int_equal(drive(&bench, parked), LW_OK);
    must_be_at(&bench, "100001", 1, "19200/8E1");
    must_be_at(&bench, "100002", 2, "19200/8E1");
    bench_close(&bench);
}

static void a_profile_that_does_not_allow_it_is_obeyed(void **state)
{
    (void)state;
    struct bench bench;
    bench_open(&bench, &(struct cell){.probes = 3, .faults = third_is_new});
    profile_of(&bench.walk.plan, "example-probe")->setup->address.max = 2;
    begin(&bench, &third_alone);
    const char *const script[] = {"assign.who=E. Example", NULL};
    assert_int_equal(drive(&bench, script), LW_OK);
    assert_int_equal(bench.count, 0);
    judge(&bench);
    assert_non_null(walk_found(&bench.walk, "assign_cannot", "P03"));
    bench_close(&bench);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_new_node_gets_the_address_and_framing_of_the_plan),
        cmocka_unit_test(a_whole_chain_of_24_is_walked),
        cmocka_unit_test(two_new_nodes_at_once_are_not_written_to),
        cmocka_unit_test(an_address_that_is_taken_is_not_given_again),
        cmocka_unit_test(nobody_at_the_old_address_is_said),
        cmocka_unit_test(without_a_yes_nothing_is_written),
        cmocka_unit_test(a_client_that_may_not_write_does_not),
        cmocka_unit_test(what_was_written_is_undone),
        cmocka_unit_test(a_refusal_by_the_node_ends_the_writing),
        cmocka_unit_test(a_refusal_in_the_middle_can_be_undone),
        cmocka_unit_test(power_lost_while_writing_leaves_a_true_record),
        cmocka_unit_test(stopped_between_write_and_restart_it_counts_as_not_proved),
        cmocka_unit_test(profiles_decide_how_it_is_written),
        cmocka_unit_test(what_holds_at_once_is_followed),
        cmocka_unit_test(switches_are_told_and_verified),
        cmocka_unit_test(switches_that_were_not_set_are_noticed),
        cmocka_unit_test(switches_count_as_the_profile_says),
        cmocka_unit_test(another_kind_is_not_written_to),
        cmocka_unit_test(another_serial_is_asked_about),
        cmocka_unit_test(a_replacement_takes_the_place_of_another),
        cmocka_unit_test(a_neighbour_that_restarts_is_noticed),
        cmocka_unit_test(a_section_switched_off_for_plugging_is_no_reset),
        cmocka_unit_test(back_leads_to_the_plug_while_nothing_was_written),
        cmocka_unit_test(swapped_addresses_are_put_right_over_a_free_one),
        cmocka_unit_test(a_profile_that_does_not_allow_it_is_obeyed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
