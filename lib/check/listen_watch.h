// SPDX-License-Identifier: GPL-3.0-or-later
//
// The watch: a fold over what is heard that calls out when something is not as it should be. What
// goes on (a node silent at every poll, a status bit that stays) is one event with a count and an
// end, so that a night of it is one line and not ten thousand. Pure; constant memory.
#ifndef LW_CHECK_LISTEN_WATCH_H
#define LW_CHECK_LISTEN_WATCH_H

#include "check/listen.h"

enum lw_watch_kind {
    LW_WATCH_SILENCE,    // nothing at all was heard
    LW_WATCH_UNANSWERED, // a node did not answer
    LW_WATCH_DAMAGED,    // bytes that are no whole frame
    LW_WATCH_WRONG,      // a whole answer that does not fit the question
    LW_WATCH_EXCEPTION,  // a node refused
    LW_WATCH_STATUS,     // a bit in a status register
    LW_WATCH_VALUE,      // a value outside its limits
    LW_WATCH_LOST,       // the line itself was gone (an unplugged adapter)
};
const char *lw_watch_word(enum lw_watch_kind kind); // "silence", "unanswered", ...

struct lw_watch_event {
    int number; // from 1
    enum lw_watch_kind kind;
    const char *node; // of the plan, NULL: none
    size_t tap;
    int address;             // 0: none
    int detail;              // the exception's code, the status bit's number; else 0
    const char *name;        // of the register, of the bit's meaning; may be NULL
    const char *unit;        // may be NULL
    double value, low, high; // of LW_WATCH_VALUE: the first that was outside; limits may be NAN
    int64_t first_ns, last_ns;
    double count; // how often
    bool over;    // nothing of it for `quiet_s`
};

// A reading's limits that a person has set.
struct lw_watch_limit {
    size_t tap;
    double low, high;
};
enum { LW_WATCH_LIMITS = 64, LW_WATCH_OPEN = 128 };

struct lw_watch_options {
    double silence_s; // so long without a byte is an event; 0: 2
    double quiet_s;   // an event is over when nothing of it has come for so long; 0: 10
    size_t limit_count;
    struct lw_watch_limit limits[LW_WATCH_LIMITS];
    void *user;
    // Told twice: when the event begins, and when it is over. Borrowed until it returns.
    void (*event)(void *user, const struct lw_watch_event *event);
};

// `plan` may be NULL: then values and status bits are not known. It must outlive the watch. More
// than LW_WATCH_OPEN events at a time are counted only.
struct lw_watch; // opaque, ours
enum lw_status lw_watch_new(const struct lw_plan *plan, const struct lw_watch_options *options,
                            int64_t now_ns, struct lw_watch **watch, struct lw_error *error);
void lw_watch_free(struct lw_watch *watch);

void lw_watch_piece(struct lw_watch *watch, const struct lw_piece *piece);
void lw_watch_frame(struct lw_watch *watch, const struct lw_stream_frame *frame);
void lw_watch_exchange(struct lw_watch *watch, const struct lw_exchange *exchange);
// The line cannot be read; and it can again, which ends that event.
void lw_watch_lost(struct lw_watch *watch, int64_t now_ns);
void lw_watch_regained(struct lw_watch *watch, int64_t now_ns);
// Time has passed: silence begins, events are over. Call it at least once a second.
void lw_watch_tick(struct lw_watch *watch, int64_t now_ns);
// The end of the watch: what is open is over.
void lw_watch_end(struct lw_watch *watch, int64_t now_ns);
double lw_watch_uncounted(const struct lw_watch *watch); // events for which there was no room

// One sentence: "P03 did not answer, 12 times". Returns text.
const char *lw_watch_says(const struct lw_watch_event *event, char *text, size_t size);

// "P03=-0.5..0.5,P07=4..20" into limits of the plan's nodes. LW_USAGE says what is wrong.
enum lw_status lw_watch_limits_parse(const char *list, const struct lw_plan *plan,
                                     struct lw_watch_options *options, struct lw_error *error);

#endif
