// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fuzz target: any bytes as a capture. Properties: what a cut capture gives is how the whole one
// begins; what was read and is written again reads the same; packets lie within what was there.
#include "fuzz.h"

#include "capture/pcapng.h"
#include "capture/reader.h"

#include <sys/mman.h>
#include <unistd.h>

enum { MOST = 2000 };

// A packet, shortened to what two readings must agree on.
struct digest {
    int64_t first_ns, last_ns;
    size_t count;
    unsigned damage, outbound, adu;
    uint64_t hash;
};

static uint64_t hash_of(const uint8_t *bytes, size_t count)
{
    uint64_t hash = UINT64_C(14695981039346656037); // FNV-1a
    for (size_t i = 0; i < count; i++) {
        hash = (hash ^ bytes[i]) * UINT64_C(1099511628211);
    }
    return hash;
}

static struct digest digest_of(const struct lw_read_packet *read)
{
    return (struct digest){.first_ns = read->packet.first_utc_ns,
                           .last_ns = read->packet.last_utc_ns,
                           .count = read->packet.count,
                           .damage = read->packet.damage,
                           .outbound = read->packet.outbound,
                           .adu = read->adu,
                           .hash = hash_of(read->packet.bytes, read->packet.count)};
}

static bool same(const struct digest *left, const struct digest *right)
{
    return left->first_ns == right->first_ns && left->last_ns == right->last_ns &&
           left->count == right->count && left->damage == right->damage &&
           left->outbound == right->outbound && left->hash == right->hash;
}

// Reads all, into `packets` and, when not NULL, into a new capture. Returns how many.
static size_t read_all(FILE *file, struct digest *packets, struct lw_capture *copy)
{
    struct lw_reader *reader = NULL;
    struct lw_error error = {0};
    struct lw_read_packet read;
    bool more = true;
    size_t count = 0;
    enum lw_status status = lw_reader_take(file, "fuzz", &reader, &error);
    while (status == LW_OK && more && count < MOST) {
        status = lw_reader_next(reader, &read, &more, &error);
        if (status == LW_OK && more) {
            packets[count++] = digest_of(&read);
            MUST(read.packet.count <= LW_CAPTURE_PACKET_MOST);
            MUST(read.packet.last_utc_ns < 0 ||
                 read.packet.last_utc_ns >= read.packet.first_utc_ns);
            if (copy && read.packet.first_utc_ns >= 0) {
                MUST(lw_capture_packet(copy, &read.packet, NULL) == LW_OK);
            }
        }
    }
    MUST(status == LW_OK || (status == LW_BAD_FILE && error.says[0]));
    lw_reader_close(reader);
    return count;
}

static FILE *as_file(const uint8_t *bytes, size_t size)
{
    FILE *file = fmemopen((void *)bytes, size, "rb");
    MUST(file != NULL);
    return file;
}

static void written_again_it_reads_the_same(const uint8_t *bytes, size_t size)
{
    static struct digest before[MOST], after[MOST];
    const struct lw_capture_facts facts = {.application = "fuzz", .line = "fuzz"};
    struct lw_capture *copy = NULL;
    char path[64];
    int memory = memfd_create("fuzz", 0);
    snprintf(path, sizeof path, "/proc/self/fd/%d", memory);
    MUST(lw_capture_create(path, &facts, &copy, NULL) == LW_OK);
    size_t count = read_all(as_file(bytes, size), before, copy), timed = 0;
    MUST(lw_capture_close(copy, NULL, NULL) == LW_OK);
    size_t again = read_all(fopen(path, "rb"), after, NULL);
    for (size_t i = 0; i < count; i++) {
        if (before[i].first_ns >= 0) {
            MUST(timed < again && same(&before[i], &after[timed]));
            timed++;
        }
    }
    MUST(timed == again);
    close(memory);
}

static void cut_it_begins_the_same(const uint8_t *bytes, size_t size)
{
    static struct digest whole[MOST], part[MOST];
    size_t cut = 1 + hash_of(bytes, size) % size;
    size_t count = read_all(as_file(bytes, size), whole, NULL);
    size_t begun = read_all(as_file(bytes, cut), part, NULL);
    MUST(begun <= count);
    for (size_t i = 0; i < begun; i++) {
        MUST(same(&whole[i], &part[i]));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (size > 0) {
        written_again_it_reads_the_same(bytes, size);
        cut_it_begins_the_same(bytes, size);
    }
    return 0;
}
