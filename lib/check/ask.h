// SPDX-License-Identifier: GPL-3.0-or-later
//
// What several checks ask of a node: the registers of its profile, by role. One node that does not
// answer is an outcome, so that the check goes on with the next.
#ifndef LW_CHECK_ASK_H
#define LW_CHECK_ASK_H

#include "client/client.h"
#include "modbus/identity.h"
#include "site/plan.h"
#include "site/registers.h"

enum { LW_ROLES = LW_ROLE_AIR_PRESSURE_KPA + 1 };

#define LW_ROLE_BIT(role) (1u << (role))

struct lw_node_values {
    struct lw_value value[LW_ROLES];
    bool have[LW_ROLES];
    unsigned asked, answered, exceptions, silent, damaged; // block reads, by what came of them
    struct lw_exchange last;                               // of the last block read
};

// Reads the registers with these roles (bits of LW_ROLE_BIT) and decodes what comes. Status as
// lw_client_exchange(): for the line alone.
enum lw_status lw_ask_roles(struct lw_client *client, const struct lw_profile *profile,
                            uint8_t address, uint32_t roles, struct lw_node_values *values,
                            struct lw_error *error);

// Gathers a node's identity at a level (LW_IDENTITY_BASIC ...), all its parts; a node answers at
// its own level when that is lower. identity->count stays 0 when it has none. A node that stays
// silent at this function is left alone for a while afterwards (lw_ask_settle).
enum lw_status lw_ask_identity(struct lw_client *client, uint8_t address, uint8_t level,
                               struct lw_identity *identity, struct lw_error *error);

// Some nodes keep the bytes of a request that they do not know for half a second, and would take
// the next one for its end: after a silence this waits 0.6 s.
enum lw_status lw_ask_settle(struct lw_client *client, const struct lw_exchange *exchange,
                             struct lw_error *error);

// An object's text, cleaned, for the caller to free; NULL when it is not there or memory is out.
char *lw_identity_text(const struct lw_identity *identity, uint8_t id);

// A request for registers or bits.
struct lw_pdu lw_read_request(int function, int at, int count);

// The time a silent node is waited for: the slowest reply that the plan's limits or profiles allow,
// else 50 ms.
double lw_slowest_reply_s(const struct lw_plan *plan);

// The bit of the status register with this meaning, as a mask; 0 when the profile has none.
unsigned lw_status_mask(const struct lw_profile *profile, enum lw_bit_meaning meaning);

#endif
