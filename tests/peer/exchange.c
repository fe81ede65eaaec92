// SPDX-License-Identifier: GPL-3.0-or-later
//
// The client, driven from outside: exchange LINE REPLY_SECONDS ATTEMPTS. LINE is serve:LINK (a
// pseudo-terminal served at LINK, where the peer comes to) or tcp://HOST:PORT. Says "ready", then
// answers each line "ADDRESS HEX" of stdin with "OUTCOME EXCEPTION HEX".
#include "client/client.h"

static unsigned nibble_of(char c)
{
    return (unsigned)(c <= '9' ? c - '0' : c - 'a' + 10);
}

static struct lw_pdu pdu_of(const char *hex)
{
    struct lw_pdu pdu = {0};
    while (isxdigit((unsigned char)hex[0]) && isxdigit((unsigned char)hex[1])) {
        pdu.bytes[pdu.count++] = (uint8_t)(nibble_of(hex[0]) << 4 | nibble_of(hex[1]));
        hex += 2;
    }
    return pdu;
}

static enum lw_status open_line(const char *name, struct lw_line **line, struct lw_error *error)
{
    const struct lw_line_options options = {.framing = {19200, 8, 'N', 2}};
    if (strncmp(name, "serve:", 6) == 0) {
        return lw_pty_serve(name + 6, &options, line, error);
    }
    return lw_socket_open(name, &options, line, error);
}

static void say(const struct lw_exchange *exchange)
{
    printf("%s %u ", lw_outcome_word(exchange->outcome), exchange->exception);
    for (size_t i = 0; i < exchange->reply.count; i++) {
        printf("%02x", exchange->reply.bytes[i]);
    }
    printf("\n");
    fflush(stdout);
}

static enum lw_status talk(struct lw_client *client, struct lw_error *error)
{
    char text[600];
    enum lw_status status = LW_OK;
    while (status == LW_OK && fgets(text, sizeof text, stdin) != NULL) {
        char *hex = strchr(text, ' ');
        struct lw_exchange exchange;
        struct lw_pdu request = pdu_of(hex != NULL ? hex + 1 : "");
        long address = strtol(text, NULL, 10);
        status = lw_client_exchange(client, (uint8_t)address, &request, &exchange, error);
        if (status == LW_OK) {
            say(&exchange);
        }
    }
    return status;
}

int main(int count, char **words)
{
    struct lw_error error = {0};
    struct lw_line *line = NULL;
    struct lw_client *client = NULL;
    if (count != 4 || open_line(words[1], &line, &error) != LW_OK) {
        fprintf(stderr, "exchange LINE REPLY_SECONDS ATTEMPTS: %s\n", error.says);
        return 2;
    }
    const struct lw_run run = {.clock = line->clock};
    const struct lw_client_options options = {.reply_s = strtod(words[2], NULL),
                                              .attempts = (int)strtol(words[3], NULL, 10)};
    enum lw_status status = lw_client_new(line, &run, &options, &client, &error);
    if (status == LW_OK) {
        puts("ready");
        fflush(stdout);
        status = talk(client, &error);
    }
    if (status != LW_OK) {
        fprintf(stderr, "%s\n", error.says);
    }
    lw_client_free(client);
    lw_line_close(line);
    return status == LW_OK ? 0 : 1;
}
