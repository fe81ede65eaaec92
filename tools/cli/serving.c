// SPDX-License-Identifier: GPL-3.0-or-later
//
// Serving a virtual wire. Programs that start one wait for its ready line, so that is flushed.
#include "cli/serving.h"

#include "cli/session.h"

void lw_serving_options(struct lw_serving *serving, struct lw_option table[LW_SERVING_OPTIONS])
{
    const struct lw_option options[LW_SERVING_OPTIONS] = {
        {"pty", 0, "LINK", LW_OPTION_TEXT, &serving->pty, 0, 0,
         "serve on a pseudo-terminal, and make this link to it"},
        {"tcp", 0, "PORT", LW_OPTION_INTEGER, &serving->tcp, 0, 65535,
         "serve Modbus TCP on this port of 127.0.0.1 (0: any free one)"},
        {"rtu", 0, "PORT", LW_OPTION_INTEGER, &serving->rtu, 0, 65535,
         "serve RTU bytes on this port of 127.0.0.1"},
        {"tell", 0, "COUNT", LW_OPTION_INTEGER, &serving->tell, 1, 1000000000,
         "print a line when so many requests have come"},
    };
    memcpy(table, options, sizeof options);
}

int lw_serving_ways(const struct lw_serving *serving)
{
    return (serving->pty != NULL) + (serving->tcp >= 0) + (serving->rtu >= 0) +
           (serving->on != NULL);
}

static void on_request(void *user, unsigned long count)
{
    const struct lw_serving *serving = user;
    if (serving->tell > 0 && count == (unsigned long)serving->tell) {
        printf("request %lu\n", count);
        fflush(stdout);
    }
}

static enum lw_status open_socket(const struct lw_serving *serving,
                                  const struct lw_line_options *options, struct lw_line **line,
                                  struct lw_error *error)
{
    bool mbap = serving->tcp >= 0;
    int bound = 0;
    enum lw_status status =
        lw_socket_serve(mbap ? serving->tcp : serving->rtu, mbap ? LW_ADU_MBAP : LW_ADU_RTU,
                        options, &bound, line, error);
    if (status == LW_OK) {
        printf("ready on %s://127.0.0.1:%d\n", mbap ? "tcp" : "rtu", bound);
    }
    return status;
}

static enum lw_status open_outside(const struct lw_serving *serving,
                                   const struct lw_framing *framing, struct lw_line **line,
                                   struct lw_error *error)
{
    const struct lw_line_options options = {.framing = *framing, .cancel = lw_cli_cancel()};
    if (serving->pty == NULL && serving->on == NULL) {
        return open_socket(serving, &options, line, error);
    }
    const char *path = serving->pty != NULL ? serving->pty : serving->on;
    enum lw_status status = serving->pty != NULL ? lw_pty_serve(path, &options, line, error)
                                                 : lw_open_port(path, &options, line, error);
    if (status == LW_OK) {
        printf("ready on %s\n", path);
    }
    return status;
}

enum lw_status lw_serving_run(const struct lw_serving *serving, const struct lw_framing *framing,
                              struct lw_wire *wire, struct lw_error *error)
{
    struct lw_line *outside = NULL;
    enum lw_status status = open_outside(serving, framing, &outside, error);
    fflush(stdout);
    if (status == LW_OK) {
        const struct lw_serve_options served = {.framing = *framing,
                                                .cancel = lw_cli_cancel(),
                                                .user = (void *)serving,
                                                .on_request = on_request};
        status = lw_wire_serve(wire, outside, &served, error);
    }
    lw_line_close(outside);
    return status == LW_CANCELLED ? LW_OK : status;
}
