// SPDX-License-Identifier: GPL-3.0-or-later
//
// A port of the virtual wire: the tester's plug, as a line. Its receive is the virtual crank: it
// lets the wire's time pass until something was heard, or until the deadline.
#include "base/text.h"
#include "chain/wire_inside.h"

#include <assert.h>

enum { HEARD_MAX = 4096, PIECES_MAX = 64 };

struct heard_piece {
    size_t count;
    int64_t first_ns, last_ns;
    unsigned flags;
};

struct lw_port {
    struct lw_line line;   // first: lines are cast to ports
    struct lw_actor actor; // on the wire
    struct lw_wire *wire;
    struct lw_port *next;
    const struct lw_cancel *cancel;
    size_t byte_count, piece_count;
    uint8_t bytes[HEARD_MAX];
    struct heard_piece pieces[PIECES_MAX];
};

static struct lw_port *port_of(struct lw_actor *actor)
{
    return (struct lw_port *)((char *)actor - offsetof(struct lw_port, actor));
}

static int64_t port_next(const struct lw_actor *actor)
{
    (void)actor;
    return LW_NEVER;
}

static void port_run(struct lw_actor *actor, int64_t now_ns)
{
    (void)actor;
    (void)now_ns;
}

// Keeps what was heard until it is received; what no longer fits is lost and said to be.
static void port_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    struct lw_port *port = port_of(actor);
    if (port->piece_count == PIECES_MAX || port->byte_count + sound->count > HEARD_MAX) {
        port->pieces[port->piece_count - 1].flags |= LW_PIECE_OVERRUN;
        return;
    }
    memcpy(port->bytes + port->byte_count, sound->bytes, sound->count);
    port->byte_count += sound->count;
    port->pieces[port->piece_count++] = (struct heard_piece){
        sound->count,
        sound->first_ns,
        sound->last_ns,
        sound->flags,
    };
}

static const struct lw_actor_ops port_actor = {port_next, port_run, port_hear};

static bool cancelled(const struct lw_port *port)
{
    return port->cancel && port->cancel->flag;
}

static enum lw_status port_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct lw_port *port = (struct lw_port *)line;
    if (cancelled(port)) {
        return lw_fail(error, LW_CANCELLED, "interrupted");
    }
    *first_ns = lw_wire_now_ns(port->wire);
    *last_ns = *first_ns;
    while (count > 0) {
        size_t part = count < LW_RTU_MAX ? count : LW_RTU_MAX;
        enum lw_status status =
            lw_wire_inject(port->wire, &port->actor, bytes, part, *last_ns, last_ns, error);
        if (status != LW_OK) {
            return status;
        }
        bytes += part;
        count -= part;
    }
    lw_wire_advance(port->wire, *last_ns);
    return LW_OK;
}

// Hands out the oldest piece, or as much of it as fits.
static void take(struct lw_port *port, uint8_t *bytes, size_t size, struct lw_piece *piece)
{
    struct heard_piece *heard = &port->pieces[0];
    size_t count = heard->count < size ? heard->count : size;
    int64_t part_ns = heard->last_ns;
    if (count < heard->count) {
        part_ns = heard->first_ns + lw_framing_chars_ns(&port->actor.framing, count);
    }
    memcpy(bytes, port->bytes, count);
    *piece = (struct lw_piece){
        .count = count, .first_ns = heard->first_ns, .last_ns = part_ns, .flags = heard->flags};
    port->byte_count -= count;
    memmove(port->bytes, port->bytes + count, port->byte_count);
    heard->count -= count;
    heard->first_ns = part_ns;
    if (heard->count == 0) {
        port->piece_count--;
        memmove(port->pieces, port->pieces + 1, port->piece_count * sizeof(port->pieces[0]));
    }
}

static enum lw_status port_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                   size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct lw_port *port = (struct lw_port *)line;
    while (port->piece_count == 0) {
        if (cancelled(port)) {
            return lw_fail(error, LW_CANCELLED, "interrupted");
        }
        int64_t next_ns = lw_wire_next(port->wire);
        if (next_ns > deadline_ns) {
            lw_wire_advance(port->wire, deadline_ns);
            lw_wire_hear(port->wire, &port->actor, lw_wire_now_ns(port->wire));
            break;
        }
        lw_wire_advance(port->wire, next_ns);
    }
    if (port->piece_count > 0) {
        take(port, bytes, size, piece);
    }
    return LW_OK;
}

static enum lw_status port_set_framing(struct lw_line *line, const struct lw_framing *framing,
                                       struct lw_error *error)
{
    (void)error;
    struct lw_port *port = (struct lw_port *)line;
    port->actor.framing = *framing;
    port->actor.heard_ns = lw_wire_now_ns(port->wire);
    port->byte_count = 0;
    port->piece_count = 0;
    return LW_OK;
}

static void port_close(struct lw_line *line)
{
    struct lw_port *port = (struct lw_port *)line;
    struct lw_port **link = &port->wire->ports;
    while (*link != port) {
        link = &(*link)->next;
    }
    *link = port->next;
    lw_wire_remove(port->wire, &port->actor);
    free(port);
}

static const struct lw_line_ops port_line = {port_send, port_receive, port_set_framing, port_close};

void lw_wire_free_ports(struct lw_wire *wire)
{
    while (wire->ports) {
        port_close(&wire->ports->line);
    }
}

enum lw_status lw_wire_port(struct lw_wire *wire, const struct lw_framing *framing,
                            const struct lw_cancel *cancel, struct lw_line **line,
                            struct lw_error *error)
{
    struct lw_port *port = calloc(1, sizeof *port);
    if (!port) {
        return lw_fail(error, LW_MEMORY, "no memory for a port of the virtual wire");
    }
    port->line = (struct lw_line){
        .ops = &port_line,
        .clock = lw_wire_clock(wire),
        .adu = LW_ADU_RTU,
        .simulated = true,
        .hears_others = true,
        .framed = true,
        .framing = *framing,
    };
    lw_copy(port->line.name, sizeof port->line.name, "virtual chain");
    lw_copy(port->line.adapter, sizeof port->line.adapter, "port of a virtual wire");
    port->actor = (struct lw_actor){.ops = &port_actor,
                                    .framing = *framing,
                                    .drive_v = 2.0,
                                    .echoes = true,
                                    .key = wire->ports_made++};
    port->wire = wire;
    port->cancel = cancel;
    enum lw_status status = lw_wire_add(wire, &port->actor, error);
    if (status != LW_OK) {
        free(port);
        return status;
    }
    port->next = wire->ports;
    wire->ports = port;
    *line = &port->line;
    return LW_OK;
}
