// SPDX-License-Identifier: GPL-3.0-or-later
//
// A visit: the folder with everything seen and decided on one day at one machine. visit.json holds
// what was known at the opening and is never rewritten; each command adds a record with a number,
// and records are chained by digest, so that nothing can be changed or removed without being
// noticed.
#ifndef LW_SITE_VISIT_H
#define LW_SITE_VISIT_H

#include "base/clock.h"
#include "base/file.h"
#include "site/plan.h"
#include "site/record.h"

struct lw_instrument {
    char *id, *kind, *maker, *serial, *certificate, *calibrated_on, *due_on, *unit;
    double u, k;
};

// The plan was revised to what was found at the machine.
struct lw_plan_revision {
    char *from, *to;        // revisions as the plan numbers them; `from` NULL: it had none
    char *reason;           // NULL: not said
    struct lw_list changes; // of char *, a sentence each
};

struct lw_visit_facts {
    char *format, *opened;
    char *engineer, *company, *customer_contact, *machine_serial, *language;
    double clock_offset_s;      // NAN: not compared
    char *plan;                 // as copied under inputs/
    struct lw_list instruments; // of struct lw_instrument
    char *on;                   // line used last
    struct lw_list revisions;   // of struct lw_plan_revision, in their order
    // what later records of check "visit" say is in here already, over what visit.json said
};
extern const struct lw_shape lw_visit_shape;
// The same struct with no key needed: the `result` of a record of the check "visit".
extern const struct lw_shape lw_visit_change_shape;
extern const struct lw_shape lw_instrument_shape;

struct lw_visit {
    char folder[LW_PATH];
    struct lw_visit_facts facts;
    struct lw_lock lock; // held from lw_visit_begin to lw_visit_end
    int number;          // taken by lw_visit_begin and not yet appended; 0: none
    int next_number;     // the lowest that may still be given
    char previous_digest[LW_DIGEST];
};

// Creates folder and visit.json when absent or empty (with `facts`, else only format and opened);
// opens it when it is one; LW_USAGE for a folder with other content.
enum lw_status lw_visit_open(const char *folder, const struct lw_visit_facts *facts,
                             const struct lw_clock *clock, struct lw_visit *visit,
                             struct lw_error *error);
// Walks up from `start`; *found false when there is none (status LW_OK).
enum lw_status lw_visit_find(const char *start, struct lw_visit *visit, bool *found,
                             struct lw_error *error);
void lw_visit_close(struct lw_visit *visit);

// Whether a record of this check seals its visit: a signature, or the signed paper brought back.
bool lw_visit_seals(const char *check);
// Takes the lock (waits 2 s, then LW_SYSTEM) and the next number for a record of `check`, which is
// above that of every file in the folder and never given twice. With the lock held already it takes
// only another number: records are then appended in the order of their numbers. A visit that is
// sealed takes nothing but what seals it once more: LW_USAGE.
enum lw_status lw_visit_begin(struct lw_visit *visit, const char *check, int *number,
                              struct lw_error *error);
// "FOLDER/0003-scan.pcapng" for a number, check and ending.
bool lw_visit_path(const struct lw_visit *visit, int number, const char *check, const char *ending,
                   char *path, size_t size);
// Copies a file under inputs/ as "inputs/<first 8 digits of digest>-<name>" unless it is there
// already. LW_BAD_FILE when the file, or the copy, is not what the digest says.
enum lw_status lw_visit_keep_input(struct lw_visit *visit, const struct lw_input *input,
                                   char name[LW_PATH], struct lw_error *error);
// Fills number and previous_sha256, writes the record whole. The lock stays.
enum lw_status lw_visit_append(struct lw_visit *visit, struct lw_record *record,
                               struct lw_error *error);
void lw_visit_end(struct lw_visit *visit);

// All records in number order (struct lw_record), and whether the chain of digests and files is
// whole: *broken gets the first number that does not fit (0: none), with `error` saying why.
enum lw_status lw_visit_records(const struct lw_visit *visit, struct lw_list *records, int *broken,
                                struct lw_error *error);
void lw_records_free(struct lw_list *records);
// Loads the plan that a record used, with the profiles kept with it, from inputs/. *found false
// (status LW_OK) when it used none.
enum lw_status lw_visit_plan_of(const struct lw_visit *visit, const struct lw_record *record,
                                struct lw_plan *plan, struct lw_inputs *inputs, bool *found,
                                struct lw_error *error);
// The same for the last of the records that used a plan.
enum lw_status lw_visit_plan(const struct lw_visit *visit, const struct lw_list *records,
                             struct lw_plan *plan, struct lw_inputs *inputs, bool *found,
                             struct lw_error *error);
// Loads the plan at `path` with the profiles that it names from among `others` (files that are no
// profiles are passed over), wherever they stand. `inputs` as for lw_plan_load().
enum lw_status lw_plan_load_among(const char *path, const struct lw_inputs *others,
                                  struct lw_plan *plan, struct lw_inputs *inputs,
                                  struct lw_error *error);
// The last record of a check, NULL when none; complete ones are preferred when `complete`.
const struct lw_record *lw_records_last(const struct lw_list *records, const char *check,
                                        bool complete);

#endif
