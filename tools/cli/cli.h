// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the commands share: the settings that every command knows, exit statuses, and how things are
// said. stdout is data; everything else goes to stderr.
#ifndef LW_CLI_CLI_H
#define LW_CLI_CLI_H

#include "base/error.h"
#include "base/words.h"
#include "cli/options.h"
#include "line/line.h"
#include "site/record.h"

#include <libintl.h>
#include <stdbool.h>

// Strings for the user, ready for translation.
#define _(text) gettext(text)

enum lw_exit {
    LW_EXIT_OK = 0,
    LW_EXIT_VERDICT = 1, // a finding fails or is undecided, or something required is not tested
    LW_EXIT_USAGE = 2,   // wrong usage or a bad input file
    LW_EXIT_SYSTEM = 3,  // the line or the disk failed
    LW_EXIT_INTERRUPTED = 130,
};

// The settings that all commands know; NULL, false or negative when not given.
struct lw_settings {
    const char *on, *framing, *plan, *profiles, *visit, *nodes, *addresses, *state, *controller;
    double listen_first_s; // 3 by default
    double sim_at_s;       // -1: where the visit's last simulated record ended
    const char *language;  // "en", "de"; NULL: by the locale
    bool json, quiet, help, version, gentle;
};

struct lw_cli;
struct lw_command {
    const char *name;
    const char *summary;   // one line
    const char *arguments; // "[FOLDER]", may be ""
    const char *long_help; // a paragraph
    int (*run)(struct lw_cli *cli);
};
extern const struct lw_command *const lw_commands[]; // ends with NULL

struct lw_cli {
    const struct lw_command *command;
    int argc; // argv[0] is the command's name
    char **argv;
    struct lw_settings settings;
    const char *rest[9]; // arguments that are no options
};

enum { LW_COMMON_OPTIONS = 20 };

// Parses the command's own table (may be NULL) and the common one. Returns true when the command is
// to go on; else *exit_status is set (help and version printed, or the error said).
bool lw_cli_parse(struct lw_cli *cli, const struct lw_option *own, int most_arguments,
                  int *exit_status);
// The common table, into the settings.
void lw_cli_common(struct lw_settings *settings, struct lw_option table[LW_COMMON_OPTIONS]);

// Says the error in one line on stderr ("linewalk scan: ...") and returns the exit status it stands
// for.
int lw_cli_fail(const struct lw_cli *cli, const struct lw_error *error);
// A remark on stderr, unless --quiet.
void lw_cli_say(const struct lw_cli *cli, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
int lw_exit_of_status(enum lw_status status);
int lw_exit_of_verdict(enum lw_verdict verdict, bool required);
// The graver of two exit statuses: 130 > 3 > 2 > 1 > 0.
int lw_exit_worse(int a, int b);

// Ctrl-C, SIGTERM and SIGHUP set the flag and write to the pipe; a second one ends the program at
// once, with the terminals put back.
const struct lw_cancel *lw_cli_cancel(void);
// Speaks the language of a tag ("de", "de_AT.UTF-8", "en") from now on; false, and English, for one
// that is not there.
bool lw_cli_speak(const char *tag);
// The tag of the language that is spoken: by --language or the locale.
const char *lw_cli_language(void);
// The catalogue of that language; false for English, which needs none.
bool lw_cli_catalogue(char *path, size_t size);
// Sets up locale, signals and the statistics library. Once, at the start of main().
void lw_cli_start(void);

// The terminal.
int lw_cli_columns(void);            // of stdout; COLUMNS, else the terminal's, else 0 (no limit)
bool lw_cli_colour(void);            // stdout is a terminal and NO_COLOR is not set
bool lw_cli_progress_terminal(void); // stderr is a terminal
bool lw_cli_full_screen(void);       // stdin and stdout are one
bool lw_cli_utf8(void);

// A full screen begins: from the first call on, whatever ends the program without its doing (a
// second signal, an abort, a fault) puts the terminal of stdin back as it is at that call and
// writes `leave` to stdout (at most 256 bytes; copied; may be given by a later call). NULL: it is
// over.
void lw_cli_guard_terminal(const char *leave);

// Waits so long, or until the user interrupts. For what has no line to listen to.
void lw_cli_pause(double seconds);

bool lw_cli_keyboard(void); // somebody can be asked
// Asks on the terminal (stderr, answer from stdin); LW_USAGE when stdin is no terminal or ends,
// LW_CANCELLED. `answer` is cleaned and without its line end; an empty one is `obvious` (may be
// NULL).
enum lw_status lw_cli_ask(const char *question, const char *obvious, char *answer, size_t size,
                          struct lw_error *error);
// Whether a line was typed on the terminal by now; it is taken and forgotten. False without a
// terminal.
bool lw_cli_typed(void);
// A pass phrase: one line from a descriptor, or, when that is negative, asked on the terminal
// without showing what is typed. LW_USAGE when there is none, it is longer than `size` lets it be,
// or stdin is no terminal. Wipe `phrase` after use.
enum lw_status lw_cli_phrase(const char *question, int descriptor, char *phrase, size_t size,
                             struct lw_error *error);
// Files made from now on are for their owner alone.
void lw_cli_private_files(void);

#endif
