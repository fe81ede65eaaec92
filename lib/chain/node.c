// SPDX-License-Identifier: GPL-3.0-or-later
//
// A node on the pair: it gathers characters until 3.5 characters of silence make a frame of them,
// thinks for as long as its kind does, and answers. While it thinks or sends it is deaf, as most
// are, so a second answer at its own address does not reach it as a request.
#include "base/text.h"
#include "chain/inside.h"
#include "modbus/frame.h"

#include <assert.h>

// How long a node thinks, in parts of the profile's slowest reply: the same for all of a kind
// within some microseconds (they run the same program on the same crystal), and now and then longer
// when its measuring task was in the way.
static const double think_least = 0.25, think_spread = 0.25, think_busy = 0.12, busy_share = 0.1;
static const double jitter_s = 8e-6, default_slowest_ms = 10, slowest_used = 0.97;

enum {
    COUNT_MESSAGES,
    COUNT_ERRORS,
    COUNT_EXCEPTIONS,
    COUNT_OWN,
    COUNT_SILENT,
    COUNT_NAK,
    COUNT_BUSY,
    COUNT_OVERRUN
};

static struct lw_node *node_of(struct lw_actor *actor)
{
    return (struct lw_node *)actor;
}

static double uniform(const struct lw_node *node, enum lw_purpose purpose, uint64_t k)
{
    struct lw_random key = {node->chain->seed, node->key, (uint32_t)purpose};
    return lw_random_uniform(key, k);
}

static int64_t node_next(const struct lw_actor *actor)
{
    const struct lw_node *node = (const struct lw_node *)actor;
    return node->heard.due_ns < node->answer_ns ? node->heard.due_ns : node->answer_ns;
}

// 0 where the supply is enough, 1 where the node is about to drop out.
static double starved(const struct lw_node *node)
{
    const struct lw_electrical *is = &node->profile->electrical;
    double volts = lw_rails_volts(&node->chain->rails, node->tap);
    if (!(volts < is->minimum_v) || !(is->drop_out_v < is->minimum_v)) {
        return 0;
    }
    return fmin(1, (is->minimum_v - volts) / (is->minimum_v - is->drop_out_v));
}

static double think_s(const struct lw_node *node)
{
    double slowest_ms = node->profile->timing.slowest_reply_ms;
    double slowest_s = 1e-3 * (isnan(slowest_ms) ? default_slowest_ms : slowest_ms);
    struct lw_random kind = {node->chain->seed, lw_random_word(node->profile->name),
                             LW_FOR_LATENCY};
    struct lw_random own = {node->chain->seed, node->key, LW_FOR_LATENCY};
    double base = think_least + think_spread * lw_random_uniform(kind, 0);
    double seconds = base * slowest_s + jitter_s * lw_random_exponential(own, 3 * node->frames);
    if (lw_random_uniform(own, 3 * node->frames + 1) < busy_share) {
        seconds += think_busy * slowest_s * lw_random_exponential(own, 3 * node->frames + 2);
    }
    return fmin(seconds, slowest_used * slowest_s) * (1 + 2 * starved(node));
}

static double late_s(const struct lw_node *node)
{
    bool late = uniform(node, LW_FOR_LATE, node->frames) < node->late_share;
    return late ? 1e-3 * node->late_ms : 0;
}

// A starved node's processor is held in reset by ripple now and then: the lower, the more often.
static bool speechless(const struct lw_node *node)
{
    double deficit = starved(node);
    return uniform(node, LW_FOR_STARVED, node->frames) < 0.3 * deficit * deficit;
}

static void note_event(struct lw_node *node, unsigned event)
{
    memmove(node->log + 1, node->log, LW_EVENTS_MAX - 1);
    node->log[0] = (uint8_t)event;
    node->log_count += node->log_count < LW_EVENTS_MAX;
}

static void plan_answer(struct lw_node *node, uint8_t address, const struct lw_pdu *reply)
{
    int64_t think_ns = (int64_t)((think_s(node) + late_s(node)) * 1e9);
    int64_t silence_ns = lw_framing_t35_ns(&node->actor.framing);
    node->answer_count = lw_rtu_wrap(address, reply, node->answer);
    node->answer_ns = node->heard.last_ns + (think_ns > silence_ns ? think_ns : silence_ns);
    bool exception = reply->bytes[0] & LW_EXCEPTION_BIT;
    if (exception) {
        node->counters[COUNT_EXCEPTIONS]++;
    }
    if (!exception && reply->bytes[0] != LW_EVENT_COUNTER) {
        node->events++;
    }
    note_event(node, exception ? 0x41 : 0x40); // MODBUS Application Protocol V1.1b3, 6.10
}

static void take_request(struct lw_node *node, uint8_t address, const struct lw_pdu *request,
                         int64_t now_ns)
{
    struct lw_pdu reply;
    bool broadcast = address == 0;
    node->frames++;
    node->counters[COUNT_OWN]++;
    note_event(node, broadcast ? 0xC0 : 0x80);
    if (now_ns < node->ready_ns || speechless(node)) {
        node->counters[COUNT_SILENT]++;
        return;
    }
    lw_node_reply(node, request, now_ns, &reply);
    if (broadcast) {
        node->counters[COUNT_SILENT]++;
    } else if (reply.count > 0) {
        plan_answer(node, address, &reply);
    }
}

// All nodes hear the same frame as a rule: what was found good for one is good for the next.
static bool unwrap(struct lw_node *node, uint8_t *address, struct lw_pdu *pdu)
{
    const struct lw_framer *heard = &node->heard;
    struct lw_last_frame *last = &node->chain->last_frame;
    if (heard->damaged || heard->overrun) {
        return false;
    }
    if (heard->count != last->count || memcmp(heard->bytes, last->bytes, heard->count) != 0) {
        last->count = heard->count;
        memcpy(last->bytes, heard->bytes, heard->count);
        last->whole = lw_rtu_unwrap(heard->bytes, heard->count, &last->address, &last->pdu);
    }
    *address = last->address;
    if (last->whole && (*address == node->address || *address == 0)) {
        *pdu = last->pdu;
    }
    return last->whole;
}

static void take_frame(struct lw_node *node, int64_t now_ns)
{
    uint8_t address = 0;
    struct lw_pdu pdu;
    const struct lw_framer *heard = &node->heard;
    bool whole = unwrap(node, &address, &pdu);
    int length = lw_rtu_request_length(heard->bytes, heard->count);
    bool request = length == LW_LENGTH_OPEN || length == (int)heard->count;
    if (heard->overrun) {
        node->counters[COUNT_OVERRUN]++;
    }
    if (!whole) {
        node->counters[COUNT_ERRORS]++;
        note_event(node, heard->overrun ? 0x92 : 0x82);
    } else {
        node->counters[COUNT_MESSAGES]++;
    }
    lw_framer_clear(&node->heard);
    if (whole && request && (address == node->address || address == 0)) {
        take_request(node, address, &pdu, now_ns);
    }
}

// A framing that holds at once and a restart that was asked for come behind the answer, since that
// still has to reach whoever asked.
static void after_answer(struct lw_node *node, int64_t now_ns)
{
    const struct lw_setup *setup = node->profile->setup;
    if (setup != NULL && setup->takes_effect == 0) {
        lw_node_reframe(node, &node->set_framing);
    }
    if (node->restarts_itself) {
        lw_node_power(node, false, now_ns);
        lw_node_power(node, true, now_ns);
    }
}

static void node_run(struct lw_actor *actor, int64_t now_ns)
{
    struct lw_node *node = node_of(actor);
    if (lw_framer_due(&node->heard, actor, now_ns)) {
        take_frame(node, now_ns);
    }
    if (node->answer_ns <= now_ns) {
        node->answer_ns = LW_NEVER;
        // Without memory the answer is lost, as on a line that was cut.
        (void)lw_wire_inject(node->chain->wire, actor, node->answer, node->answer_count, now_ns,
                             NULL, NULL);
        after_answer(node, now_ns);
    }
}

static void node_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    struct lw_node *node = node_of(actor);
    if (node->answer_ns == LW_NEVER && lw_framer_hear(&node->heard, &actor->framing, sound)) {
        take_frame(node, sound->first_ns);
        node_hear(actor, sound);
    }
}

static const struct lw_actor_ops node_actor = {node_next, node_run, node_hear};

void lw_node_power(struct lw_node *node, bool running, int64_t now_ns)
{
    double up_ms = node->profile->electrical.start_up_ms;
    node->actor.unpowered = !running;
    lw_framer_clear(&node->heard);
    node->answer_ns = LW_NEVER;
    if (!running) {
        node->restarts++;
        return;
    }
    node->booted_ns = now_ns;
    node->ready_ns = now_ns + (int64_t)((isnan(up_ms) ? 200 : up_ms) * 1e6);
    node->lowest_v = INFINITY;
    memset(node->counters, 0, sizeof node->counters);
    node->events = 0;
    node->log_count = 0;
    node->unlocked = 0;
    node->restarting = 0;
    node->restarts_itself = false;
    node->stale_identity = false;
    node->set_address = node->saved_address;
    node->set_framing = node->saved_framing;
    lw_node_readdress(node, node->saved_address);
    lw_node_reframe(node, &node->saved_framing);
}

void lw_node_reframe(struct lw_node *node, const struct lw_framing *framing)
{
    if (lw_framing_same(&node->actor.framing, &node->own_framing)) { // else a fault has its say
        node->actor.framing = *framing;
    }
    node->own_framing = *framing;
}

void lw_node_readdress(struct lw_node *node, int address)
{
    if (node->address == node->own_address) { // else a fault has its say
        node->address = (uint8_t)address;
    }
    node->own_address = address;
}

// Constant errors: half of the variance that the profile gives a node is offset, half gain at 24 V.
double lw_node_meter_offset_v(const struct lw_node *node, double volts)
{
    const struct lw_supply_reading *meter = node->profile->electrical.supply_reading;
    if (!meter) {
        return 0;
    }
    double k = meter->error_k > 0 ? meter->error_k : 2;
    double own_v = (isnan(meter->node_error_v) ? 0 : meter->node_error_v) / k;
    double kind_v = (isnan(meter->kind_error_v) ? 0 : meter->kind_error_v) / k;
    struct lw_random kind = {node->chain->seed, lw_random_word(node->profile->name), LW_FOR_OFFSET};
    struct lw_random own = {node->chain->seed, node->module_key, LW_FOR_OFFSET};
    struct lw_random gain = {node->chain->seed, node->module_key, LW_FOR_GAIN};
    double half_v = own_v * sqrt(0.5);
    return kind_v * lw_random_normal(kind, 0) + half_v * lw_random_normal(own, 0) +
           half_v / 24 * lw_random_normal(gain, 0) * volts;
}

// What its own voltmeter says, before the register rounds it. Behind the protection diode a
// Schottky drop is missing (0.3 V, common practice).
double lw_node_meter_v(struct lw_node *node, double volts, int64_t now_ns)
{
    const struct lw_supply_reading *meter = node->profile->electrical.supply_reading;
    struct lw_random noise = {node->chain->seed, node->key, LW_FOR_METER_NOISE};
    double step = meter && meter->step_v > 0 ? meter->step_v : 0.01;
    double reads = volts + lw_node_meter_offset_v(node, volts);
    reads -= meter && meter->at == 1 ? 0.3 : 0;
    reads += 0.3 * step * lw_random_normal(noise, (uint64_t)(now_ns / 1000000));
    return step * nearbyint(fmax(reads, 0) / step);
}

static enum lw_status set_identity(struct lw_node *node, struct lw_error *error)
{
    static const char marker[] = "SIMULATED by linewalk";
    const struct lw_profile_identity *is = &node->profile->identity;
    if (!is->vendor && !is->product_code) {
        return LW_OK;
    }
    node->identity = calloc(1, sizeof *node->identity);
    if (!node->identity) {
        return lw_fail(error, LW_MEMORY, "no memory for a virtual node");
    }
    const struct {
        uint8_t id;
        const char *text;
    } objects[] = {
        {LW_VENDOR_NAME, is->vendor ? is->vendor : ""},
        {LW_PRODUCT_CODE, is->product_code ? is->product_code : ""},
        {LW_REVISION, is->revision_at_least ? is->revision_at_least : "1.0"},
        {LW_PRODUCT_NAME, node->profile->title ? node->profile->title : ""},
        {LW_MODEL_NAME, node->profile->name},
        {LW_USER_APPLICATION, node->entry->place ? node->entry->place : ""},
        {LW_PRIVATE_OBJECTS, marker},
    };
    node->identity->conformity = 0x83;
    for (size_t i = 0; i < sizeof objects / sizeof objects[0]; i++) {
        size_t length = strlen(objects[i].text);
        if (length > 0 || objects[i].id <= LW_REVISION) {
            lw_identity_set(node->identity, objects[i].id, objects[i].text,
                            length < LW_OBJECT_MAX ? length : LW_OBJECT_MAX);
        }
    }
    return LW_OK;
}

// As it was set up before, or as its maker delivers it.
static void set_up(struct lw_node *node)
{
    const struct lw_chain *chain = node->chain;
    const struct lw_fault *fresh = lw_fault_new(chain, node->tap + 1);
    const struct lw_setup *setup = node->profile->setup;
    int address = node->entry->address;
    struct lw_framing framing = chain->plan->framing;
    if (fresh && (fresh->address > 0 || setup)) {
        int factory = setup && setup->factory_address > 0 ? setup->factory_address : address;
        const char *text = fresh->framing ? fresh->framing : setup ? setup->factory_framing : NULL;
        address = fresh->address > 0 ? fresh->address : factory;
        if (text) {
            (void)lw_framing_parse(text, &framing, NULL); // the plan's check took it
        }
    }
    node->own_address = node->saved_address = node->set_address = address;
    node->own_framing = node->saved_framing = node->set_framing = framing;
}

enum lw_status lw_node_init(struct lw_node *node, struct lw_chain *chain, size_t tap,
                            struct lw_error *error)
{
    const struct lw_chain_entry *entry =
        (const struct lw_chain_entry *)chain->plan->chain.items + tap;
    *node = (struct lw_node){.chain = chain, .tap = tap, .entry = entry, .profile = entry->is};
    if (!node->profile) {
        return LW_OK;
    }
    node->key = lw_random_word(entry->node ? entry->node : "");
    node->module_key = lw_random_word(entry->serial ? entry->serial : entry->node);
    struct lw_random drive = {chain->seed, node->module_key, LW_FOR_DRIVE};
    set_up(node);
    node->actor = (struct lw_actor){
        .ops = &node_actor,
        .framing = node->own_framing,
        .tap = tap + 1,
        .key = node->key,
        .drive_v = 2.0 + 0.1 * lw_random_normal(drive, 0), // 1.5 V at least, TIA/EIA-485
        .unpowered = true,
    };
    lw_framer_clear(&node->heard);
    node->answer_ns = LW_NEVER;
    node->lowest_v = INFINITY;
    const struct lw_virtual *virtually = chain->plan->simulated;
    lw_sensor_init(&node->sensor, node->profile, virtually ? &virtually->noise : NULL, chain->seed,
                   node->key);
    return set_identity(node, error);
}

void lw_node_finish(struct lw_node *node)
{
    free(node->identity);
}
