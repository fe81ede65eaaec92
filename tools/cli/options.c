// SPDX-License-Identifier: GPL-3.0-or-later
//
// popt splits the command line; what an option's text means is decided here, strictly, with one
// sentence for what is wrong.
#include "cli/options.h"

#include "base/number.h"
#include "base/text.h"

#include <popt.h>

enum { MOST_OPTIONS = 64 };

struct parsing {
    const struct lw_option *options[MOST_OPTIONS];
    struct poptOption popt[MOST_OPTIONS + 1];
    bool seen[MOST_OPTIONS];
    int count;
};

// What popt and this file allocated for the texts handed out.
static char *kept[MOST_OPTIONS + 16];
static size_t kept_count;

static char *keep(char *text)
{
    if (text != NULL && kept_count < sizeof kept / sizeof *kept) {
        kept[kept_count++] = text;
    }
    return text;
}

void lw_options_forget(void)
{
    while (kept_count > 0) {
        free(kept[--kept_count]);
    }
}

static void add_table(struct parsing *parsing, const struct lw_option *table)
{
    for (; table != NULL && table->name != NULL && parsing->count < MOST_OPTIONS; table++) {
        int i = parsing->count++;
        parsing->options[i] = table;
        parsing->popt[i] = (struct poptOption){
            .longName = table->name,
            .shortName = table->letter,
            .argInfo = table->kind == LW_OPTION_FLAG ? POPT_ARG_NONE : POPT_ARG_STRING,
            .val = i + 1,
        };
    }
}

static enum lw_status take(const struct lw_option *option, const char *text, struct lw_error *error)
{
    enum lw_status status = LW_OK;
    int64_t whole = 0;
    switch (option->kind) {
    case LW_OPTION_FLAG:
        *(bool *)option->into = true;
        break;
    case LW_OPTION_TEXT:
        *(const char **)option->into = text;
        break;
    case LW_OPTION_INTEGER:
        status =
            lw_number_integer(text, (int64_t)option->low, (int64_t)option->high, &whole, error);
        *(int *)option->into = (int)whole;
        break;
    case LW_OPTION_NUMBER:
        status = lw_number_real(text, option->low, option->high, false, option->into, error);
        break;
    case LW_OPTION_DURATION:
        status = lw_number_duration(text, option->low, option->high, option->into, error);
        break;
    case LW_OPTION_SIZE:
        status = lw_number_size(text, option->low, option->high, option->into, error);
        break;
    }
    return status == LW_OK ? LW_OK : lw_error_within(error, "--%s", option->name);
}

static enum lw_status bad_option(poptContext context, int val, struct lw_error *error)
{
    char bad[120];
    const char *option = poptBadOption(context, POPT_BADOPTION_NOALIAS);
    lw_text_clean(bad, sizeof bad, option, strlen(option));
    return val == POPT_ERROR_BADOPT
               ? lw_fail(error, LW_USAGE, "no such option: '%s' (--help lists them)", bad)
               : lw_fail(error, LW_USAGE, "'%s': %s", bad, poptStrerror(val));
}

static enum lw_status take_all(struct parsing *parsing, poptContext context, struct lw_error *error)
{
    int val;
    while ((val = poptGetNextOpt(context)) > 0) {
        const struct lw_option *option = parsing->options[val - 1];
        if (parsing->seen[val - 1]) {
            return lw_fail(error, LW_USAGE, "--%s is given twice", option->name);
        }
        parsing->seen[val - 1] = true;
        if (take(option, keep(poptGetOptArg(context)), error) != LW_OK) {
            return LW_USAGE;
        }
    }
    return val < -1 ? bad_option(context, val, error) : LW_OK;
}

static enum lw_status take_rest(poptContext context, const char **rest, int most,
                                struct lw_error *error)
{
    int count = 0;
    const char *argument;
    while ((argument = poptGetArg(context)) != NULL) {
        if (count == most) {
            char bad[120];
            lw_text_clean(bad, sizeof bad, argument, strlen(argument));
            return lw_fail(error, LW_USAGE, "what is '%s' for?", bad);
        }
        rest[count++] = keep(lw_duplicate(argument));
    }
    rest[count] = NULL;
    return LW_OK;
}

enum lw_status lw_options_parse(int argc, char **argv, const struct lw_option *own,
                                const struct lw_option *common, const char **rest, int most,
                                struct lw_error *error)
{
    struct parsing parsing = {.count = 0};
    add_table(&parsing, own);
    add_table(&parsing, common);
    poptContext context = poptGetContext("linewalk", argc, (const char **)argv, parsing.popt, 0);
    if (context == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for the command line");
    }
    enum lw_status status = take_all(&parsing, context, error);
    if (status == LW_OK) {
        status = take_rest(context, rest, most, error);
    }
    poptFreeContext(context);
    return status;
}

enum { HELP_INDENT = 30 };

void lw_help_text(const char *text, int column, int columns)
{
    int at = column;
    while (*text != '\0') {
        int word = (int)strcspn(text, " ");
        if (at > column && at + 1 + word > columns) {
            printf("\n%*s", column, "");
            at = column;
        } else if (at > column) {
            putchar(' ');
            at++;
        }
        printf("%.*s", word, text);
        at += word;
        text += word;
        text += strspn(text, " ");
    }
    putchar('\n');
}

void lw_options_help(const struct lw_option *options, int columns)
{
    for (; options != NULL && options->name != NULL; options++) {
        char head[64], letter[5] = "    ";
        if (options->letter != 0) {
            lw_print(letter, sizeof letter, "-%c, ", options->letter);
        }
        lw_print(head, sizeof head, "  %s--%s%s%s", letter, options->name,
                 options->argument != NULL ? " " : "",
                 options->argument != NULL ? options->argument : "");
        printf("%-*s", HELP_INDENT, head);
        if (strlen(head) >= HELP_INDENT) {
            printf("\n%*s", HELP_INDENT, "");
        }
        lw_help_text(options->help, HELP_INDENT, columns);
    }
}
