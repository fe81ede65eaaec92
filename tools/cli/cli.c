// SPDX-License-Identifier: GPL-3.0-or-later
//
// The common options, errors and exit statuses.
#include "cli/cli.h"

#include "base/text.h"

#include <stdarg.h>

void lw_cli_common(struct lw_settings *settings, struct lw_option table[LW_COMMON_OPTIONS])
{
    const struct lw_option common[LW_COMMON_OPTIONS] = {
        {"on", 'o', "LINE", LW_OPTION_TEXT, &settings->on, 0, 0,
         "the line: /dev/ttyUSB0, tcp://host:502, rtu://host:port, sim:PLAN.json, replay:CAPTURE"},
        {"framing", 'f', "FRAMING", LW_OPTION_TEXT, &settings->framing, 0, 0,
         "bit rate, data bits, parity, stop bits: 19200/8E1"},
        {"plan", 'p', "FILE", LW_OPTION_TEXT, &settings->plan, 0, 0,
         "the plan; by default the visit's"},
        {"profiles", 0, "DIR", LW_OPTION_TEXT, &settings->profiles, 0, 0,
         "device profiles; by default profiles/ beside the plan"},
        {"visit", 'v', "DIR", LW_OPTION_TEXT, &settings->visit, 0, 0,
         "the visit to record into; made when it is not there"},
        {"nodes", 'n', "LIST", LW_OPTION_TEXT, &settings->nodes, 0, 0,
         "only these nodes of the plan: P03,P07-P12"},
        {"addresses", 'a', "LIST", LW_OPTION_TEXT, &settings->addresses, 0, 0,
         "only these addresses: 3,7-12"},
        {"state", 's', "TEXT", LW_OPTION_TEXT, &settings->state, 0, 0,
         "state of the machine, kept on the record: \"drives on\""},
        {"controller", 0, "TEXT", LW_OPTION_TEXT, &settings->controller, 0, 0,
         "what the controller is doing and who said so: none, \"stopped:A. Sample\""},
        {"listen-first", 0, "TIME", LW_OPTION_DURATION, &settings->listen_first_s, 0, 3600,
         "how long to listen before the first request; 3 s by default"},
        {"sim-at", 0, "TIME", LW_OPTION_DURATION, &settings->sim_at_s, 0, 1e8,
         "start time of a virtual chain"},
        {"language", 0, "TAG", LW_OPTION_TEXT, &settings->language, 0, 0,
         "language of report and questions: en, de; by default the visit's or the locale's"},
        {"gentle", 0, NULL, LW_OPTION_FLAG, &settings->gentle, 0, 0,
         "send only what the profiles declare"},
        {"json", 'j', NULL, LW_OPTION_FLAG, &settings->json, 0, 0,
         "print the record as JSON, and nothing else"},
        {"quiet", 'q', NULL, LW_OPTION_FLAG, &settings->quiet, 0, 0, "no remarks, no progress"},
        {"help", 'h', NULL, LW_OPTION_FLAG, &settings->help, 0, 0, "this help"},
        {"version", 0, NULL, LW_OPTION_FLAG, &settings->version, 0, 0, "the version"},
    };
    memcpy(table, common, sizeof common);
}

static void print_help(const struct lw_cli *cli, const struct lw_option *own,
                       const struct lw_option *common)
{
    int columns = lw_cli_columns() > 40 ? lw_cli_columns() : 80;
    printf("linewalk %s%s%s\n\n", cli->command->name, cli->command->arguments[0] ? " " : "",
           cli->command->arguments);
    lw_help_text(_(cli->command->long_help), 0, columns);
    if (own != NULL && own->name != NULL) {
        printf("\n%s\n", _("Its own options:"));
        lw_options_help(own, columns);
    }
    printf("\n%s\n", _("Options of every command:"));
    lw_options_help(common, columns);
    putchar('\n');
    lw_help_text(
        _("Exit status: 0 good; 1 a finding fails, is undecided or something required is not "
          "tested; 2 wrong usage or a bad file; 3 the line or the disk failed; 130 "
          "interrupted."),
        0, columns);
}

bool lw_cli_parse(struct lw_cli *cli, const struct lw_option *own, int most_arguments,
                  int *exit_status)
{
    struct lw_option common[LW_COMMON_OPTIONS];
    struct lw_error error = {0};
    cli->settings.listen_first_s = 3;
    cli->settings.sim_at_s = -1;
    lw_cli_common(&cli->settings, common);
    enum lw_status status =
        lw_options_parse(cli->argc, cli->argv, own, common, cli->rest, most_arguments, &error);
    *exit_status = LW_EXIT_OK;
    if (status != LW_OK) {
        *exit_status = lw_cli_fail(cli, &error);
        return false;
    }
    if (cli->settings.language != NULL && !lw_cli_speak(cli->settings.language)) {
        lw_fail(&error, LW_USAGE, "--language is en or de");
        *exit_status = lw_cli_fail(cli, &error);
        return false;
    }
    if (cli->settings.help) {
        print_help(cli, own, common);
        return false;
    }
    if (cli->settings.version) {
        printf("linewalk %s\n", LW_VERSION);
        return false;
    }
    return true;
}

int lw_exit_of_status(enum lw_status status)
{
    switch (status) {
    case LW_OK:
        return LW_EXIT_OK;
    case LW_USAGE:
    case LW_BAD_FILE:
        return LW_EXIT_USAGE;
    case LW_CANCELLED:
        return LW_EXIT_INTERRUPTED;
    case LW_SYSTEM:
    case LW_MEMORY:
    case LW_SILENCE:
    case LW_GARBLED:
    case LW_REFUSED:
        break;
    }
    return LW_EXIT_SYSTEM;
}

int lw_exit_of_verdict(enum lw_verdict verdict, bool required)
{
    bool bad = verdict == LW_FAIL || verdict == LW_UNDECIDED;
    return bad || (required && verdict == LW_NOT_TESTED) ? LW_EXIT_VERDICT : LW_EXIT_OK;
}

int lw_exit_worse(int a, int b)
{
    return a > b ? a : b;
}

int lw_cli_fail(const struct lw_cli *cli, const struct lw_error *error)
{
    char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    fprintf(stderr, "linewalk %s: %s\n", cli->command->name,
            lw_error_text(error, text, sizeof text));
    return lw_exit_of_status(error->status);
}

void lw_cli_say(const struct lw_cli *cli, const char *format, ...)
{
    if (cli->settings.quiet) {
        return;
    }
    char text[1024];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    fprintf(stderr, "linewalk %s: %s\n", cli->command->name, text);
}
