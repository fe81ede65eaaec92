// SPDX-License-Identifier: GPL-3.0-or-later
//
// Device identification, gathered part by part and served part by part. A device can claim that
// more follows for ever, so each part must begin beyond the one before it.
#include "modbus/identity.h"

#include "modbus/bytes.h"
#include "modbus/pdu.h"

#include <assert.h>

enum { HEAD = 7 }; // function, MEI type, read code, conformity, more follows, next, objects

static size_t find(const struct lw_identity *identity, uint8_t id)
{
    size_t i = 0;
    while (i < identity->count && identity->objects[i].id < id) {
        i++;
    }
    return i; // where it is, or would be
}

static bool has(const struct lw_identity *identity, uint8_t id)
{
    size_t i = find(identity, id);
    return i < identity->count && identity->objects[i].id == id;
}

static void drop(struct lw_identity *identity, size_t index)
{
    struct lw_identity_object gone = identity->objects[index];
    size_t tail = identity->used - gone.at - gone.length;
    memmove(identity->bytes + gone.at, identity->bytes + gone.at + gone.length, tail);
    identity->used = (uint16_t)(identity->used - gone.length);
    identity->count--;
    memmove(identity->objects + index, identity->objects + index + 1,
            (identity->count - index) * sizeof gone);
    for (size_t i = 0; i < identity->count; i++) {
        if (identity->objects[i].at > gone.at) {
            identity->objects[i].at = (uint16_t)(identity->objects[i].at - gone.length);
        }
    }
}

bool lw_identity_set(struct lw_identity *identity, uint8_t id, const void *bytes, size_t length)
{
    size_t i = find(identity, id);
    bool old = has(identity, id);
    size_t freed = old ? identity->objects[i].length : 0;
    if (length > LW_OBJECT_MAX || identity->used - freed + length > LW_IDENTITY_BYTES ||
        identity->count - (old ? 1 : 0) >= LW_IDENTITY_OBJECTS) {
        return false;
    }
    if (old) {
        drop(identity, i);
    }
    memmove(identity->objects + i + 1, identity->objects + i,
            (identity->count - i) * sizeof identity->objects[0]);
    identity->objects[i] = (struct lw_identity_object){id, (uint8_t)length, identity->used};
    if (length > 0) {
        memcpy(identity->bytes + identity->used, bytes, length);
    }
    identity->used = (uint16_t)(identity->used + length);
    identity->count++;
    return true;
}

const uint8_t *lw_identity_get(const struct lw_identity *identity, uint8_t id, size_t *length)
{
    if (!has(identity, id)) {
        return NULL;
    }
    const struct lw_identity_object *object = &identity->objects[find(identity, id)];
    *length = object->length;
    return identity->bytes + object->at;
}

void lw_identity_request(uint8_t read_code, uint8_t object, struct lw_pdu *request)
{
    struct lw_request values = {
        .function = LW_ENCAPSULATED, .read_code = read_code, .object = object};
    bool built = lw_request_build(&values, request);
    assert(built);
    (void)built;
}

// The objects of one reply; false when their lengths contradict the reply's.
static bool take_objects(struct lw_identity *identity, struct reader *from, unsigned count,
                         uint8_t *last)
{
    for (unsigned i = 0; i < count && from->left > 0; i++) {
        uint8_t id = take_byte(from);
        uint8_t length = take_byte(from);
        if (from->dry || from->left < length) {
            return false;
        }
        if (!has(identity, id) && !lw_identity_set(identity, id, from->bytes, length)) {
            identity->cut = true;
        }
        from->bytes += length;
        from->left -= length;
        *last = id > *last ? id : *last;
    }
    return from->left == 0;
}

enum lw_identity_step lw_identity_add(struct lw_identity *identity, const struct lw_pdu *request,
                                      const struct lw_pdu *reply)
{
    struct lw_request asked;
    struct lw_reply head;
    bool answered = lw_request_parse(request, &asked) == 0 &&
                    lw_reply_parse(request, reply, &head) && head.exception == 0 &&
                    head.function == LW_ENCAPSULATED;
    if (!answered) {
        return LW_IDENTITY_BROKEN;
    }
    struct reader from = {.bytes = reply->bytes + HEAD, .left = reply->count - HEAD};
    bool more = reply->bytes[4] != 0 && asked.read_code != LW_IDENTITY_ONE;
    uint8_t next = reply->bytes[5], last = asked.object;
    struct lw_identity gathered = *identity;
    if (!take_objects(&gathered, &from, reply->bytes[6], &last)) {
        return LW_IDENTITY_BROKEN;
    }
    gathered.conformity = reply->bytes[3];
    gathered.parts++;
    gathered.next = next;
    *identity = gathered;
    if (more && (next <= last || identity->parts == UINT8_MAX)) {
        identity->cut = true;
        more = false;
    }
    return more ? LW_IDENTITY_MORE : LW_IDENTITY_WHOLE;
}

static void refuse(uint8_t exception, struct lw_pdu *reply)
{
    struct lw_reply values = {.function = LW_ENCAPSULATED, .exception = exception};
    bool built = lw_reply_build(&values, reply);
    assert(built);
    (void)built;
}

static void put_object(struct writer *to, const struct lw_identity *identity, size_t index)
{
    const struct lw_identity_object *object = &identity->objects[index];
    put_byte(to, object->id);
    put_byte(to, object->length);
    put_bytes(to, identity->bytes + object->at, object->length);
    to->pdu->bytes[6]++;
}

// The last object of a level: basic 00..02, regular ..7F, extended all.
static unsigned level_end(unsigned level)
{
    return level == LW_IDENTITY_BASIC ? 0x02 : level == LW_IDENTITY_REGULAR ? 0x7F : 0xFF;
}

static void stream(const struct lw_identity *identity, unsigned end, uint8_t start,
                   struct writer *to)
{
    bool known = has(identity, start) && start <= end;
    size_t i = known ? find(identity, start) : 0;
    for (; i < identity->count && identity->objects[i].id <= end; i++) {
        if (to->pdu->count + 2u + identity->objects[i].length > LW_PDU_MAX) {
            to->pdu->bytes[4] = 0xFF;
            to->pdu->bytes[5] = identity->objects[i].id;
            return;
        }
        put_object(to, identity, i);
    }
}

void lw_identity_reply(const struct lw_identity *identity, const struct lw_pdu *request,
                       struct lw_pdu *reply)
{
    struct lw_request asked;
    uint8_t wrong = lw_request_parse(request, &asked);
    bool one = wrong == 0 && asked.read_code == LW_IDENTITY_ONE;
    if (one && !(identity->conformity & 0x80)) {
        wrong = LW_ILLEGAL_VALUE;
    } else if (one && !has(identity, asked.object)) {
        wrong = LW_ILLEGAL_ADDRESS;
    }
    if (wrong != 0) {
        refuse(wrong, reply);
        return;
    }
    unsigned own = identity->conformity & 0x7F;
    unsigned level = asked.read_code < own ? asked.read_code : own;
    const uint8_t head[HEAD] = {
        LW_ENCAPSULATED, LW_MEI_IDENTITY, asked.read_code, identity->conformity, 0, 0, 0};
    struct writer to = {.pdu = reply};
    reply->count = 0;
    put_bytes(&to, head, HEAD);
    if (one) {
        put_object(&to, identity, find(identity, asked.object));
    } else {
        stream(identity, level_end(level), asked.object, &to);
    }
}
