// SPDX-License-Identifier: GPL-3.0-or-later
//
// Finding the answer among what an RTU line brings: an echo of our own bytes, late answers of other
// nodes, another master, strays. Each whole frame is explained by what was asked before it may be
// called foreign; bytes that make no frame never are.
#include "client/inside.h"

#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <string.h>

enum { TIMING_SIGMAS = 3 };

// Whether a copy of a request that could also be its own answer is the echo. An echo begins while
// we send, an answer later; where the line's times can't tell, an answer is believed only on a line
// that is known not to echo.
static bool copy_is_echo(const struct lw_client *client, const struct lw_attempt *attempt,
                         size_t at)
{
    const struct lw_inbox *inbox = &client->inbox;
    int64_t after_ns = inbox->begins_ns[at] - attempt->exchange->sent_last_ns;
    int64_t doubt_ns = TIMING_SIGMAS * inbox->timing_u_ns;
    if (client->echoes) {
        return true;
    }
    if (after_ns < -doubt_ns || after_ns > doubt_ns) {
        return after_ns < 0;
    }
    return !client->echoes_not;
}

static void strip_echo(struct lw_client *client, struct lw_attempt *attempt)
{
    size_t at = lw_inbox_find(&client->inbox, attempt->sent, attempt->sent_count);
    if (attempt->echo_taken || at == client->inbox.count ||
        (attempt->could_echo && !copy_is_echo(client, attempt, at))) {
        return;
    }
    attempt->echo_taken = true;
    client->echoes = true;
    lw_inbox_drop(&client->inbox, at, attempt->sent_count);
}

// Where the characters that follow each other from `from` on end: at a pause, or at `to`.
static size_t end_of_run(const struct lw_inbox *inbox, size_t from, size_t to)
{
    size_t end = from + 1;
    int64_t pause_ns = (inbox->ends_ns[from] - inbox->begins_ns[from]) * 3 / 2;
    while (end < to && inbox->begins_ns[end] - inbox->ends_ns[end - 1] <= pause_ns) {
        end++;
    }
    return end;
}

// Whether these bytes were on the wire already as we sent: no node answers within a character of
// the request's end (MODBUS over Serial Line V1.02, 2.5.1.1: 3.5), where the times can tell.
static bool overlaps_sending(const struct lw_client *client, const struct lw_attempt *attempt,
                             size_t from)
{
    const struct lw_inbox *inbox = &client->inbox;
    int64_t char_ns = inbox->ends_ns[from] - inbox->begins_ns[from];
    return attempt != NULL && TIMING_SIGMAS * inbox->timing_u_ns < char_ns &&
           inbox->begins_ns[from] < attempt->exchange->sent_last_ns + char_ns;
}

// Bytes that make no frame may be the rest of a late answer that we, or another node, talked over;
// the byte that was on the wire as that ended may be heard wrong. Returns where that rest ends.
static size_t settle_tail(struct lw_client *client, const struct lw_attempt *attempt, size_t from,
                          size_t to)
{
    const struct lw_inbox *inbox = &client->inbox;
    const struct lw_question *open = attempt != NULL ? attempt->question : NULL;
    size_t end = end_of_run(inbox, from, to);
    struct lw_question *late = NULL;
    uint8_t address = 0;
    for (size_t at = from; at < from + 2 && at < end && late == NULL; at++) {
        late = lw_asked_tail(&client->asked, inbox->bytes + at, end - at, open, &address);
    }
    if (late != NULL) {
        lw_client_note_late(client, address, late, inbox->ends_ns[end - 1]);
    } else if (!overlaps_sending(client, attempt, from)) {
        return from;
    }
    client->strays += (unsigned)(end - from);
    return end;
}

static void garbage(struct lw_client *client, struct lw_attempt *attempt, size_t from, size_t to)
{
    if (from < to && (attempt == NULL || attempt->garbled == 0)) {
        from = settle_tail(client, attempt, from, to);
    }
    if (from == to) {
        return;
    }
    unsigned count = (unsigned)(to - from);
    if (attempt == NULL || attempt->done) {
        client->strays += count;
        return;
    }
    if (attempt->garbled == 0) {
        attempt->garbled_first_ns = client->inbox.begins_ns[from];
    }
    attempt->garbled_last_ns = client->inbox.ends_ns[to - 1];
    attempt->garbled += count;
}

static bool answers_but_elsewhere(const struct lw_attempt *attempt, const struct lw_found *found)
{
    struct lw_reply reply;
    return attempt != NULL && lw_reply_parse(&attempt->exchange->request, &found->pdu, &reply);
}

// A master's frame has silence before it and behind it, of which a collision may spoil one; a frame
// in the middle of a noise is chance.
static bool stands_free(const struct lw_client *client, const struct lw_found *found)
{
    const struct lw_inbox *inbox = &client->inbox;
    size_t end = found->at + found->count;
    int64_t pause_ns = (inbox->ends_ns[found->at] - inbox->begins_ns[found->at]) * 3 / 2;
    return found->at == 0 || end == inbox->count ||
           inbox->begins_ns[found->at] - inbox->ends_ns[found->at - 1] > pause_ns ||
           inbox->begins_ns[end] - inbox->ends_ns[end - 1] > pause_ns;
}

static void explain(struct lw_client *client, struct lw_attempt *attempt,
                    const struct lw_found *found)
{
    struct lw_question *late = NULL;
    const struct lw_question *open = attempt != NULL ? attempt->question : NULL;
    enum lw_explained explained =
        lw_asked_explain(&client->asked, found->address, &found->pdu, open, &late);
    if (attempt != NULL && explained != LW_EXPLAINED_LATE && explained != LW_EXPLAINED_REPEATED) {
        lw_attempt_wrong(client, attempt, &found->pdu, found->at, found->count);
    } else {
        client->strays += (unsigned)found->count;
    }
    if (explained == LW_EXPLAINED_LATE) {
        lw_client_note_late(client, found->address, late,
                            client->inbox.ends_ns[found->at + found->count - 1]);
    }
    if (explained == LW_UNEXPLAINED && stands_free(client, found) &&
        !answers_but_elsewhere(attempt, found)) {
        client->foreign = true;
        client->foreign_address = found->address;
        client->foreign_function = found->pdu.bytes[0];
    }
}

// Explains and drops the first `to` bytes.
static void settle(struct lw_client *client, struct lw_attempt *attempt, size_t to)
{
    size_t from = 0;
    struct lw_found found;
    while (from < to && lw_inbox_frame(&client->inbox, from, to, &found)) {
        garbage(client, attempt, from, found.at);
        explain(client, attempt, &found);
        from = found.at + found.count;
    }
    garbage(client, attempt, from, to);
    lw_inbox_drop(&client->inbox, 0, to);
}

void lw_rtu_look(struct lw_client *client, struct lw_attempt *attempt, bool ended)
{
    const struct lw_exchange *exchange = attempt->exchange;
    struct lw_found found;
    strip_echo(client, attempt);
    if (lw_inbox_answer(&client->inbox, ended, exchange->address, &exchange->request,
                        exchange->sent_first_ns, &found)) {
        lw_attempt_take(client, attempt, &found.pdu, found.at, found.count);
        client->echoes_not = client->echoes_not || !(attempt->echo_taken || attempt->could_echo);
        lw_inbox_drop(&client->inbox, found.at, found.count);
        settle(client, attempt, found.at);
    } else if (ended) {
        settle(client, attempt, client->inbox.count);
    }
}

void lw_rtu_settle(struct lw_client *client)
{
    settle(client, NULL, client->inbox.count);
}
