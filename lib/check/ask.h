// SPDX-License-Identifier: GPL-3.0-or-later
//
// What several checks ask of a node: the registers of its profile, by role. One node that does not
// answer is an outcome, so that the check goes on with the next.
#ifndef LW_CHECK_ASK_H
#define LW_CHECK_ASK_H

#include "client/client.h"
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

// A request for registers or bits.
struct lw_pdu lw_read_request(int function, int at, int count);

// The time a silent node is waited for: the slowest of the plan's profiles, else 50 ms.
double lw_slowest_reply_s(const struct lw_plan *plan);

// The bit of the status register with this meaning, as a mask; 0 when the profile has none.
unsigned lw_status_mask(const struct lw_profile *profile, enum lw_bit_meaning meaning);

#endif
