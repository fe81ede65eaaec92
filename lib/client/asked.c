// SPDX-License-Identifier: GPL-3.0-or-later
//
// Whose late answer a frame is, or whether it is anybody's.
#include "client/asked.h"

#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <string.h>

bool lw_question_open(const struct lw_question *question)
{
    return question->request.count > 0 && !question->answered;
}

static bool same(const struct lw_pdu *a, const struct lw_pdu *b)
{
    return a->count == b->count && memcmp(a->bytes, b->bytes, a->count) == 0;
}

bool lw_question_is(const struct lw_question *question, const struct lw_pdu *request)
{
    return same(&question->request, request);
}

struct lw_question *lw_asked_enter(struct lw_asked *asked, uint8_t address,
                                   const struct lw_pdu *request, uint16_t transaction,
                                   int64_t deadline_ns)
{
    struct lw_question *latest = asked->of[address];
    memmove(asked->recent + 1, asked->recent, sizeof asked->recent - 1);
    asked->recent[0] = address;
    if (!same(&latest->request, request)) {
        latest[1] = latest[0];
    }
    latest->request = *request;
    latest->transaction = transaction;
    latest->deadline_ns = deadline_ns;
    latest->answered = false;
    return latest;
}

static bool answers(const struct lw_question *question, const struct lw_pdu *pdu)
{
    struct lw_reply reply;
    return question->request.count > 0 && lw_reply_parse(&question->request, pdu, &reply);
}

// A frame that can be read as a request only was sent by a master.
static bool only_a_request(const struct lw_pdu *pdu)
{
    struct lw_request request;
    struct lw_reply reply;
    return lw_request_parse(pdu, &request) == 0 && !lw_reply_parse(NULL, pdu, &reply);
}

enum lw_explained lw_asked_explain(struct lw_asked *asked, uint8_t address,
                                   const struct lw_pdu *pdu, const struct lw_question *but,
                                   struct lw_question **late)
{
    bool repeated = false;
    for (int i = 0; i < 2; i++) {
        struct lw_question *question = &asked->of[address][i];
        bool answer = answers(question, pdu);
        if (answer && question != but && !question->answered) {
            question->answered = true;
            *late = question;
            return LW_EXPLAINED_LATE;
        }
        repeated = repeated || answer || same(&question->request, pdu);
    }
    if (repeated) {
        return LW_EXPLAINED_REPEATED;
    }
    bool known = asked->of[address][0].request.count > 0;
    return known && !only_a_request(pdu) ? LW_EXPLAINED_ASKED : LW_UNEXPLAINED;
}

// The beginning of an answer as far as the question tells it. Returns its bytes.
static size_t head_of(const struct lw_question *question, uint8_t address, bool exception,
                      uint8_t head[3])
{
    struct lw_request request;
    uint8_t function = question->request.bytes[0];
    head[0] = address;
    head[1] = exception ? function | LW_EXCEPTION_BIT : function;
    if (exception || function > LW_READ_INPUT_REGISTERS ||
        lw_request_parse(&question->request, &request) != 0) {
        return 2;
    }
    bool bits = function == LW_READ_COILS || function == LW_READ_INPUTS;
    head[2] = (uint8_t)(bits ? (request.count + 7) / 8 : 2 * request.count);
    return 3;
}

static bool completes(const struct lw_question *question, uint8_t address, bool exception,
                      const uint8_t *tail, size_t count)
{
    uint8_t frame[LW_RTU_MAX];
    struct lw_pdu pdu;
    size_t known = head_of(question, address, exception, frame);
    for (size_t lost = 1; lost <= known && lost + count <= LW_RTU_MAX; lost++) {
        memcpy(frame + lost, tail, count);
        if (lw_rtu_unwrap(frame, lost + count, NULL, &pdu) && answers(question, &pdu)) {
            return true;
        }
        head_of(question, address, exception, frame);
    }
    return false;
}

struct lw_question *lw_asked_tail(struct lw_asked *asked, const uint8_t *bytes, size_t count,
                                  const struct lw_question *but, uint8_t *address)
{
    for (size_t i = 0; i < LW_ASKED_RECENT; i++) {
        struct lw_question *question = &asked->of[asked->recent[i]][0];
        if (question != but && lw_question_open(question) &&
            (completes(question, asked->recent[i], false, bytes, count) ||
             completes(question, asked->recent[i], true, bytes, count))) {
            question->answered = true;
            *address = asked->recent[i];
            return question;
        }
    }
    return NULL;
}

struct lw_question *lw_asked_transaction(struct lw_asked *asked, uint8_t address,
                                         uint16_t transaction)
{
    for (int i = 0; i < 2; i++) {
        struct lw_question *question = &asked->of[address][i];
        if (lw_question_open(question) && question->transaction == transaction) {
            return question;
        }
    }
    return NULL;
}
