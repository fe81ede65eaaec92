// SPDX-License-Identifier: GPL-3.0-or-later
//
// A client on a scripted line, and a sink that keeps every exchange it reports.
#ifndef TEST_CLIENT_FIXTURE_H
#define TEST_CLIENT_FIXTURE_H

#include "scripted_line.h"

#include "client/client.h"

enum { REPORTS = 64 };

struct fixture {
    struct scripted_line script;
    struct lw_cancel cancel;
    struct lw_run run;
    struct lw_client *client;
    struct lw_error error;
    struct lw_exchange last; // of ask()
    size_t reports;
    struct lw_exchange reported[REPORTS];
};

static inline void keep(void *user, const struct lw_exchange *exchange)
{
    struct fixture *f = user;
    assert_in_range(f->reports, 0, REPORTS - 1);
    f->reported[f->reports++] = *exchange;
}

static inline int set_up(void **state)
{
    struct fixture *f = calloc(1, sizeof *f);
    assert_non_null(f);
    script_init(&f->script);
    f->cancel.wake_descriptor = -1;
    f->run = (struct lw_run){
        .clock = &f->script.clock, .cancel = &f->cancel, .user = f, .exchange = keep};
    *state = f;
    return 0;
}

static inline int tear_down(void **state)
{
    struct fixture *f = *state;
    lw_client_free(f->client);
    free(f);
    return 0;
}

// The client is made at the first use, so that a test can set its line up before.
static inline void with(struct fixture *f, struct lw_client_options options)
{
    assert_int_equal(lw_client_new(&f->script.line, &f->run, &options, &f->client, &f->error),
                     LW_OK);
}

// Starts the script's time and asks; the request is a PDU in hexadecimal.
static inline enum lw_status ask(struct fixture *f, uint8_t address, const char *request)
{
    if (f->client == NULL) {
        with(f, (struct lw_client_options){.reply_s = 0.05});
    }
    if (f->script.clock.fixed_ns == 0 && f->script.heard_count == 0) {
        play(&f->script, 0, 0);
    }
    struct lw_pdu pdu = pdu_of(request);
    return lw_client_exchange(f->client, address, &pdu, &f->last, &f->error);
}

static inline void assert_outcome(const struct fixture *f, enum lw_outcome outcome)
{
    assert_string_equal(lw_outcome_word(f->last.outcome), lw_outcome_word(outcome));
}

static inline void assert_reply(const struct fixture *f, const char *text)
{
    struct lw_pdu wanted = pdu_of(text);
    assert_outcome(f, LW_ANSWERED);
    assert_int_equal(f->last.reply.count, wanted.count);
    assert_memory_equal(f->last.reply.bytes, wanted.bytes, wanted.count);
}

#define client_test(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

#endif
