// SPDX-License-Identifier: GPL-3.0-or-later
//
// Read Device Identification (MODBUS Application Protocol V1.1b3, 6.21): a device's objects,
// gathered from one reply or from several ("more follows"), and the replies of a node that has
// them. Object bytes are as the device sent them: clean them before they are shown.
#ifndef LW_MODBUS_IDENTITY_H
#define LW_MODBUS_IDENTITY_H

#include "modbus/exchange.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    LW_VENDOR_NAME = 0x00,
    LW_PRODUCT_CODE = 0x01,
    LW_REVISION = 0x02,
    LW_VENDOR_URL = 0x03,
    LW_PRODUCT_NAME = 0x04,
    LW_MODEL_NAME = 0x05,
    LW_USER_APPLICATION = 0x06,
    LW_PRIVATE_OBJECTS = 0x80,
};
enum { LW_IDENTITY_BASIC = 1, LW_IDENTITY_REGULAR, LW_IDENTITY_EXTENDED, LW_IDENTITY_ONE };
enum {
    LW_OBJECT_MAX = 244, // bytes of one object: the PDU's 253 less 7 of head, id and length
    LW_IDENTITY_OBJECTS = 40,
    LW_IDENTITY_BYTES = 3072,
};

struct lw_identity_object {
    uint8_t id;
    uint8_t length; // 0..LW_OBJECT_MAX
    uint16_t at;    // first byte in `bytes`
};

// Plain value; start with `= {0}`. Objects are in rising order of id.
struct lw_identity {
    uint8_t conformity; // as the device said: 01..03, 81..83
    uint8_t parts;      // replies gathered
    uint8_t next;       // first object to ask for, while more follow
    bool cut;           // the device went round in circles, or had more than fits here
    uint16_t count, used;
    struct lw_identity_object objects[LW_IDENTITY_OBJECTS];
    uint8_t bytes[LW_IDENTITY_BYTES];
};

// Adds or replaces an object. False when there is no room or it is too long.
bool lw_identity_set(struct lw_identity *identity, uint8_t id, const void *bytes, size_t length);

// The object's bytes (not terminated) and length, or NULL.
const uint8_t *lw_identity_get(const struct lw_identity *identity, uint8_t id, size_t *length);

// The request for the part that begins at `object`; read_code 1..4.
void lw_identity_request(uint8_t read_code, uint8_t object, struct lw_pdu *request);

enum lw_identity_step {
    LW_IDENTITY_WHOLE,  // nothing follows
    LW_IDENTITY_MORE,   // ask again from identity->next
    LW_IDENTITY_BROKEN, // not a reply to that request, or its lengths contradict one another
};

// Takes one reply's objects in. A device that points back, or at itself, for the next part would
// never end: that ends the gathering as WHOLE with `cut` set. A number of objects larger than what
// is really there is forgiven, as long as the last object ends with the reply.
enum lw_identity_step lw_identity_add(struct lw_identity *identity, const struct lw_pdu *request,
                                      const struct lw_pdu *reply);

// What a node with these objects answers: as many objects as fit, "more follows" and the next
// object; its own level when a higher one is asked; from object 0 again when a stream starts at an
// unknown object; exception 02 for an unknown single object, 03 for a read code outside 1..4
// (6.21).
void lw_identity_reply(const struct lw_identity *identity, const struct lw_pdu *request,
                       struct lw_pdu *reply);

#endif
