// SPDX-License-Identifier: GPL-3.0-or-later
//
// The client under noise: random bytes around answers and between requests, with a fixed seed.
#include "fixture.h"

#include "client/inbox.h"

enum { ROUNDS = 60 }; // a fixture's script has room for so many sends

static const char read_one[] = "03 00 00 00 01";
static const char answer_42[] = "03 02 00 2A";

static uint64_t state_of_random = 485;

// SplitMix64 (Steele, Lea, Flood 2014).
static uint64_t random_bits(void)
{
    uint64_t z = (state_of_random += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

static void noise(struct cue *cue, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        cue->bytes[i] = (uint8_t)random_bits();
    }
    cue->count = count;
}

static void an_answer_is_found_in_any_noise_around_it(void **state)
{
    struct fixture *f = *state;
    for (int send = 1; send <= ROUNDS; send++) {
        f->script.cue_count = 0;
        noise(raw(&f->script, send, 5 * ms, ""), random_bits() % 60);
        frame(&f->script, send, 0, 5, answer_42);
        glue(&f->script);
        noise(raw(&f->script, send, 0, ""), random_bits() % 60);
        glue(&f->script);
        assert_int_equal(ask(f, 5, read_one), LW_OK);
        assert_reply(f, answer_42);
    }
}

static void noise_between_requests_is_all_counted(void **state)
{
    struct fixture *f = *state;
    size_t made = 0, counted = 0;
    for (int send = 1; send <= ROUNDS; send++) {
        f->script.cue_count = 0;
        frame(&f->script, send, 5 * ms, 5, answer_42);
        noise(raw(&f->script, send, 20 * ms, ""), random_bits() % 200);
        made += send < ROUNDS ? f->script.cues[1].count : 0;
        assert_int_equal(ask(f, 5, read_one), LW_OK);
        assert_reply(f, answer_42);
        counted += f->last.strays;
        assert_int_equal(lw_client_wait(f->client, 0.2, &f->error), LW_OK);
    }
    assert_int_equal(counted, made);
    assert_false(lw_client_foreign(f->client));
}

// 4 MiB of noise in bursts of 256: what is told from chance by function, length, sense and CRC.
static void noise_makes_fewer_than_ten_frames_in_four_mebibytes(void **state)
{
    (void)state;
    struct lw_inbox inbox;
    size_t frames = 0;
    for (int burst = 0; burst < 16384; burst++) {
        uint8_t bytes[256];
        struct lw_piece piece = {.count = sizeof bytes, .last_ns = 256 * ms};
        struct lw_found found;
        for (size_t i = 0; i < sizeof bytes; i++) {
            bytes[i] = (uint8_t)random_bits();
        }
        inbox.count = 0;
        lw_inbox_add(&inbox, bytes, &piece);
        frames += lw_inbox_frame(&inbox, 0, inbox.count, &found);
    }
    assert_in_range(frames, 0, 9);
}

static void the_oldest_bytes_make_room_and_are_counted(void **state)
{
    (void)state;
    struct lw_inbox inbox = {0};
    uint8_t bytes[256] = {0};
    size_t dropped = 0;
    for (int i = 0; i < 5; i++) {
        struct lw_piece piece = {.count = 256, .first_ns = i * ms, .last_ns = (i + 1) * ms};
        memset(bytes, i, sizeof bytes);
        dropped += lw_inbox_add(&inbox, bytes, &piece);
    }
    assert_int_equal(dropped, 5 * 256 - LW_INBOX_SIZE);
    assert_int_equal(inbox.count, LW_INBOX_SIZE);
    assert_int_equal(inbox.bytes[0], 1);
    assert_int_equal(inbox.begins_ns[0], 1 * ms);
    assert_int_equal(inbox.ends_ns[LW_INBOX_SIZE - 1], 5 * ms);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        client_test(an_answer_is_found_in_any_noise_around_it),
        client_test(noise_between_requests_is_all_counted),
        cmocka_unit_test(noise_makes_fewer_than_ten_frames_in_four_mebibytes),
        cmocka_unit_test(the_oldest_bytes_make_room_and_are_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
