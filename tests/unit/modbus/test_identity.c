// SPDX-License-Identifier: GPL-3.0-or-later
//
// Device identification by MODBUS Application Protocol V1.1b3, 6.21. The printed example replies
// have wrong object lengths and a wrong number of objects, so they are not used here; the request
// and the three texts of the example are.
#include "modbus/identity.h"
#include "modbus/pdu.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

#include "worked.h"

static void set(struct lw_identity *identity, uint8_t id, const char *text)
{
    assert_true(lw_identity_set(identity, id, text, strlen(text)));
}

static void assert_object(const struct lw_identity *identity, uint8_t id, const char *text)
{
    size_t length = 0;
    const uint8_t *bytes = lw_identity_get(identity, id, &length);
    assert_non_null(bytes);
    assert_int_equal(length, strlen(text));
    assert_memory_equal(bytes, text, length);
}

static struct lw_identity example(void)
{
    struct lw_identity identity = {.conformity = 0x83};
    set(&identity, LW_REVISION, "V2.11");
    set(&identity, LW_VENDOR_NAME, "Company identification");
    set(&identity, LW_PRODUCT_CODE, "Product code XX");
    return identity;
}

static void a_basic_request_is_as_printed(void **state)
{
    (void)state;
    struct lw_pdu request, wanted = pdu_of("2B 0E 01 00"); // 6.21
    lw_identity_request(LW_IDENTITY_BASIC, 0, &request);
    assert_int_equal(request.count, wanted.count);
    assert_memory_equal(request.bytes, wanted.bytes, wanted.count);
}

static void the_three_basic_objects_come_with_their_true_lengths(void **state)
{
    (void)state;
    struct lw_identity node = example(), heard = {0};
    struct lw_pdu request, reply;
    lw_identity_request(LW_IDENTITY_BASIC, 0, &request);
    lw_identity_reply(&node, &request, &reply);
    assert_int_equal(reply.bytes[6], 3);
    assert_int_equal(reply.bytes[8], 22); // "Company identification", 6.21
    assert_int_equal(reply.bytes[7 + 2 + 22 + 1],
                     15); // "Product code XX": 0x0F, not the 0x0D printed
    assert_int_equal(lw_identity_add(&heard, &request, &reply), LW_IDENTITY_WHOLE);
    assert_int_equal(heard.count, 3);
    assert_int_equal(heard.conformity, 0x83);
    assert_object(&heard, LW_VENDOR_NAME, "Company identification");
    assert_object(&heard, LW_PRODUCT_CODE, "Product code XX");
    assert_object(&heard, LW_REVISION, "V2.11");
}

// Asks until nothing more follows; returns the last step.
static enum lw_identity_step gather(const struct lw_identity *node, uint8_t read_code,
                                    struct lw_identity *heard)
{
    enum lw_identity_step step = LW_IDENTITY_MORE;
    while (step == LW_IDENTITY_MORE) {
        struct lw_pdu request, reply;
        lw_identity_request(read_code, heard->next, &request);
        lw_identity_reply(node, &request, &reply);
        step = lw_identity_add(heard, &request, &reply);
    }
    return step;
}

static void an_identity_of_many_objects_is_gathered_from_its_parts(void **state)
{
    (void)state;
    struct lw_identity node = example(), heard = {0};
    char text[101];
    for (unsigned i = 0; i < 8; i++) {
        memset(text, (int)('a' + i), 100);
        text[100] = '\0';
        set(&node, (uint8_t)(LW_PRIVATE_OBJECTS + i), text);
    }
    assert_int_equal(gather(&node, LW_IDENTITY_EXTENDED, &heard), LW_IDENTITY_WHOLE);
    assert_int_equal(heard.count, 11);
    assert_true(heard.parts > 3);
    assert_false(heard.cut);
    assert_object(&heard, LW_PRIVATE_OBJECTS + 7, text);
}

static void the_longest_object_fills_a_reply_of_its_own(void **state)
{
    (void)state;
    struct lw_identity node = {.conformity = 0x81}, heard = {0};
    char text[LW_OBJECT_MAX + 1];
    memset(text, 'x', LW_OBJECT_MAX);
    text[LW_OBJECT_MAX] = '\0';
    set(&node, 0, text);
    set(&node, 1, text);
    set(&node, 2, "V1");
    assert_int_equal(gather(&node, LW_IDENTITY_BASIC, &heard), LW_IDENTITY_WHOLE);
    assert_int_equal(heard.parts, 3);
    assert_object(&heard, 1, text);
    assert_false(lw_identity_set(&node, 3, text, LW_OBJECT_MAX + 1));
}

static void a_level_gives_its_own_objects_only(void **state)
{
    (void)state;
    struct lw_identity node = example(), basic = {0}, regular = {0}, extended = {0};
    set(&node, LW_MODEL_NAME, "P10");
    set(&node, LW_PRIVATE_OBJECTS, "S/N 4711");
    gather(&node, LW_IDENTITY_BASIC, &basic);
    gather(&node, LW_IDENTITY_REGULAR, &regular);
    gather(&node, LW_IDENTITY_EXTENDED, &extended);
    assert_int_equal(basic.count, 3);
    assert_int_equal(regular.count, 4);
    assert_int_equal(extended.count, 5);
}

static void a_level_above_its_own_is_answered_at_its_own(void **state)
{
    (void)state;
    struct lw_identity node = example(), heard = {0};
    set(&node, LW_MODEL_NAME, "P10");
    node.conformity = 0x01;
    gather(&node, LW_IDENTITY_EXTENDED, &heard);
    assert_int_equal(heard.count, 3);
}

static void a_stream_from_an_unknown_object_starts_at_the_first(void **state)
{
    (void)state;
    struct lw_identity node = example();
    struct lw_pdu request, reply;
    lw_identity_request(LW_IDENTITY_BASIC, 0x55, &request);
    lw_identity_reply(&node, &request, &reply);
    assert_int_equal(reply.bytes[6], 3);
    assert_int_equal(reply.bytes[7], 0);
}

static uint8_t exception_to(const struct lw_identity *node, const char *request_text)
{
    struct lw_pdu request = pdu_of(request_text), reply;
    struct lw_reply values;
    lw_identity_reply(node, &request, &reply);
    assert_true(lw_reply_parse(&request, &reply, &values));
    return values.exception;
}

static void bad_codes_and_unknown_objects_are_refused(void **state)
{
    (void)state;
    struct lw_identity node = example();
    assert_int_equal(exception_to(&node, "2B 0E 05 00"), LW_ILLEGAL_VALUE);
    assert_int_equal(exception_to(&node, "2B 0E 04 55"), LW_ILLEGAL_ADDRESS);
    assert_int_equal(exception_to(&node, "2B 0E 04 01"), 0);
    assert_int_equal(exception_to(&node, "2B 0D 04 01"), LW_ILLEGAL_FUNCTION);
    node.conformity = 0x03; // stream access only
    assert_int_equal(exception_to(&node, "2B 0E 04 01"), LW_ILLEGAL_VALUE);
}

static enum lw_identity_step add(struct lw_identity *heard, const char *request_text,
                                 const char *reply_text)
{
    struct lw_pdu request = pdu_of(request_text), reply = pdu_of(reply_text);
    return lw_identity_add(heard, &request, &reply);
}

static void one_object_alone_is_whole_whatever_follows(void **state)
{
    (void)state;
    struct lw_identity heard = {0};
    assert_int_equal(add(&heard, "2B 0E 04 01", "2B 0E 04 83 FF 02 01 01 01 58"),
                     LW_IDENTITY_WHOLE);
    assert_object(&heard, LW_PRODUCT_CODE, "X");
}

static void a_device_that_points_back_ends_the_gathering(void **state)
{
    (void)state;
    struct lw_identity heard = {0};
    assert_int_equal(add(&heard, "2B 0E 01 00", "2B 0E 01 01 FF 01 01 00 01 41"), LW_IDENTITY_MORE);
    assert_int_equal(heard.next, 1);
    assert_int_equal(add(&heard, "2B 0E 01 01", "2B 0E 01 01 FF 01 01 00 01 41"),
                     LW_IDENTITY_WHOLE);
    assert_true(heard.cut);
    assert_int_equal(heard.count, 1);
}

static void a_count_of_objects_too_large_is_forgiven(void **state)
{
    (void)state;
    struct lw_identity heard = {0};
    assert_int_equal(add(&heard, "2B 0E 01 00", "2B 0E 01 01 00 00 03 00 01 41 01 01 42"),
                     LW_IDENTITY_WHOLE);
    assert_int_equal(heard.count, 2);
}

static void lengths_that_contradict_the_reply_are_broken_and_change_nothing(void **state)
{
    (void)state;
    struct lw_identity heard = {0}, untouched = {0};
    assert_int_equal(add(&heard, "2B 0E 01 00", "2B 0E 01 01 00 00 02 00 01 41 01 09 42"),
                     LW_IDENTITY_BROKEN);
    assert_int_equal(add(&heard, "2B 0E 01 00", "2B 0E 01 01 00 00 01 00 01 41 01 01 42"),
                     LW_IDENTITY_BROKEN);
    assert_int_equal(add(&heard, "2B 0E 01 00", "2B 0E 02 01 00 00 00"), LW_IDENTITY_BROKEN);
    assert_int_equal(add(&heard, "2B 0E 01 00", "AB 02"), LW_IDENTITY_BROKEN);
    assert_memory_equal(&heard, &untouched, sizeof heard);
}

static void an_identity_larger_than_the_room_is_cut_and_says_so(void **state)
{
    (void)state;
    struct lw_identity heard = {0};
    struct lw_pdu request, reply = pdu_of("2B 0E 03 83 FF 00 32");
    for (unsigned part = 0; part < 4; part++) {
        uint8_t first = (uint8_t)(part * 50);
        lw_identity_request(LW_IDENTITY_EXTENDED, first, &request);
        reply.count = 7;
        reply.bytes[5] = (uint8_t)(first + 50);
        for (unsigned i = 0; i < 50; i++) {
            reply.bytes[reply.count++] = (uint8_t)(first + i);
            reply.bytes[reply.count++] = 1;
            reply.bytes[reply.count++] = 'A';
        }
        assert_int_equal(lw_identity_add(&heard, &request, &reply), LW_IDENTITY_MORE);
    }
    assert_true(heard.cut);
    assert_int_equal(heard.count, LW_IDENTITY_OBJECTS);
}

static void a_replaced_object_keeps_the_others(void **state)
{
    (void)state;
    struct lw_identity identity = example();
    set(&identity, LW_VENDOR_NAME, "E");
    set(&identity, LW_REVISION, "V2.12 with a longer text");
    assert_object(&identity, LW_VENDOR_NAME, "E");
    assert_object(&identity, LW_PRODUCT_CODE, "Product code XX");
    assert_object(&identity, LW_REVISION, "V2.12 with a longer text");
    assert_int_equal(identity.count, 3);
    size_t length;
    assert_null(lw_identity_get(&identity, LW_MODEL_NAME, &length));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_basic_request_is_as_printed),
        cmocka_unit_test(the_three_basic_objects_come_with_their_true_lengths),
        cmocka_unit_test(an_identity_of_many_objects_is_gathered_from_its_parts),
        cmocka_unit_test(the_longest_object_fills_a_reply_of_its_own),
        cmocka_unit_test(a_level_gives_its_own_objects_only),
        cmocka_unit_test(a_level_above_its_own_is_answered_at_its_own),
        cmocka_unit_test(a_stream_from_an_unknown_object_starts_at_the_first),
        cmocka_unit_test(bad_codes_and_unknown_objects_are_refused),
        cmocka_unit_test(one_object_alone_is_whole_whatever_follows),
        cmocka_unit_test(a_device_that_points_back_ends_the_gathering),
        cmocka_unit_test(a_count_of_objects_too_large_is_forgiven),
        cmocka_unit_test(lengths_that_contradict_the_reply_are_broken_and_change_nothing),
        cmocka_unit_test(an_identity_larger_than_the_room_is_cut_and_says_so),
        cmocka_unit_test(a_replaced_object_keeps_the_others),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
