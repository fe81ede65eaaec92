// SPDX-License-Identifier: GPL-3.0-or-later
//
// The wire alone: times of characters, overlaps, other framings, echo, and the paced crank.
#include "fixture.h"

#include "chain/uart.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static const struct lw_framing at_19200 = {19200, 8, 'E', 1};
static const struct lw_framing at_9600 = {9600, 8, 'E', 1};

static struct lw_wire *new_wire(void)
{
    struct lw_wire *wire = NULL;
    assert_int_equal(lw_wire_new(0, 0, 1, &wire, NULL), LW_OK);
    return wire;
}

static struct lw_line *new_port(struct lw_wire *wire, const struct lw_framing *framing)
{
    struct lw_line *line = NULL;
    assert_int_equal(lw_wire_port(wire, framing, NULL, &line, NULL), LW_OK);
    return line;
}

// An actor that answers with fixed bytes at a fixed time, and keeps what it hears.
struct parrot {
    struct lw_actor actor;
    struct lw_wire *wire;
    int64_t at_ns;
    size_t count;
    uint8_t bytes[16];
};

static int64_t parrot_next(const struct lw_actor *actor)
{
    return ((const struct parrot *)actor)->at_ns;
}

static void parrot_run(struct lw_actor *actor, int64_t now_ns)
{
    struct parrot *parrot = (struct parrot *)actor;
    parrot->at_ns = LW_NEVER;
    lw_wire_inject(parrot->wire, actor, parrot->bytes, parrot->count, now_ns, NULL, NULL);
}

static void parrot_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    (void)actor;
    (void)sound;
}

static const struct lw_actor_ops parrot_ops = {parrot_next, parrot_run, parrot_hear};

static void add_parrot(struct lw_wire *wire, struct parrot *parrot, int64_t at_ns,
                       const uint8_t *bytes, size_t count)
{
    *parrot = (struct parrot){
        .actor = {.ops = &parrot_ops, .framing = at_19200, .key = 9, .drive_v = 2.0},
        .wire = wire,
        .at_ns = at_ns,
        .count = count};
    memcpy(parrot->bytes, bytes, count);
    assert_int_equal(lw_wire_add(wire, &parrot->actor, NULL), LW_OK);
}

// MODBUS over Serial Line V1.02, 2.5.1: 11 bits a character; 8 of them at 19200 bit/s are
// 8 x 11 / 19200 s = 4.583333 ms.
static void a_send_takes_the_time_of_its_characters(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct lw_line *line = new_port(wire, &at_19200);
    const uint8_t bytes[8] = {1, 2, 3, 4, 5, 6, 7, 8};
    int64_t first_ns = -1, last_ns = -1;
    assert_int_equal(lw_line_send(line, bytes, 8, &first_ns, &last_ns, NULL), LW_OK);
    assert_int_equal(first_ns, 0);
    assert_int_equal(last_ns, 4583333);
    assert_int_equal(lw_wire_now_ns(wire), 4583333);
    lw_wire_free(wire);
}

static void a_listener_hears_bytes_and_their_times(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct parrot parrot;
    struct lw_line *line = new_port(wire, &at_19200);
    struct answer answer;
    const uint8_t bytes[] = {0x55, 0x00, 0xFF};
    add_parrot(wire, &parrot, 1000000, bytes, sizeof bytes);
    listen_ms(line, 10, &answer);
    assert_int_equal(answer.count, 3);
    assert_memory_equal(answer.bytes, bytes, 3);
    assert_int_equal(answer.first_ns, 1000000);
    assert_int_equal(answer.last_ns, 1000000 + 1718750); // 33 bits at 19200 bit/s
    assert_int_equal(answer.flags, 0);
    lw_wire_free(wire);
}

static void a_deadline_inside_a_transmission_gives_the_characters_complete_by_then(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct parrot parrot;
    struct lw_piece piece;
    uint8_t heard[16];
    const uint8_t bytes[] = {1, 2, 3, 4};
    struct lw_line *line = new_port(wire, &at_19200);
    add_parrot(wire, &parrot, 0, bytes, sizeof bytes);
    lw_line_receive(line, 1500000, heard, sizeof heard, &piece, NULL); // 2.6 characters
    assert_int_equal(piece.count, 2);
    assert_int_equal(piece.last_ns, 1145833);
    lw_line_receive(line, 9000000, heard + 2, sizeof heard - 2, &piece, NULL);
    assert_int_equal(piece.count, 2);
    assert_memory_equal(heard, bytes, 4);
    lw_wire_free(wire);
}

static void overlapping_transmissions_are_garbled(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct parrot one, other;
    struct answer answer;
    const uint8_t first[] = {0x00, 0x55, 0x0F, 0x11}, second[] = {0xF0, 0xAA, 0x33, 0x5A};
    struct lw_line *line = new_port(wire, &at_19200);
    add_parrot(wire, &one, 0, first, sizeof first);
    add_parrot(wire, &other, 700000, second, sizeof second);
    listen_ms(line, 20, &answer);
    assert_true(answer.count > 0);
    bool intact = answer.count >= 4 &&
                  (memcmp(answer.bytes, first, 4) == 0 || memcmp(answer.bytes, second, 4) == 0);
    assert_false(intact);
    assert_true(answer.bytes[0] == 0x00); // before the other began
    lw_wire_free(wire);
}

static void like_answers_in_step_stay_readable(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct parrot one, other;
    struct answer answer;
    const uint8_t bytes[] = {7, 4, 2, 0x12, 0x34};
    struct lw_line *line = new_port(wire, &at_19200);
    add_parrot(wire, &one, 0, bytes, sizeof bytes);
    add_parrot(wire, &other, 10000, bytes, sizeof bytes); // a fifth of a bit later
    listen_ms(line, 20, &answer);
    assert_int_equal(answer.count, sizeof bytes);
    assert_memory_equal(answer.bytes, bytes, sizeof bytes);
    lw_wire_free(wire);
}

// 0x00 at 9600 bit/s has ten spaces of 104 us (start, eight data, even parity): a receiver at
// 19200 sees its 11 bit times of 52 us all low, a break; the rest of the low ends in the idle line.
static void a_slow_zero_is_a_break_to_a_fast_listener(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct lw_line *slow = new_port(wire, &at_9600), *fast = new_port(wire, &at_19200);
    struct lw_piece piece;
    uint8_t heard[16];
    lw_line_send(slow, (const uint8_t[]){0}, 1, NULL, NULL, NULL);
    lw_line_receive(fast, 5000000, heard, sizeof heard, &piece, NULL);
    assert_int_equal(piece.count, 1);
    assert_int_equal(heard[0], 0);
    assert_true(piece.flags & LW_PIECE_BREAK);
    lw_wire_free(wire);
}

// 0x55 is 0 1 0 1 0 1 0 1 0 1 on the line with its start and, at even parity, a 0 and the stop: at
// half the rate a receiver reads every second edge wrongly, but never silence.
static void a_fast_frame_is_not_silence_to_a_slow_listener(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct lw_line *fast = new_port(wire, &at_19200), *slow = new_port(wire, &at_9600);
    const uint8_t frame[] = {1, 4, 0, 0, 0, 2, 0x71, 0xCB};
    struct answer answer;
    lw_line_send(fast, frame, sizeof frame, NULL, NULL, NULL);
    listen_ms(slow, 20, &answer);
    assert_true(answer.count >= 2);
    assert_false(answer.whole);
    lw_wire_free(wire);
}

static void wrong_parity_is_flagged_and_the_bytes_are_right(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    const struct lw_framing odd = {19200, 8, 'O', 1};
    struct lw_line *even_port = new_port(wire, &at_19200), *odd_port = new_port(wire, &odd);
    const uint8_t frame[] = {1, 4, 0, 0, 0, 2, 0x71, 0xCB};
    struct answer answer;
    lw_line_send(even_port, frame, sizeof frame, NULL, NULL, NULL);
    listen_ms(odd_port, 20, &answer);
    assert_int_equal(answer.count, sizeof frame);
    assert_memory_equal(answer.bytes, frame, sizeof frame);
    assert_true(answer.flags & LW_PIECE_PARITY);
    lw_wire_free(wire);
}

static void every_framing_reads_itself_bit_by_bit(void **state)
{
    (void)state;
    const char *texts[] = {"300/7E1",   "9600/8N2",   "19200/8E1",
                           "57600/8O2", "115200/8N1", "921600/7O1"};
    for (size_t k = 0; k < sizeof texts / sizeof texts[0]; k++) {
        struct lw_transmission sent = {.drive_v = 2, .first_ns = 12345, .count = 256};
        assert_int_equal(lw_framing_parse(texts[k], &sent.framing, NULL), LW_OK);
        unsigned mask = sent.framing.data_bits == 7 ? 0x7F : 0xFF;
        for (unsigned i = 0; i < 256; i++) {
            sent.bytes[i] = (uint8_t)(i & mask);
        }
        sent.last_ns = sent.first_ns + lw_framing_chars_ns(&sent.framing, 256);
        struct lw_seen seen = {.sent = &sent};
        struct lw_character character;
        int64_t from_ns = 0;
        for (unsigned i = 0; i < 256; i++) {
            assert_int_equal(lw_uart_next(&seen, 1, &sent.framing, from_ns, sent.last_ns + 1000,
                                          &character, &from_ns),
                             LW_UART_CHARACTER);
            assert_int_equal(character.byte, sent.bytes[i]);
            assert_int_equal(character.flags, 0);
        }
    }
}

// A crystal may be off; a character of 11 bits stands about half a bit in 10.5, 4.7 %, between
// both ends (from the geometry of the sampling). 3 % reads, 8 % does not.
static void a_receiver_stands_three_percent_of_rate_and_not_eight(void **state)
{
    (void)state;
    for (int percent = 3; percent <= 8; percent += 5) {
        struct lw_wire *wire = new_wire();
        struct lw_framing off = at_19200;
        off.rate = 19200 * (100 + percent) / 100;
        struct lw_line *sender = new_port(wire, &off), *listener = new_port(wire, &at_19200);
        const uint8_t frame[] = {1, 4, 0, 0, 0, 2, 0x71, 0xCB};
        struct answer answer;
        lw_line_send(sender, frame, sizeof frame, NULL, NULL, NULL);
        listen_ms(listener, 20, &answer);
        assert_int_equal(answer.whole, percent == 3);
        lw_wire_free(wire);
    }
}

static double one_in_a_thousand(void *user, size_t from, size_t to, int64_t now_ns,
                                const struct lw_framing *framing)
{
    (void)user;
    (void)from;
    (void)to;
    (void)now_ns;
    (void)framing;
    return 0.001;
}

// 2000 frames of 88 bits at 1e-3: 1 - 0.999^88 = 8.43 % damaged, 169 +- 12.4 (binomial).
static void turned_bits_damage_as_many_frames_as_their_rate_says(void **state)
{
    (void)state;
    struct lw_wire *wire = new_wire();
    struct lw_wire_medium medium = {.bit_error_rate = one_in_a_thousand};
    struct lw_line *sender = new_port(wire, &at_19200), *listener = new_port(wire, &at_19200);
    const uint8_t frame[] = {1, 4, 0, 0, 0, 2, 0x71, 0xCB};
    int damaged = 0;
    lw_wire_medium(wire, &medium);
    for (int i = 0; i < 2000; i++) {
        struct answer answer;
        lw_line_send(sender, frame, sizeof frame, NULL, NULL, NULL);
        listen_ms(listener, 5, &answer);
        damaged += answer.count != sizeof frame || memcmp(answer.bytes, frame, sizeof frame) != 0 ||
                   answer.flags != 0;
    }
    assert_in_range(damaged, 169 - 50, 169 + 50);
    lw_wire_free(wire);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_send_takes_the_time_of_its_characters),
        cmocka_unit_test(a_listener_hears_bytes_and_their_times),
        cmocka_unit_test(a_deadline_inside_a_transmission_gives_the_characters_complete_by_then),
        cmocka_unit_test(overlapping_transmissions_are_garbled),
        cmocka_unit_test(like_answers_in_step_stay_readable),
        cmocka_unit_test(a_slow_zero_is_a_break_to_a_fast_listener),
        cmocka_unit_test(a_fast_frame_is_not_silence_to_a_slow_listener),
        cmocka_unit_test(wrong_parity_is_flagged_and_the_bytes_are_right),
        cmocka_unit_test(every_framing_reads_itself_bit_by_bit),
        cmocka_unit_test(a_receiver_stands_three_percent_of_rate_and_not_eight),
        cmocka_unit_test(turned_bits_damage_as_many_frames_as_their_rate_says),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
