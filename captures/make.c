// SPDX-License-Identifier: GPL-3.0-or-later
//
// Makes the captures of this folder on the virtual chain of bench/: each shows one thing that a
// line does to whoever listens. Same seed, same bytes, so with --check it makes them anew in memory
// of a temporary folder and says which are not current.
//
//   captures_make FOLDER           writes FOLDER/*.pcapng
//   captures_make --check FOLDER   compares
#include "base/file.h"
#include "base/text.h"
#include "capture/pcapng.h"
#include "chain/chain.h"
#include "check/ask.h"
#include "client/client.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_BYTES = 1024 * 1024, NODES = 3, POWER_CUT = 37 };

static const int64_t SECOND_NS = 1000000000;
static const int64_t LATENCY_TIMER_NS = 16000000; // of a common USB bridge chip (common practice)

struct bench {
    const char *plan_path, *name;
    char path[LW_PATH];
    struct lw_plan plan;
    struct lw_chain *chain;
    struct lw_capture *capture;
    struct lw_line *line;
};

static void must(enum lw_status status, const struct lw_error *error)
{
    if (status != LW_OK) {
        fprintf(stderr, "captures: %s\n", error->says);
        exit(1);
    }
}

static struct lw_fault *add_fault(struct bench *bench, enum lw_fault_kind kind)
{
    struct lw_fault *fault = lw_list_add(&bench->plan.simulated->faults, sizeof *fault);
    if (fault == NULL) {
        exit(1);
    }
    *fault = (struct lw_fault){.kind = kind,
                               .extra_ohm = NAN,
                               .extra_a = NAN,
                               .field = NAN,
                               .steady = NAN,
                               .reach_taps = NAN,
                               .late_ms = NAN,
                               .share = NAN,
                               .cycle_ms = NAN,
                               .bit_error_rate = NAN,
                               .to_s = INFINITY};
    return fault;
}

static void add_controller(struct bench *bench, double cycle_ms)
{
    struct lw_fault *fault = add_fault(bench, LW_FAULT_FOREIGN_CONTROLLER);
    fault->cycle_ms = cycle_ms;
}

static void load_bench(struct bench *bench)
{
    struct lw_error error = {0};
    must(lw_plan_load(bench->plan_path, NULL, NULL, &bench->plan, NULL, &error), &error);
}

// The chain with the faults so far, and the capture of whoever hears at this framing.
static void start(struct bench *bench, const struct lw_framing *framing)
{
    struct lw_error error = {0};
    char text[LW_FRAMING_TEXT];
    framing = framing != NULL ? framing : &bench->plan.framing;
    lw_framing_text(framing, text);
    const struct lw_capture_facts facts = {.application = "linewalk",
                                           .line = "sim:captures/bench",
                                           .framing = text,
                                           .simulated = true};
    must(lw_chain_new(&bench->plan, NULL, &bench->chain, &error), &error);
    must(lw_capture_create(bench->path, &facts, &bench->capture, &error), &error);
    must(lw_chain_port(bench->chain, framing, &bench->line, &error), &error);
}

static void start_recording(struct bench *bench, const struct lw_framing *framing)
{
    struct lw_error error = {0};
    struct lw_line *recorder = NULL;
    start(bench, framing);
    must(lw_recorder_wrap(bench->line, bench->capture, &recorder, &error), &error);
    bench->line = recorder;
}

static void finish(struct bench *bench)
{
    struct lw_error error = {0};
    char digest[LW_DIGEST];
    lw_line_close(bench->line);
    must(lw_capture_close(bench->capture, digest, &error), &error);
    lw_chain_free(bench->chain);
    lw_plan_free(&bench->plan);
}

static void hear(struct bench *bench, double seconds)
{
    struct lw_error error = {0};
    struct lw_piece piece;
    uint8_t bytes[LW_RTU_MAX];
    const struct lw_clock *clock = bench->line->clock;
    int64_t end_ns = lw_clock_now_ns(clock) + (int64_t)(seconds * 1e9);
    while (lw_clock_now_ns(clock) < end_ns) {
        must(lw_line_receive(bench->line, end_ns, bytes, sizeof bytes, &piece, &error), &error);
    }
}

static void clean_cycle(struct bench *bench)
{
    add_controller(bench, 100);
    start_recording(bench, NULL);
    hear(bench, 0.5);
    finish(bench);
}

static void damaged_middle(struct bench *bench)
{
    add_controller(bench, 100);
    struct lw_fault *noisy = add_fault(bench, LW_FAULT_NOISY_SPAN);
    noisy->span = 1;
    noisy->bit_error_rate = 0.004;
    noisy->from_s = 0.3;
    noisy->to_s = 0.9;
    start_recording(bench, NULL);
    hear(bench, 1.2);
    finish(bench);
}

// What an adapter hands over at a tick of its latency timer: all that came since the last.
struct lump {
    uint8_t bytes[LW_RTU_MAX];
    size_t count;
};

static void hand_over(struct bench *bench, struct lump *lump, int64_t tick_ns)
{
    struct lw_error error = {0};
    const struct lw_clock *clock = bench->line->clock;
    int64_t first_ns = tick_ns - lw_framing_chars_ns(&bench->line->framing, lump->count);
    const struct lw_packet packet = {.first_utc_ns = lw_clock_utc_ns(clock, first_ns),
                                     .last_utc_ns = lw_clock_utc_ns(clock, tick_ns),
                                     .bytes = lump->bytes,
                                     .count = lump->count};
    if (lump->count > 0) {
        must(lw_capture_packet(bench->capture, &packet, &error), &error);
    }
    lump->count = 0;
}

static void glued_answers(struct bench *bench)
{
    struct lw_error error = {0};
    struct lw_piece piece;
    struct lump lump = {.count = 0};
    add_controller(bench, 100);
    start(bench, NULL);
    for (int64_t tick_ns = LATENCY_TIMER_NS; tick_ns < SECOND_NS / 2;) {
        must(lw_line_receive(bench->line, tick_ns, lump.bytes + lump.count,
                             sizeof lump.bytes - lump.count, &piece, &error),
             &error);
        lump.count += piece.count;
        if (lw_clock_now_ns(bench->line->clock) >= tick_ns) {
            hand_over(bench, &lump, tick_ns);
            tick_ns += LATENCY_TIMER_NS;
        }
    }
    finish(bench);
}

// A driver that is switched on before its node has anything to say: the others read the edge as a
// character.
struct glitch {
    struct lw_actor actor;
    struct lw_wire *wire;
    int64_t due_ns;
};

static int64_t glitch_next(const struct lw_actor *actor)
{
    return ((const struct glitch *)actor)->due_ns;
}

static void glitch_run(struct lw_actor *actor, int64_t now_ns)
{
    static const uint8_t edge = 0xFF;
    struct glitch *glitch = (struct glitch *)actor;
    glitch->due_ns = LW_NEVER;
    (void)lw_wire_inject(glitch->wire, actor, &edge, 1, now_ns, NULL, NULL);
}

// Between the end of a request and the answer, whose first character comes about 3.6 ms after it.
static void glitch_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    struct glitch *glitch = (struct glitch *)actor;
    if (sound->count == 8 && sound->bytes[0] == 1) {
        glitch->due_ns = sound->last_ns + 2900000;
    }
}

static void stray_first_byte(struct bench *bench)
{
    static const struct lw_actor_ops ops = {glitch_next, glitch_run, glitch_hear};
    struct lw_error error = {0};
    add_controller(bench, 100);
    start_recording(bench, NULL);
    struct glitch glitch = {
        .actor = {.ops = &ops, .framing = bench->plan.framing, .tap = 1, .drive_v = 2.0},
        .wire = lw_chain_wire(bench->chain),
        .due_ns = LW_NEVER};
    must(lw_wire_add(glitch.wire, &glitch.actor, &error), &error);
    hear(bench, 0.5);
    lw_wire_remove(glitch.wire, &glitch.actor);
    finish(bench);
}

// Five rounds over the nodes, asked by ourselves.
static void poll(struct bench *bench, void (*sink)(void *, const struct lw_exchange *))
{
    struct lw_error error = {0};
    struct lw_client *client = NULL;
    const struct lw_client_options options = {0};
    const struct lw_run run = {.clock = bench->line->clock, .user = bench, .exchange = sink};
    must(lw_client_new(bench->line, &run, &options, &client, &error), &error);
    for (int i = 0; i < 5 * NODES; i++) {
        const struct lw_chain_entry *entry = lw_plan_tap(&bench->plan, (size_t)(1 + i % NODES));
        const struct lw_register *reading = lw_profile_register(entry->is, LW_ROLE_READING);
        const struct lw_pdu request =
            lw_read_request(reading->function, reading->at, (int)lw_register_words(reading));
        struct lw_exchange exchange;
        uint8_t address = (uint8_t)entry->address;
        must(lw_client_exchange(client, address, &request, &exchange, &error), &error);
    }
    lw_client_free(client);
}

static void echo(struct bench *bench)
{
    add_fault(bench, LW_FAULT_ECHOING_ADAPTER);
    start_recording(bench, NULL);
    poll(bench, NULL);
    finish(bench);
}

static void ask(struct lw_client *client, struct lw_pdu request)
{
    struct lw_error error = {0};
    struct lw_exchange exchange;
    must(lw_client_exchange(client, 1, &request, &exchange, &error), &error);
}

// As a read: two words behind the function.
static struct lw_pdu write_request(int at, int value)
{
    return lw_read_request(LW_WRITE_REGISTER, at, value);
}

// Writes of one register: each answer is the same bytes again. Heard by a tap, so nobody says which
// is which. The node is unlocked and given the address that it has already.
static void write_and_answer(struct bench *bench)
{
    struct lw_error error = {0};
    struct lw_client *client = NULL;
    struct lw_line *tester = NULL;
    start_recording(bench, NULL);
    must(lw_chain_port(bench->chain, NULL, &tester, &error), &error);
    const struct lw_client_options options = {.allow_writes = true};
    const struct lw_run run = {.clock = tester->clock};
    must(lw_client_new(tester, &run, &options, &client, &error), &error);
    const struct lw_setup *setup = lw_plan_tap(&bench->plan, 1)->is->setup;
    const struct lw_write *unlock = setup->unlock.items;
    ask(client, lw_read_request(LW_READ_INPUT_REGISTERS, 0, 2));
    ask(client, write_request(unlock->at, unlock->value));
    ask(client, write_request(setup->address.at, 1));
    ask(client, lw_read_request(LW_READ_INPUT_REGISTERS, 0, 2));
    hear(bench, 0.1);
    lw_client_free(client);
    finish(bench);
}

static void two_masters(struct bench *bench)
{
    add_controller(bench, 100);
    add_controller(bench, 130);
    start_recording(bench, NULL);
    hear(bench, 1.0);
    finish(bench);
}

static void wrong_rate(struct bench *bench)
{
    const struct lw_framing slower = {9600, 8, 'E', 1};
    add_controller(bench, 100);
    start_recording(bench, &slower);
    hear(bench, 0.5);
    finish(bench);
}

// On a line with four wires the answers have a pair of their own, and a tap hears one pair.
static void keep_answer(void *user, const struct lw_exchange *exchange)
{
    struct bench *bench = user;
    struct lw_error error = {0};
    uint8_t bytes[LW_RTU_MAX];
    const struct lw_clock *clock = bench->line->clock;
    const struct lw_packet packet = {
        .first_utc_ns = lw_clock_utc_ns(clock, exchange->reply_first_ns),
        .last_utc_ns = lw_clock_utc_ns(clock, exchange->reply_last_ns),
        .bytes = bytes,
        .count = lw_rtu_wrap(exchange->address, &exchange->reply, bytes)};
    must(lw_capture_packet(bench->capture, &packet, &error), &error);
}

static void answers_only(struct bench *bench)
{
    start(bench, NULL);
    poll(bench, keep_answer);
    finish(bench);
}

static void power_cut_tail(struct bench *bench)
{
    struct lw_error error = {0};
    struct lw_text bytes = {0};
    clean_cycle(bench);
    must(lw_file_read(bench->path, MOST_BYTES, &bytes, &error), &error);
    off_t length = (off_t)bytes.length;
    lw_text_finish(&bytes);
    if (truncate(bench->path, length - POWER_CUT) != 0) {
        must(lw_fail(&error, LW_SYSTEM, "cannot cut '%.200s'", bench->path), &error);
    }
}

static const struct {
    const char *name;
    void (*make)(struct bench *bench);
} captures[] = {
    {"clean-cycle", clean_cycle},
    {"damaged-middle", damaged_middle},
    {"glued-answers", glued_answers},
    {"stray-first-byte", stray_first_byte},
    {"echo", echo},
    {"write-and-answer", write_and_answer},
    {"two-masters", two_masters},
    {"wrong-rate", wrong_rate},
    {"answers-only", answers_only},
    {"power-cut-tail", power_cut_tail},
};

static void make(const char *plan_path, const char *folder, const char *name,
                 void (*maker)(struct bench *bench))
{
    struct bench bench = {.plan_path = plan_path, .name = name};
    lw_print(bench.path, sizeof bench.path, "%s/%s.pcapng", folder, name);
    unlink(bench.path);
    load_bench(&bench);
    maker(&bench);
}

static bool is_current(const char *folder, const char *other, const char *name)
{
    struct lw_error error = {0};
    char path[LW_PATH];
    struct lw_text kept = {0}, fresh = {0};
    lw_print(path, sizeof path, "%s/%s.pcapng", folder, name);
    must(lw_file_read(path, MOST_BYTES, &kept, &error), &error);
    lw_print(path, sizeof path, "%s/%s.pcapng", other, name);
    must(lw_file_read(path, MOST_BYTES, &fresh, &error), &error);
    bool same = kept.length == fresh.length && memcmp(kept.bytes, fresh.bytes, kept.length) == 0;
    lw_text_finish(&kept);
    lw_text_finish(&fresh);
    unlink(path);
    return same;
}

int main(int count, char **words)
{
    bool check = count == 3 && strcmp(words[1], "--check") == 0;
    char fresh[] = "/tmp/linewalk-captures-XXXXXX", plan_path[LW_PATH];
    if (count != 2 + check || (check && mkdtemp(fresh) == NULL)) {
        fprintf(stderr, "usage: captures_make [--check] FOLDER\n");
        return 2;
    }
    const char *folder = words[count - 1];
    int stale = 0;
    lw_print(plan_path, sizeof plan_path, "%s/bench/plan.json", folder);
    for (size_t i = 0; i < sizeof captures / sizeof *captures; i++) {
        make(plan_path, check ? fresh : folder, captures[i].name, captures[i].make);
        if (check && !is_current(folder, fresh, captures[i].name)) {
            fprintf(stderr, "%s.pcapng is not current: ninja captures\n", captures[i].name);
            stale++;
        }
    }
    if (check) {
        rmdir(fresh);
    }
    return stale > 0;
}
