// SPDX-License-Identifier: GPL-3.0-or-later
//
// One program, many small commands: `linewalk scan`, or `linewalk-scan` through a link. Unique
// prefixes of a command's name do. Without a command it shows the visit that it stands in.
#include "commands.h"

#include "cli/options.h"

static int print_commands(FILE *to)
{
    fprintf(to, "%s\n\n",
            _("linewalk proves that a chain of digital sensors is whole, powered and quiet."));
    for (size_t i = 0; lw_commands[i] != NULL; i++) {
        fprintf(to, "  %-12s %s\n", lw_commands[i]->name, _(lw_commands[i]->summary));
    }
    fprintf(to, "\n%s\n",
            _("linewalk COMMAND --help says more. Unique beginnings of a command do."));
    return to == stdout ? LW_EXIT_OK : LW_EXIT_USAGE;
}

// *found gets the command; returns how many begin like this.
static int find_command(const char *word, const struct lw_command **found)
{
    int count = 0;
    for (size_t i = 0; lw_commands[i] != NULL; i++) {
        if (strcmp(lw_commands[i]->name, word) == 0) {
            *found = lw_commands[i];
            return 1;
        }
        if (word[0] != '\0' && strncmp(lw_commands[i]->name, word, strlen(word)) == 0) {
            *found = lw_commands[i];
            count++;
        }
    }
    return count;
}

static int run_command(const char *word, int argc, char **argv)
{
    const struct lw_command *command = NULL;
    int count = find_command(word, &command);
    if (count != 1) {
        fprintf(stderr, "linewalk: %s\n",
                count == 0 ? _("no such command (linewalk --help lists them)")
                           : _("more than one command begins like this (linewalk --help)"));
        return LW_EXIT_USAGE;
    }
    struct lw_cli cli = {.command = command, .argc = argc, .argv = argv};
    int exit_status = command->run(&cli);
    lw_options_forget();
    return exit_status;
}

int main(int argc, char **argv)
{
    lw_cli_start();
    const char *slash = argc > 0 ? strrchr(argv[0], '/') : NULL;
    const char *name = slash != NULL ? slash + 1 : argc > 0 ? argv[0] : "linewalk";
    if (strncmp(name, "linewalk-", 9) == 0) {
        return run_command(name + 9, argc, argv);
    }
    if (argc < 2) {
        char *none[] = {argv[0], NULL};
        return run_command("visit", 1, none);
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0 ||
        strcmp(argv[1], "help") == 0) {
        return print_commands(stdout);
    }
    if (strcmp(argv[1], "--version") == 0) {
        printf("linewalk %s\n", LW_VERSION);
        return LW_EXIT_OK;
    }
    return run_command(argv[1], argc - 1, argv + 1);
}
