// SPDX-License-Identifier: GPL-3.0-or-later
//
// One reader for each kind of file; all end in pieces for the stream decoder.
#include "cli/feed.h"

#include "base/number.h"
#include "base/text.h"
#include "capture/reader.h"

#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

// A usual USB adapter keeps bytes back for up to 16 ms (its latency timer), and what it then hands
// over is dated by arrival: evenly spread, that is 16 ms / sqrt 12 (JCGM 100:2008, 4.3.7).
static const int64_t adapter_u_ns = 4600000, exact_u_ns = 1000;

enum { CHUNK = 1 << 16, TIMED_LINE = 200 };

struct feeding {
    const struct lw_feed *feed;
    struct lw_fed *fed;
    struct lw_stream *stream;
    struct lw_error *error;
    int64_t char_ns;
};

static enum lw_status start_stream(struct feeding *feeding, enum lw_adu adu)
{
    const struct lw_stream_options options = {
        .adu = adu, .char_ns = feeding->char_ns, .reply_ns = feeding->feed->reply_ns};
    feeding->stream = lw_stream_new(&options, &feeding->feed->sinks);
    feeding->fed->adu = adu;
    return feeding->stream != NULL ? LW_OK
                                   : lw_fail(feeding->error, LW_MEMORY, "no memory for a decoder");
}

static void end_stream(struct feeding *feeding)
{
    if (feeding->stream == NULL) {
        return;
    }
    lw_stream_flush(feeding->stream);
    const struct lw_stream_totals *from = lw_stream_totals(feeding->stream);
    lw_stream_totals_add(&feeding->fed->totals, from);
    lw_stream_free(feeding->stream);
    feeding->stream = NULL;
}

static bool cancelled(const struct feeding *feeding)
{
    return feeding->feed->cancel != NULL && feeding->feed->cancel->flag != 0;
}

static void set_char(struct feeding *feeding, const struct lw_framing *framing)
{
    feeding->char_ns = lw_framing_chars_ns(framing, 1);
}

// What the capture says of its line. A framing that cannot be read is no error: it is a remark.
static void take_facts(struct feeding *feeding, const struct lw_reader *reader)
{
    const struct lw_capture_facts *facts = lw_reader_facts(reader);
    struct lw_framing framing;
    feeding->fed->simulated = facts->simulated;
    if (facts->line != NULL) {
        lw_copy(feeding->fed->line, sizeof feeding->fed->line, facts->line);
    }
    if (facts->framing != NULL) {
        lw_copy(feeding->fed->framing_text, sizeof feeding->fed->framing_text, facts->framing);
        if (feeding->feed->framing == NULL &&
            lw_framing_parse(facts->framing, &framing, NULL) == LW_OK) {
            set_char(feeding, &framing);
        }
    }
}

static enum lw_status begin_capture(struct feeding *feeding, const struct lw_reader *reader,
                                    const struct lw_read_packet *packet)
{
    if (feeding->stream != NULL && feeding->fed->adu == packet->adu) {
        return LW_OK;
    }
    end_stream(feeding);
    take_facts(feeding, reader);
    if (feeding->fed->first_utc_ns < 0) {
        feeding->fed->first_utc_ns = packet->packet.first_utc_ns;
    }
    return start_stream(feeding, packet->adu);
}

static int64_t since_first(const struct feeding *feeding, int64_t utc_ns)
{
    return utc_ns < 0 || utc_ns < feeding->fed->first_utc_ns ? -1
                                                             : utc_ns - feeding->fed->first_utc_ns;
}

static void feed_packet(struct feeding *feeding, const struct lw_read_packet *packet)
{
    int64_t first_ns = since_first(feeding, packet->packet.first_utc_ns);
    lw_stream_add(
        feeding->stream,
        &(struct lw_stream_piece){
            .bytes = packet->packet.bytes,
            .count = packet->packet.count,
            .first_ns = first_ns,
            .last_ns = first_ns < 0 ? -1 : since_first(feeding, packet->packet.last_utc_ns),
            .timing_u_ns = feeding->fed->simulated ? exact_u_ns : adapter_u_ns,
            .side = !packet->directed         ? LW_SIDE_UNKNOWN
                    : packet->packet.outbound ? LW_SIDE_OUT
                                              : LW_SIDE_IN,
        });
}

static enum lw_status feed_packets(struct feeding *feeding, struct lw_reader *reader)
{
    struct lw_read_packet packet;
    bool more = true;
    enum lw_status status = lw_reader_next(reader, &packet, &more, feeding->error);
    while (status == LW_OK && more && !cancelled(feeding)) {
        status = begin_capture(feeding, reader, &packet);
        if (status == LW_OK) {
            feed_packet(feeding, &packet);
            status = lw_reader_next(reader, &packet, &more, feeding->error);
        }
    }
    feeding->fed->cut = lw_reader_is_cut(reader);
    return feeding->fed->cut ? LW_OK : status;
}

static enum lw_status feed_capture(struct feeding *feeding, FILE *file)
{
    struct lw_reader *reader = NULL;
    enum lw_status status = lw_reader_take(file, feeding->feed->path, &reader, feeding->error);
    if (status == LW_OK) {
        status = feed_packets(feeding, reader);
    }
    lw_reader_close(reader);
    return status;
}

static void feed_bytes(struct feeding *feeding, const uint8_t *bytes, size_t count,
                       int64_t first_ns)
{
    lw_stream_add(feeding->stream, &(struct lw_stream_piece){
                                       .bytes = bytes,
                                       .count = count,
                                       .first_ns = first_ns,
                                       .last_ns = first_ns < 0 ? -1 : first_ns + feeding->char_ns,
                                       .timing_u_ns = exact_u_ns,
                                   });
}

static enum lw_status feed_raw(struct feeding *feeding, FILE *file)
{
    static uint8_t chunk[CHUNK];
    size_t count;
    while (!cancelled(feeding) && (count = fread(chunk, 1, sizeof chunk, file)) > 0) {
        feed_bytes(feeding, chunk, count, -1);
    }
    return LW_OK;
}

static int hex_digit(int c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                  : -1;
}

static int skip_remark(FILE *file)
{
    int c;
    do {
        c = getc(file);
    } while (c != EOF && c != '\n');
    return c;
}

static enum lw_status feed_hex(struct feeding *feeding, FILE *file)
{
    size_t line = 1;
    for (int c; !cancelled(feeding) && (c = getc(file)) != EOF;) {
        c = c == '#' ? skip_remark(file) : c;
        line += c == '\n';
        if (c == EOF || isspace(c) || strchr(",:;", c) != NULL) {
            continue;
        }
        int high = hex_digit(c), second = high >= 0 ? getc(file) : EOF, low = hex_digit(second);
        if (high == 0 && (second == 'x' || second == 'X')) {
            continue; // 0x01
        }
        if (high < 0 || low < 0) {
            return lw_fail(feeding->error, LW_BAD_FILE, "line %zu: no pair of hexadecimal digits",
                           line);
        }
        feed_bytes(feeding, &(uint8_t){(uint8_t)(high << 4 | low)}, 1, -1);
    }
    return LW_OK;
}

// "0.031127,01": seconds with what the clock has of decimals, and the byte.
static bool parse_timed(char *text, int64_t *time_ns, uint8_t *byte)
{
    double seconds;
    char *comma = strchr(text, ',');
    if (comma == NULL) {
        return false;
    }
    *comma = '\0';
    const char *digits = comma + 1;
    digits += strncmp(digits, "0x", 2) == 0 ? 2 : 0;
    bool good = lw_number_real(text, 0, 9e9, false, &seconds, NULL) == LW_OK &&
                hex_digit(digits[0]) >= 0 && hex_digit(digits[1]) >= 0 && digits[2] == '\0';
    if (good) {
        *time_ns = (int64_t)(seconds * 1e9 + 0.5);
        *byte = (uint8_t)(hex_digit(digits[0]) << 4 | hex_digit(digits[1]));
    }
    return good;
}

static enum lw_status feed_timed(struct feeding *feeding, FILE *file)
{
    char text[TIMED_LINE];
    int64_t before_ns = 0, time_ns;
    uint8_t byte;
    for (size_t line = 1; !cancelled(feeding) && fgets(text, sizeof text, file) != NULL; line++) {
        text[strcspn(text, "\r\n")] = '\0';
        if (text[0] == '\0' || text[0] == '#' || (line == 1 && isalpha((unsigned char)text[0]))) {
            continue;
        }
        if (!parse_timed(text, &time_ns, &byte)) {
            return lw_fail(feeding->error, LW_BAD_FILE,
                           "line %zu: no time in seconds, comma, byte in hexadecimal", line);
        }
        if (time_ns < before_ns) {
            return lw_fail(feeding->error, LW_BAD_FILE, "line %zu: earlier than the line before it",
                           line);
        }
        before_ns = time_ns;
        feed_bytes(feeding, &byte, 1, time_ns);
    }
    return LW_OK;
}

static enum lw_status feed_plain(struct feeding *feeding, FILE *file)
{
    enum lw_status status = start_stream(feeding, LW_ADU_RTU);
    if (status == LW_OK) {
        status = feeding->feed->kind == LW_FEED_RAW   ? feed_raw(feeding, file)
                 : feeding->feed->kind == LW_FEED_HEX ? feed_hex(feeding, file)
                                                      : feed_timed(feeding, file);
    }
    if (status == LW_OK && ferror(file)) {
        status = lw_fail(feeding->error, LW_SYSTEM, "%s", strerror(errno));
    }
    if (file != stdin) {
        fclose(file);
    }
    return status;
}

static FILE *open_file(const struct lw_feed *feed, struct lw_error *error)
{
    FILE *file = strcmp(feed->path, "-") == 0 ? stdin : fopen(feed->path, "rb");
    if (file == NULL) {
        // A file that a person named and that is not there is a wrong name, no failing disk.
        lw_fail(error, errno == ENOENT ? LW_BAD_FILE : LW_SYSTEM, "%s", strerror(errno));
        return NULL;
    }
    setvbuf(file, NULL, _IOFBF, CHUNK);
    return file;
}

bool lw_feed_is_capture(const char *name)
{
    size_t length = strlen(name);
    return length > 7 && strcmp(name + length - 7, ".pcapng") == 0;
}

enum lw_status lw_feed_run(const struct lw_feed *feed, struct lw_fed *fed, struct lw_error *error)
{
    struct feeding feeding = {.feed = feed, .fed = fed, .error = error};
    char shown[200];
    *fed = (struct lw_fed){.first_utc_ns = -1};
    lw_text_clean(shown, sizeof shown, feed->path, strlen(feed->path));
    if (feed->framing != NULL) {
        set_char(&feeding, feed->framing);
    }
    FILE *file = open_file(feed, error);
    if (file == NULL) {
        return lw_error_within(error, "'%s'", shown);
    }
    enum lw_status status =
        feed->kind == LW_FEED_CAPTURE ? feed_capture(&feeding, file) : feed_plain(&feeding, file);
    end_stream(&feeding);
    if (status == LW_OK && cancelled(&feeding)) {
        return lw_fail(error, LW_CANCELLED, "interrupted");
    }
    return status == LW_OK || feed->kind == LW_FEED_CAPTURE ? status
                                                            : lw_error_within(error, "'%s'", shown);
}
