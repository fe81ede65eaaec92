// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writes the manual pages from the commands' own option tables. It is linked with the commands and
// stands in for lw_cli_parse(), to which each of them hands its table first; so a manual page is
// what the command would parse. With --check it says which pages are not current.
#include "page.h"

#include "commands.h"

#include <stdio.h>
#include <string.h>

enum { NAME = 64 };

bool __wrap_lw_cli_parse(struct lw_cli *cli, const struct lw_option *own, int most_arguments,
                         int *exit_status);

static const char *folder;
static bool check, good = true;

// Text as roff takes it: no line begins with a control, no dash becomes a hyphen.
static void put(struct lw_text *page, const char *text)
{
    for (; *text != '\0'; text++) {
        switch (*text) {
        case '-':
            lw_text_add(page, "\\-");
            break;
        case '\\':
            lw_text_add(page, "\\e");
            break;
        case '\'':
            lw_text_add(page, "\\(aq");
            break;
        default:
            lw_text_put(page, text, 1);
        }
    }
}

static void put_head(struct lw_text *page, const char *name, const char *summary)
{
    lw_text_add(page, ".\\\" Made from the program's own tables: ninja docs\n"
                      ".TH ");
    for (const char *at = name; *at != '\0'; at++) {
        char upper = *at >= 'a' && *at <= 'z' ? (char)(*at - 'a' + 'A') : *at;
        lw_text_add(page, upper == '-' ? "\\-" : "%c", upper);
    }
    lw_text_add(page, " 1 \"\" \"linewalk " LW_VERSION "\" \"linewalk\"\n.SH NAME\n");
    put(page, name);
    lw_text_add(page, " \\- ");
    put(page, summary);
    lw_text_add(page, "\n");
}

static void put_option(struct lw_text *page, const struct lw_option *option)
{
    lw_text_add(page, ".TP\n");
    if (option->letter != 0) {
        lw_text_add(page, "\\fB\\-%c\\fR, ", option->letter);
    }
    lw_text_add(page, "\\fB\\-\\-");
    put(page, option->name);
    lw_text_add(page, "\\fR");
    if (option->argument != NULL) {
        lw_text_add(page, " \\fI%s\\fR", option->argument);
    }
    lw_text_add(page, "\n");
    put(page, option->help);
    lw_text_add(page, "\n");
}

static void put_options(struct lw_text *page, const char *title, const struct lw_option *options)
{
    if (options == NULL || options->name == NULL) {
        return;
    }
    lw_text_add(page, ".SH %s\n", title);
    for (; options->name != NULL; options++) {
        put_option(page, options);
    }
}

static void put_statuses(struct lw_text *page)
{
    static const char *const rows[][2] = {
        {"0", "good, or nothing was to be judged"},
        {"1", "a finding fails or is undecided, or something required is not tested"},
        {"2", "wrong usage, or a bad input file"},
        {"3", "the line or the disk failed"},
        {"130", "interrupted"},
    };
    lw_text_add(page, ".SH EXIT STATUS\n");
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lw_text_add(page, ".TP\n\\fB%s\\fR\n%s\n", rows[i][0], rows[i][1]);
    }
}

bool __wrap_lw_cli_parse(struct lw_cli *cli, const struct lw_option *own, int most_arguments,
                         int *exit_status)
{
    const struct lw_command *command = cli->command;
    struct lw_option common[LW_COMMON_OPTIONS];
    struct lw_text page = {0};
    char name[NAME];
    (void)most_arguments;
    lw_cli_common(&cli->settings, common);
    lw_print(name, sizeof name, "linewalk-%s", command->name);
    put_head(&page, name, command->summary);
    lw_text_add(&page, ".SH SYNOPSIS\n\\fBlinewalk %s\\fR [\\fIOPTION\\fR ...]%s%s\n",
                command->name, command->arguments[0] != '\0' ? " " : "", command->arguments);
    lw_text_add(&page, ".SH DESCRIPTION\n");
    put(&page, command->long_help);
    lw_text_add(&page, "\n");
    put_options(&page, "OPTIONS", own);
    put_options(&page, "OPTIONS OF EVERY COMMAND", common);
    put_statuses(&page);
    lw_text_add(&page, ".SH SEE ALSO\n\\fBlinewalk\\fR(1)\n");
    lw_print(name, sizeof name, "linewalk-%s.1", command->name);
    good = lw_page_finish(folder, name, check, &page) && good;
    *exit_status = LW_EXIT_OK;
    return false;
}

static void overview(void)
{
    struct lw_text page = {0};
    put_head(&page, "linewalk",
             "proves that a chain of digital sensors is whole, powered and quiet");
    lw_text_add(&page, ".SH SYNOPSIS\n\\fBlinewalk\\fR \\fICOMMAND\\fR [\\fIOPTION\\fR ...]\n"
                       ".SH DESCRIPTION\nA bag of small commands for commissioning a chain of "
                       "sensors on RS\\-485 (Modbus RTU). Unique beginnings of a command do; "
                       "without one, it shows the visit that it stands in. "
                       "\\fBlinewalk\\-\\fICOMMAND\\fR is the same as \\fBlinewalk\\fR "
                       "\\fICOMMAND\\fR, but for \\fBlinewalk\\-report\\fR, which draws the PDF "
                       "alone.\n.SH COMMANDS\n");
    for (size_t i = 0; lw_commands[i] != NULL; i++) {
        lw_text_add(&page, ".TP\n\\fB%s\\fR\n", lw_commands[i]->name);
        put(&page, lw_commands[i]->summary);
        lw_text_add(&page, "\n");
    }
    put_statuses(&page);
    lw_text_add(&page, ".SH ENVIRONMENT\n.TP\n\\fBNO_COLOR\\fR\nno colour, whatever the terminal\n"
                       ".TP\n\\fBCOLUMNS\\fR\nwidth of tables\n.SH SEE ALSO\n");
    for (size_t i = 0; lw_commands[i] != NULL; i++) {
        lw_text_add(&page, "\\fBlinewalk\\-%s\\fR(1)%s\n", lw_commands[i]->name,
                    lw_commands[i + 1] != NULL ? "," : "");
    }
    good = lw_page_finish(folder, "linewalk.1", check, &page) && good;
}

int main(int count, char **words)
{
    check = count == 3 && strcmp(words[1], "--check") == 0;
    if (count != 2 + check) {
        fprintf(stderr, "usage: manual [--check] MAN-FOLDER\n");
        return 2;
    }
    folder = words[1 + check];
    overview();
    for (size_t i = 0; lw_commands[i] != NULL; i++) {
        struct lw_cli cli = {.command = lw_commands[i], .argc = 0, .argv = NULL};
        lw_commands[i]->run(&cli);
    }
    return good ? 0 : 1;
}
