// SPDX-License-Identifier: GPL-3.0-or-later
//
// A session: what a command works with. It loads the plan, opens the visit and the line, listens
// before anything is sent, and gives each check a step with a number, a capture, its readings and,
// at the end, a record. One command has one session; a commissioning walk has one session with many
// steps on one open line.
#ifndef LW_CLI_SESSION_H
#define LW_CLI_SESSION_H

#include "base/file.h"
#include "capture/pcapng.h"
#include "chain/chain.h"
#include "chain/recorded.h"
#include "cli/awake.h"
#include "cli/cli.h"
#include "cli/recording.h"
#include "client/client.h"
#include "site/plan.h"
#include "site/visit.h"

enum {
    LW_NEEDS_LINE = 1,
    LW_NEEDS_PLAN = 2,  // LW_USAGE without one
    LW_TAKES_PLAN = 4,  // uses one when there is one
    LW_NEEDS_VISIT = 8, // LW_USAGE without one
};

struct lw_session {
    struct lw_cli *cli;
    struct lw_clock system;       // when there is no line
    const struct lw_clock *clock; // the line's, once it is open
    bool has_plan, has_visit, locked;
    struct lw_plan plan;
    struct lw_inputs inputs;
    struct lw_visit visit;
    struct lw_list records; // of struct lw_record: what the visit held at the opening
    int broken;             // the first of them that does not fit, 0: none
    struct lw_line *line;   // wrapped by a recorder when there is a visit
    char on[LW_PATH];       // as it was opened
    bool listened;          // listening first is done
    bool own_captures;      // the command keeps the line's captures itself
    struct lw_heard heard;
    char controller_is[80], controller_said_by[80];
    struct lw_plan chain_plan; // of a virtual chain in this process
    struct lw_chain *chain;
    struct lw_recording recording; // whose nodes answer in this process
    struct lw_recorded *recorded;
    struct lw_client *client;
    struct lw_run run;
    bool *selected;      // per tap, NULL: all
    bool addresses[256]; // none: all
    int64_t progress_ns; // when progress was last shown
    bool progress_shown;
    struct lw_step *step; // the one under way
    int64_t opened_ns;    // on the system's clock
    bool awake_asked;     // that the machine must not sleep
    struct lw_awake awake;
};

// Opens everything that the command needs. On failure everything is closed again.
enum lw_status lw_session_open(struct lw_session *session, struct lw_cli *cli, unsigned needs,
                               struct lw_error *error);
void lw_session_close(struct lw_session *session);

// Whether --nodes and --addresses, where given, leave this address in.
bool lw_session_wants(const struct lw_session *session, int address);

// The part of the chain that --nodes or --addresses limit a check to, as they were given; NULL: the
// check proves the whole, or the options mean something else to it. A scan is whole when it asks
// all addresses, another check when it asks all nodes of the plan.
const char *lw_session_part(const struct lw_session *session, const char *check);

// What a node has said of itself: a virtual chain that is served through a socket looks like a real
// line otherwise. Its records are marked from now on.
void lw_session_is_simulated(struct lw_session *session, bool simulated);

// One check of a session. Plain memory; begin and end belong together.
struct lw_step {
    const char *check;
    int number; // 0 without a visit
    int64_t started_ns;
    double sim_from_s;
    struct lw_capture *capture;
    struct lw_file *readings, *answers;
    char readings_unit[16];
    enum lw_status readings_status;
    struct lw_client_gateway gateway; // what it had said before the step
    struct lw_findings findings;
    struct lw_rule rule;
    bool has_rule;
    const struct lw_shape *shape; // of the result; NULL: none
    const void *result;
    struct lw_list files; // of struct lw_record_file: what the command has written beside the rest
    const char *skipped;  // reason, when the check is left out on purpose
    bool judged_nothing;  // not_tested, unless a finding says otherwise
    enum lw_verdict verdict;
    char record_name[80]; // "0003-scan.json"; empty without a visit
    bool of_simulated;    // it judged what was captured on a simulated line
    bool unwritten;       // the disk failed and not the line: capture or files cannot be written
    bool refused;         // wrong usage or a bad file: it leaves no record
};

// Takes the number, starts the capture, and, at the session's first step on a line, settles the
// question of the controller and listens. LW_REFUSED when somebody was heard: the step then holds
// the finding and is to be ended.
enum lw_status lw_step_begin(struct lw_session *session, struct lw_step *step, const char *check,
                             bool keeps_readings, struct lw_error *error);

// Begins the step's capture anew, at the line's framing as it is now; what it held is dropped. Does
// nothing without a capture.
enum lw_status lw_step_capture_again(struct lw_session *session, struct lw_step *step,
                                     struct lw_error *error);

// Copies a file beside the step's record, as NNNN-CHECK and the file's own ending, and lists it in
// the record with its digest, so that a change to it is found. LW_USAGE when its name has no ending
// that says what it is; at most 64 MiB. `kept` (may be NULL) gets its name and digest, borrowed
// until the step's next file.
enum lw_status lw_step_attach(struct lw_session *session, struct lw_step *step, const char *path,
                              const struct lw_record_file **kept, struct lw_error *error);

// Writes a file beside the step's record, as NNNN-CHECK.ENDING, and lists it there in the same way.
enum lw_status lw_step_write(struct lw_session *session, struct lw_step *step, const char *ending,
                             const char *bytes, size_t length, const struct lw_record_file **kept,
                             struct lw_error *error);

// Begins the file of a dialog's answers beside the step's record, once; a table question,answer.
// Does nothing without a visit.
enum lw_status lw_step_keep_answers(struct lw_session *session, struct lw_step *step,
                                    struct lw_error *error);

// Ends the step: closes capture and readings, writes the record with what `status` left of it, and
// prints it when --json asks. Returns the exit status for status and verdict; `error` is what the
// check failed with, said here.
int lw_step_end(struct lw_session *session, struct lw_step *step, enum lw_status status,
                struct lw_error *error, bool required);

// Without --json: the findings in full and the verdict, on stdout.
void lw_step_print(const struct lw_session *session, const struct lw_step *step);

// A client on the session's line; made at the first call.
enum lw_status lw_session_client(struct lw_session *session, struct lw_client **client,
                                 struct lw_error *error);

// Keeps the machine from going to sleep until the session is closed, and says so where that is not
// to be had. Asked once; on a line where time does not pass by itself, not at all. For runs of more
// than LW_LONG_S; progress asks for it by itself.
void lw_session_stay_awake(struct lw_session *session);
enum { LW_LONG_S = 60 };

// Closes a line that has failed; the session's clock is the system's then.
void lw_session_lose_line(struct lw_session *session);
// One try to open it again, at that framing and with a recorder that writes nowhere yet.
enum lw_status lw_session_reopen(struct lw_session *session, const struct lw_framing *framing,
                                 struct lw_error *error);

// Opens what --on names. `plan_on` gets the folder or file of a virtual chain's plan (empty else).
// The only place that knows what --on can be.
enum lw_status lw_open_line(struct lw_session *session, const char *on,
                            const struct lw_framing *framing, struct lw_error *error);
// A serial port, a pseudo-terminal or a link to one, as lw_serial_open() and lw_pty_open() do.
enum lw_status lw_open_port(const char *path, const struct lw_line_options *options,
                            struct lw_line **line, struct lw_error *error);
// "sim:FILE" and "sim:FOLDER" as the path of a plan; false for every other line.
bool lw_line_plan_path(const char *on, char *path, size_t size);

#endif
