// SPDX-License-Identifier: GPL-3.0-or-later
//
// The list of ports as JSON.
#include "check/ports.h"

#include "base/text.h"

static const char *const fed_words[] = {"unknown", "bus", "self", NULL};
static const char *const power_words[] = {"unknown", "battery", "charger", NULL};

#define NOT_KNOWN .ranged = true, .low = 0, .high = INFINITY, .fallback = -1, .nullable = true

static const struct lw_field device_fields[] = {
    {LW_AT(struct lw_ports_device, port), .kind = LW_INTEGER, .required = true,
     .says = "port of the hub above that it is plugged into; 0 for a root hub"},
    {LW_AT(struct lw_ports_device, id), .kind = LW_TEXT, .required = true,
     .says = "vendor and product id, hexadecimal"},
    {LW_AT(struct lw_ports_device, mbit_per_s), .kind = LW_NUMBER, .nullable = true,
     .says = "speed it runs at"},
    {LW_AT(struct lw_ports_device, asks_ma), .kind = LW_INTEGER, NOT_KNOWN,
     .says = "current that its configuration asks for"},
    {LW_AT(struct lw_ports_device, declares), .kind = LW_CHOICE, .names = fed_words,
     .says = "how it is fed, as its configuration declares"},
    {LW_AT(struct lw_ports_device, is), .kind = LW_CHOICE, .names = fed_words,
     .says = "how it says that it is fed now; only hubs are asked"},
    {0},
};
static const struct lw_shape device_shape = {
    .name = "ports_device", .size = sizeof(struct lw_ports_device), .fields = device_fields};

static const struct lw_field usb_fields[] = {
    {LW_AT(struct lw_ports_usb, id), .kind = LW_TEXT, .required = true,
     .says = "vendor and product id, hexadecimal"},
    {LW_AT(struct lw_ports_usb, chip), .kind = LW_TEXT, .nullable = true,
     .says = "chip family that these ids were given to"},
    {LW_AT(struct lw_ports_usb, maker), .kind = LW_TEXT, .nullable = true,
     .says = "maker, as the adapter says, cleaned"},
    {LW_AT(struct lw_ports_usb, product), .kind = LW_TEXT, .nullable = true,
     .says = "product, as the adapter says, cleaned"},
    {LW_AT(struct lw_ports_usb, serial), .kind = LW_TEXT, .nullable = true,
     .says = "serial, as the adapter says, cleaned"},
    {LW_AT(struct lw_ports_usb, place), .kind = LW_TEXT, .nullable = true,
     .says = "bus and ports on the way to it: 1-2.3"},
    {LW_AT(struct lw_ports_usb, mbit_per_s), .kind = LW_NUMBER, .nullable = true,
     .says = "speed it runs at"},
    {LW_AT(struct lw_ports_usb, asks_ma), .kind = LW_INTEGER, NOT_KNOWN,
     .says = "current that it asks for"},
    {LW_AT(struct lw_ports_usb, gives_ma), .kind = LW_INTEGER, NOT_KNOWN,
     .says = "current that its place can give"},
    {LW_AT(struct lw_ports_usb, bus_fed_hubs), .kind = LW_INTEGER,
     .says = "hubs on the way without a supply of their own"},
    {LW_AT(struct lw_ports_usb, way), .kind = LW_LIST, .sub = &device_shape,
     .says = "the devices on the way, the root hub first, the adapter last"},
    {0},
};
static const struct lw_shape usb_shape = {
    .name = "ports_usb", .size = sizeof(struct lw_ports_usb), .fields = usb_fields};

static const struct lw_field rs485_fields[] = {
    {LW_AT(struct lw_ports_rs485, supported), .kind = LW_BOOLEAN, .required = true,
     .says = "the driver can switch the direction; without, the rest means nothing"},
    {LW_AT(struct lw_ports_rs485, on), .kind = LW_BOOLEAN, .says = "and does"},
    {LW_AT(struct lw_ports_rs485, rts_while_sending), .kind = LW_BOOLEAN,
     .says = "RTS is raised while sending"},
    {LW_AT(struct lw_ports_rs485, rts_after_sending), .kind = LW_BOOLEAN,
     .says = "RTS is raised after sending"},
    {LW_AT(struct lw_ports_rs485, hears_itself), .kind = LW_BOOLEAN,
     .says = "the receiver stays on while sending"},
    {LW_AT(struct lw_ports_rs485, before_ms), .kind = LW_INTEGER,
     .says = "delay before the first bit"},
    {LW_AT(struct lw_ports_rs485, after_ms), .kind = LW_INTEGER,
     .says = "delay after the last bit"},
    {0},
};
static const struct lw_shape rs485_shape = {
    .name = "ports_rs485", .size = sizeof(struct lw_ports_rs485), .fields = rs485_fields};

static const struct lw_field port_fields[] = {
    {LW_AT(struct lw_ports_port, port), .kind = LW_TEXT, .required = true, .says = "its name"},
    {LW_AT(struct lw_ports_port, says), .kind = LW_TEXT, .nullable = true,
     .says = "what it says of itself, cleaned"},
    {LW_AT(struct lw_ports_port, driver), .kind = LW_TEXT, .nullable = true,
     .says = "the kernel's driver"},
    {LW_AT(struct lw_ports_port, may_open), .kind = LW_BOOLEAN, .required = true,
     .says = "this user may open it"},
    {LW_AT(struct lw_ports_port, group), .kind = LW_TEXT, .nullable = true,
     .says = "the group whose members may"},
    {LW_AT(struct lw_ports_port, holder), .kind = LW_TEXT, .nullable = true,
     .says = "the process that has it open, as far as this user may see"},
    {LW_AT(struct lw_ports_port, latency_ms), .kind = LW_INTEGER, NOT_KNOWN,
     .says = "how long it gathers received bytes; null: it has no such timer"},
    {LW_AT(struct lw_ports_port, rs485), .kind = LW_OPTIONAL, .sub = &rs485_shape, .nullable = true,
     .says = "how the kernel switches its direction; null: not asked"},
    {LW_AT(struct lw_ports_port, usb), .kind = LW_OPTIONAL, .sub = &usb_shape, .nullable = true,
     .says = "null: not on USB"},
    {0},
};
static const struct lw_shape port_shape = {
    .name = "ports_port", .size = sizeof(struct lw_ports_port), .fields = port_fields};

static const struct lw_field ports_fields[] = {
    {LW_AT(struct lw_ports_result, format), .kind = LW_TEXT, .required = true,
     .says = "linewalk/ports/1"},
    {LW_AT(struct lw_ports_result, power), .kind = LW_CHOICE, .names = power_words,
     .says = "where this machine gets its power from"},
    {LW_AT(struct lw_ports_result, ports), .kind = LW_LIST, .sub = &port_shape, .required = true,
     .says = "by name"},
    {.key = "findings",
     .kind = LW_LIST,
     .offset = offsetof(struct lw_ports_result, findings.list),
     .sub = &lw_finding_shape,
     .required = true,
     .says = "what to know before using them"},
    {0},
};
const struct lw_shape lw_ports_shape = {
    .name = "ports", .size = sizeof(struct lw_ports_result), .fields = ports_fields};

static char *text_or_null(const char *text)
{
    return text[0] != '\0' ? lw_duplicate(text) : NULL;
}

static char *id_text(int vendor_id, int product_id)
{
    char text[16];
    lw_print(text, sizeof text, "%04x:%04x", vendor_id, product_id);
    return lw_duplicate(text);
}

static bool add_way(struct lw_ports_usb *usb, const struct lw_usb_way *way)
{
    for (size_t i = 0; i < way->count; i++) {
        const struct lw_usb_device *from = &way->devices[i];
        struct lw_ports_device *to = lw_list_add(&usb->way, sizeof *to);
        if (to == NULL) {
            return false;
        }
        *to = (struct lw_ports_device){
            .port = from->port,
            .id = id_text(from->vendor_id, from->product_id),
            .mbit_per_s = from->mbit_per_s > 0 ? from->mbit_per_s : NAN,
            .asks_ma = from->asks_ma,
            .declares = (int)from->declares,
            .is = (int)from->is,
        };
    }
    const struct lw_ports_device *devices = usb->way.items;
    usb->place = lw_duplicate(way->place);
    usb->mbit_per_s = devices[way->count - 1].mbit_per_s;
    usb->asks_ma = devices[way->count - 1].asks_ma;
    usb->gives_ma = way->gives_ma;
    usb->bus_fed_hubs = way->bus_fed_hubs;
    return true;
}

static struct lw_ports_usb *make_usb(const struct lw_port *port, const struct lw_usb_way *way)
{
    struct lw_ports_usb *usb = calloc(1, sizeof *usb);
    if (usb == NULL) {
        return NULL;
    }
    int release = way != NULL ? way->devices[way->count - 1].release : 0;
    *usb = (struct lw_ports_usb){
        .id = id_text(port->vendor_id, port->product_id),
        .chip = lw_duplicate(lw_ports_chip(port->vendor_id, port->product_id, release)),
        .maker = text_or_null(port->maker),
        .product = text_or_null(port->product),
        .serial = text_or_null(port->serial),
        .mbit_per_s = NAN,
        .asks_ma = -1,
        .gives_ma = -1,
    };
    if (way != NULL && !add_way(usb, way)) {
        lw_json_free(&usb_shape, usb);
        free(usb);
        return NULL;
    }
    return usb;
}

static struct lw_ports_rs485 *make_rs485(const struct lw_port_rs485 *from)
{
    struct lw_ports_rs485 *rs485 = calloc(1, sizeof *rs485);
    if (rs485 != NULL) {
        *rs485 = (struct lw_ports_rs485){
            from->supported,    from->on,        from->rts_while_sending, from->rts_after_sending,
            from->hears_itself, from->before_ms, from->after_ms};
    }
    return rs485;
}

enum lw_status lw_ports_add(struct lw_ports_result *result, const struct lw_port *port,
                            const struct lw_usb_way *way, const struct lw_port_rs485 *rs485,
                            struct lw_error *error)
{
    struct lw_ports_port *to = lw_list_add(&result->ports, sizeof *to);
    if (to == NULL) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    *to = (struct lw_ports_port){
        .port = lw_duplicate(port->name),
        .says = text_or_null(port->description),
        .driver = text_or_null(port->driver),
        .group = text_or_null(port->group),
        .holder = text_or_null(port->holder),
        .may_open = port->may_open,
        .latency_ms = port->latency_ms,
        .rs485 = rs485 != NULL ? make_rs485(rs485) : NULL,
        .usb = port->on_usb ? make_usb(port, way) : NULL,
    };
    bool whole = to->port != NULL && (rs485 == NULL || to->rs485 != NULL) &&
                 (!port->on_usb || to->usb != NULL);
    return whole ? LW_OK : lw_fail(error, LW_MEMORY, "out of memory");
}
