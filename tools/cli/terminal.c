// SPDX-License-Identifier: GPL-3.0-or-later
//
// Signals, locale and the terminal: the part of the commands that needs POSIX.
#include "cli/cli.h"

#include "base/file.h"
#include "base/text.h"
#include "cli/beside.h"
#include "stats/setup.h"

#include <ctype.h>
#include <errno.h>
#include <fcntl.h>
#include <langinfo.h>
#include <locale.h>
#include <poll.h>
#include <signal.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

static struct lw_cancel cancel = {.wake_descriptor = -1};
static int wake_writer = -1;

static struct {
    volatile sig_atomic_t on;
    struct termios found;
    char leave[256];
    size_t length;
} guard;

// Async-signal-safe.
static void leave_screen(void)
{
    if (guard.on) {
        guard.on = 0;
        ssize_t wrote = write(STDOUT_FILENO, guard.leave, guard.length);
        (void)wrote;
        tcsetattr(STDIN_FILENO, TCSANOW, &guard.found);
    }
}

static void on_fault(int number)
{
    leave_screen();
    lw_line_restore_all();
    signal(number, SIG_DFL);
    raise(number);
}

void lw_cli_guard_terminal(const char *leave)
{
    static const int faults[] = {SIGABRT, SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGQUIT};
    bool begins = leave != NULL && !guard.on;
    if (begins) {
        begins = tcgetattr(STDIN_FILENO, &guard.found) == 0;
    }
    for (size_t i = 0; i < sizeof faults / sizeof *faults && (begins || leave == NULL); i++) {
        signal(faults[i], begins ? on_fault : SIG_DFL);
    }
    guard.on = leave != NULL && (guard.on || begins);
    guard.length = leave != NULL ? strnlen(leave, sizeof guard.leave) : 0;
    memcpy(guard.leave, leave != NULL ? leave : "", guard.length);
}

// The first signal asks the command to end. A second one ends it at once, with the ports as they
// were found: raised again here, it takes its default action when the handler returns.
static void on_signal(int number)
{
    int saved = errno;
    if (cancel.flag) {
        leave_screen();
        lw_line_restore_all();
        signal(number, SIG_DFL);
        raise(number);
    }
    cancel.flag = 1;
    if (write(wake_writer, "!", 1) < 0) {
        cancel.flag = 1;
    }
    errno = saved;
}

static void catch_signals(void)
{
    int ends[2];
    if (pipe(ends) == 0) {
        for (int i = 0; i < 2; i++) {
            fcntl(ends[i], F_SETFD, FD_CLOEXEC);
            fcntl(ends[i], F_SETFL, O_NONBLOCK);
        }
        cancel.wake_descriptor = ends[0];
        wake_writer = ends[1];
    }
    struct sigaction action = {.sa_handler = on_signal};
    sigemptyset(&action.sa_mask);
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    sigaction(SIGHUP, &action, NULL);
    signal(SIGPIPE, SIG_IGN);
}

// Translations: beside a program that was built and not installed, else where they are installed.
static const char *locale_folder(void)
{
    static char folder[LW_PATH];
    if (folder[0] == '\0' && !lw_beside("po", folder, sizeof folder)) {
        lw_copy(folder, sizeof folder, LW_LOCALEDIR);
    }
    return folder;
}

static const char *const languages[] = {"en", "de"};
static const char *spoken = "en";

// "de" of "de", "de_AT.UTF-8"; NULL when it is not there.
static const char *known_language(const char *tag)
{
    for (size_t i = 0; tag != NULL && i < sizeof languages / sizeof *languages; i++) {
        if (strncmp(tag, languages[i], 2) == 0 && !isalpha((unsigned char)tag[2])) {
            return languages[i];
        }
    }
    return NULL;
}

// The locale "C" keeps gettext from looking at anything; C.UTF-8 does not, is always there, and
// leaves the choice to LANGUAGE.
bool lw_cli_speak(const char *tag)
{
    const char *language = known_language(tag);
    spoken = language != NULL ? language : "en";
    setenv("LANGUAGE", spoken, 1);
    setlocale(LC_MESSAGES, "C.UTF-8");
    bindtextdomain("linewalk", locale_folder());
    bind_textdomain_codeset("linewalk", "UTF-8");
    textdomain("linewalk");
    return language != NULL;
}

const char *lw_cli_language(void)
{
    return spoken;
}

bool lw_cli_catalogue(char *path, size_t size)
{
    return strcmp(spoken, "en") != 0 &&
           lw_print(path, size, "%s/%s/LC_MESSAGES/linewalk.mo", locale_folder(), spoken);
}

// Only LC_CTYPE and LC_MESSAGES: a decimal comma in the locale must not reach files. Without UTF-8
// the table library would print escapes.
static void set_locale(void)
{
    setlocale(LC_CTYPE, "");
    const char *wanted = setlocale(LC_MESSAGES, "");
    if (strcmp(nl_langinfo(CODESET), "UTF-8") != 0) {
        setlocale(LC_CTYPE, "C.UTF-8");
    }
    if (known_language(wanted) != NULL && strncmp(wanted, "en", 2) != 0) {
        lw_cli_speak(wanted);
    }
}

void lw_cli_start(void)
{
    set_locale();
    catch_signals();
    lw_stats_setup();
}

void lw_cli_pause(double seconds)
{
    struct pollfd wake = {.fd = cancel.wake_descriptor, .events = POLLIN};
    if (!cancel.flag) {
        (void)poll(&wake, 1, (int)(seconds * 1e3));
    }
}

const struct lw_cancel *lw_cli_cancel(void)
{
    return &cancel;
}

int lw_cli_columns(void)
{
    const char *set = getenv("COLUMNS");
    if (set != NULL && set[0] != '\0') {
        long columns = strtol(set, NULL, 10);
        return columns > 0 && columns < 10000 ? (int)columns : 0;
    }
    struct winsize size;
    if (isatty(STDOUT_FILENO) && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0) {
        return size.ws_col;
    }
    return 0;
}

bool lw_cli_colour(void)
{
    const char *no = getenv("NO_COLOR");
    const char *term = getenv("TERM");
    return isatty(STDOUT_FILENO) && (no == NULL || no[0] == '\0') && term != NULL &&
           strcmp(term, "dumb") != 0;
}

bool lw_cli_progress_terminal(void)
{
    return isatty(STDERR_FILENO);
}

bool lw_cli_full_screen(void)
{
    return isatty(STDIN_FILENO) && isatty(STDOUT_FILENO);
}

bool lw_cli_keyboard(void)
{
    return isatty(STDIN_FILENO);
}

bool lw_cli_utf8(void)
{
    return strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
}

// Waits for a line on standard input or the cancel pipe; a blocking read would go on after Ctrl-C.
static enum lw_status wait_for_input(struct lw_error *error)
{
    struct pollfd wait[2] = {{.fd = STDIN_FILENO, .events = POLLIN},
                             {.fd = cancel.wake_descriptor, .events = POLLIN}};
    while (!cancel.flag) {
        int ready = poll(wait, 2, -1);
        if (ready > 0 && (wait[0].revents & (POLLIN | POLLHUP)) != 0) {
            return LW_OK;
        }
        if (ready < 0 && errno != EINTR) {
            return lw_fail_errno(error, errno, "cannot wait for an answer");
        }
    }
    return lw_fail(error, LW_CANCELLED, "interrupted");
}

enum lw_status lw_cli_ask(const char *question, const char *obvious, char *answer, size_t size,
                          struct lw_error *error)
{
    char line[512];
    if (!lw_cli_keyboard()) {
        return lw_fail(error, LW_USAGE, "there is no terminal to ask on");
    }
    if (obvious != NULL && obvious[0] != '\0') {
        fprintf(stderr, "%s [%s] ", question, obvious);
    } else {
        fprintf(stderr, "%s ", question);
    }
    fflush(stderr);
    enum lw_status status = wait_for_input(error);
    if (status != LW_OK) {
        fputc('\n', stderr);
        return status;
    }
    if (fgets(line, sizeof line, stdin) == NULL) {
        return lw_fail(error, LW_USAGE, "no answer");
    }
    line[strcspn(line, "\r\n")] = '\0';
    const char *said = line[0] == '\0' && obvious != NULL ? obvious : line;
    lw_text_clean(answer, size, said, strlen(said));
    return LW_OK;
}

bool lw_cli_typed(void)
{
    char line[256];
    struct pollfd typed = {.fd = STDIN_FILENO, .events = POLLIN};
    return lw_cli_keyboard() && poll(&typed, 1, 0) > 0 && (typed.revents & POLLIN) != 0 &&
           fgets(line, sizeof line, stdin) != NULL;
}

static enum lw_status read_phrase(int descriptor, char *phrase, size_t size, struct lw_error *error)
{
    size_t length = 0;
    char byte = '\0';
    ssize_t got = 0;
    while (length < size) {
        got = read(descriptor, &byte, 1);
        if (got < 0 && errno == EINTR && !cancel.flag) {
            continue;
        }
        if (got <= 0 || byte == '\n') {
            break;
        }
        phrase[length++] = byte;
    }
    if (got < 0) {
        return lw_fail_errno(error, errno, "cannot read a pass phrase");
    }
    if (length == size || memchr(phrase, '\0', length) != NULL) {
        return lw_fail(error, LW_USAGE, "the pass phrase is too long, or no text");
    }
    phrase[length] = '\0';
    return length > 0 ? LW_OK : lw_fail(error, LW_USAGE, "there is no pass phrase");
}

enum lw_status lw_cli_phrase(const char *question, int descriptor, char *phrase, size_t size,
                             struct lw_error *error)
{
    struct termios shown, hidden;
    if (descriptor >= 0) {
        return read_phrase(descriptor, phrase, size, error);
    }
    if (tcgetattr(STDIN_FILENO, &shown) != 0) {
        return lw_fail(error, LW_USAGE, "there is no terminal to ask for the pass phrase on");
    }
    hidden = shown;
    hidden.c_lflag &= (tcflag_t) ~(ECHO | ECHONL);
    fprintf(stderr, "%s ", question);
    fflush(stderr);
    tcsetattr(STDIN_FILENO, TCSAFLUSH, &hidden);
    enum lw_status status = wait_for_input(error);
    if (status == LW_OK) {
        status = read_phrase(STDIN_FILENO, phrase, size, error);
    }
    tcsetattr(STDIN_FILENO, TCSAFLUSH, &shown);
    fputc('\n', stderr);
    return status;
}

void lw_cli_private_files(void)
{
    umask(S_IRWXG | S_IRWXO);
}
