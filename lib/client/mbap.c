// SPDX-License-Identifier: GPL-3.0-or-later
//
// Finding the answer in an MBAP stream: by transaction id. A gateway answers late and in any order,
// and TCP cuts where it likes, so ADUs are taken one by one and a part of one is kept.
#include "client/inside.h"

#include "modbus/frame.h"
#include "modbus/pdu.h"

// `attempt` is NULL while nothing is waited for.
static void judge(struct lw_client *client, struct lw_attempt *attempt, uint16_t transaction,
                  const struct lw_found *found)
{
    struct lw_reply reply;
    bool ours = attempt != NULL && transaction == attempt->question->transaction;
    if (ours && found->address == attempt->exchange->address &&
        lw_reply_parse(&attempt->exchange->request, &found->pdu, &reply)) {
        lw_attempt_take(client, attempt, &found->pdu, 0, found->count);
        return;
    }
    if (ours) {
        lw_attempt_wrong(client, attempt, &found->pdu, 0, found->count);
        return;
    }
    struct lw_question *late = lw_asked_transaction(&client->asked, found->address, transaction);
    if (late != NULL) {
        late->answered = true;
    }
    if (late != NULL && lw_is_gateways(client, &found->pdu)) {
        return;
    }
    client->strays += (unsigned)found->count;
    if (late != NULL) {
        lw_client_note_late(client, found->address, late, client->inbox.ends_ns[found->count - 1]);
    }
}

// Bytes that are no MBAP stream can't be followed any further: all of them go.
static void lose(struct lw_client *client, struct lw_attempt *attempt)
{
    struct lw_inbox *inbox = &client->inbox;
    if (attempt == NULL) {
        client->strays += (unsigned)inbox->count;
    } else {
        attempt->garbled_first_ns = inbox->begins_ns[0];
        attempt->garbled_last_ns = inbox->ends_ns[inbox->count - 1];
        attempt->garbled += (unsigned)inbox->count;
    }
    lw_inbox_drop(inbox, 0, inbox->count);
}

static void take_adus(struct lw_client *client, struct lw_attempt *attempt, bool ended)
{
    struct lw_inbox *inbox = &client->inbox;
    while (inbox->count > 0 && (attempt == NULL || !attempt->done)) {
        struct lw_found found = {0};
        uint16_t transaction = 0;
        int length =
            lw_mbap_unwrap(inbox->bytes, inbox->count, &transaction, &found.address, &found.pdu);
        if (length == LW_LENGTH_IMPOSSIBLE || (length == LW_LENGTH_MORE && ended)) {
            lose(client, attempt);
            return;
        }
        if (length == LW_LENGTH_MORE) {
            return;
        }
        found.count = (size_t)length;
        judge(client, attempt, transaction, &found);
        lw_inbox_drop(inbox, 0, found.count);
    }
}

void lw_mbap_look(struct lw_client *client, struct lw_attempt *attempt, bool ended)
{
    take_adus(client, attempt, ended);
}

void lw_mbap_settle(struct lw_client *client)
{
    take_adus(client, NULL, false);
}
