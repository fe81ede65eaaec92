// SPDX-License-Identifier: GPL-3.0-or-later
//
// Network addresses as users write them. An IPv6 address stands in brackets, since its colons would
// be taken for the port's.
#include "line/address.h"

#include "base/number.h"
#include "base/text.h"

#include <assert.h>
#include <string.h>

static enum lw_status no_address(const char *url, struct lw_error *error)
{
    char clean[160];
    lw_text_clean(clean, sizeof clean, url, strlen(url));
    return lw_fail(error, LW_USAGE,
                   "'%s' is no address: write tcp://host, tcp://host:port or rtu://host:port",
                   clean);
}

// Copies the host part and returns what follows it, or NULL.
static const char *take_host(const char *text, char *host, size_t size)
{
    bool brackets = text[0] == '[';
    text += brackets;
    size_t length = strcspn(text, brackets ? "]" : ":/[]@ ");
    const char *rest = text + length;
    if (length == 0 || length >= size || (brackets && *rest != ']')) {
        return NULL;
    }
    memcpy(host, text, length);
    host[length] = '\0';
    return rest + brackets;
}

static bool take_port(const char *rest, struct lw_address *address)
{
    if (*rest == '\0') {
        lw_copy(address->port, sizeof address->port, "502");
        return address->adu == LW_ADU_MBAP;
    }
    int64_t port = 0;
    return *rest == ':' && lw_number_integer(rest + 1, 1, 65535, &port, NULL) == LW_OK &&
           lw_copy(address->port, sizeof address->port, rest + 1);
}

enum lw_status lw_address_parse(const char *url, struct lw_address *address, struct lw_error *error)
{
    assert(url && address);
    struct lw_address parsed = {.adu = strncmp(url, "tcp://", 6) == 0 ? LW_ADU_MBAP : LW_ADU_RTU};
    if (parsed.adu == LW_ADU_RTU && strncmp(url, "rtu://", 6) != 0) {
        return no_address(url, error);
    }
    const char *rest = take_host(url + 6, parsed.host, sizeof parsed.host);
    if (!rest || !take_port(rest, &parsed)) {
        return no_address(url, error);
    }
    *address = parsed;
    return LW_OK;
}
