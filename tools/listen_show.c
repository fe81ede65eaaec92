// SPDX-License-Identifier: GPL-3.0-or-later
//
// What was heard, for people: in place while it goes on, as a table at the end.
#include "listening.h"

#include "base/text.h"
#include "cli/output.h"

enum { LIVE_LINES = 20, EVENTS_SHOWN = 40 };

static const char *asks_for(const struct lw_listen_read *read, char *text, size_t size)
{
    if (read->start < 0) {
        lw_print(text, size, "%02X", (unsigned)read->function);
    } else {
        lw_print(text, size, "%02X at %d, %d", (unsigned)read->function, read->start, read->count);
    }
    return text;
}

static void add_count(char *text, size_t size, double count, const char *what)
{
    if (count > 0) {
        char before[160];
        lw_copy(before, sizeof before, text);
        lw_print(text, size, "%s%s%.0f %s", before, before[0] != '\0' ? ", " : "", count, what);
    }
}

static void print_read(struct lw_cli_table *table, const struct lw_listen_read *read)
{
    char address[12], asks[40], errors[160] = "";
    lw_print(address, sizeof address, "%d", read->address);
    add_count(errors, sizeof errors, read->unanswered, "silent");
    add_count(errors, sizeof errors, read->damaged, "damaged");
    add_count(errors, sizeof errors, read->wrong, "wrong");
    add_count(errors, sizeof errors, read->exceptions, "refused");
    const char *const cells[] = {
        lw_cell_text(read->node),
        address,
        asks_for(read, asks, sizeof asks),
        lw_cell_number(read->period_ms.p50, 0),
        lw_cell_count(read->requests),
        lw_cell_count(read->replies),
        lw_cell_number(read->reply_ms.p50, 1),
        errors,
    };
    lw_cli_table_row(table, cells);
}

static void print_reads(const struct lw_listen_result *result)
{
    static const char *const heads[] = {"node",     "address|",  "asked for", "every ms|", "asked|",
                                        "answers|", "reply ms|", "errors",    NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_listen_read *reads = result->reads.items;
    for (size_t i = 0; i < result->reads.count; i++) {
        print_read(table, &reads[i]);
    }
    lw_cli_table_print(table);
}

static void print_framing(const struct lw_listen_result *result)
{
    const struct lw_listen_framing *framing = &result->framing;
    printf("heard for %.1f s", result->elapsed_s);
    if (framing->found && !framing->given) {
        printf(" at %s, found after %.2f s with %d change%s of framing", framing->framing,
               framing->found_after_s, framing->switches, framing->switches == 1 ? "" : "s");
    } else if (framing->framing != NULL) {
        printf(" at %s", framing->framing);
    } else if (result->bytes > 0 && framing->switches > 0) {
        printf(", no framing found in %d changes", framing->switches);
    }
    putchar('\n');
}

static void print_event(const struct lw_listen_event *event)
{
    char lead[LW_TIME_TEXT + 4], line[600];
    char *const *captures = event->captures.items;
    lw_print(lead, sizeof lead, "%s ", event->from != NULL ? event->from : "-");
    lw_print(line, sizeof line, "%s%s%s%s", event->says != NULL ? event->says : event->kind,
             event->captures.count > 0 ? " (" : "", event->captures.count > 0 ? captures[0] : "",
             event->captures.count > 0 ? ")" : "");
    lw_print_wrapped(lead, (int)strlen(lead), (int)strlen(lead), line);
}

static void print_events(const struct lw_listen_result *result)
{
    const struct lw_listen_event *events = result->events.items;
    if (!isfinite(result->events_in_all)) {
        return;
    }
    printf("\n%.0f event%s", result->events_in_all, result->events_in_all == 1 ? "" : "s");
    printf("; the captures took %.1f MB of disk at the most\n", result->most_bytes / 1e6);
    for (size_t i = 0; i < result->events.count && i < EVENTS_SHOWN; i++) {
        print_event(&events[i]);
    }
    if (result->events_in_all > EVENTS_SHOWN) {
        printf("... the others stand in events.csv\n");
    }
}

void listening_print(const struct lw_listen_result *result)
{
    if (result->bytes == 0) {
        printf("not a byte in %.1f s: nobody asks on this line, or it is not connected\n",
               result->elapsed_s);
        print_events(result);
        return;
    }
    print_framing(result);
    if (result->reads.count > 0) {
        putchar('\n');
        print_reads(result);
    }
    printf("\ncycle %s ms, longest %s ms; bus load %s %%, %s %% in the busiest second\n",
           lw_cell_number(result->cycle_ms.p50, 0), lw_cell_number(result->cycle_ms.max, 0),
           lw_cell_number(result->bus_load_pct, 1), lw_cell_number(result->busiest_second_pct, 1));
    printf("%.0f bytes, %.0f frames, %.0f damaged; %.0f questions, %.0f without a good answer, "
           "%.0f refused\n",
           result->bytes, result->frames, result->crc_errors, result->exchanges, result->unanswered,
           result->exceptions);
    if (result->crossed + result->orphans > 0) {
        printf("%.0f questions while another was open, %.0f answers without a question\n",
               result->crossed, result->orphans);
    }
    print_events(result);
}

static void show_totals(const struct lw_line *line, const struct lw_listen_result *result)
{
    const char *framing = line != NULL && line->framed ? "framing not known yet" : "no framing";
    fprintf(stderr, "%.0f s, %s, cycle %s ms, load %s %%, %.0f questions\n", result->elapsed_s,
            result->framing.framing != NULL ? result->framing.framing : framing,
            lw_cell_number(result->cycle_ms.p50, 0), lw_cell_number(result->bus_load_pct, 1),
            result->exchanges);
    fprintf(stderr, "%.0f unanswered, %.0f damaged, %.0f refused, %.0f bytes\n", result->unanswered,
            result->crc_errors, result->exceptions, result->bytes);
}

static void show_read(const struct lw_listen_read *read)
{
    char asks[40];
    fprintf(stderr, "  %3d %-8s %-16s every %s ms, reply %s ms, %.0f of %.0f answered\n",
            read->address, read->node != NULL ? read->node : "", asks_for(read, asks, sizeof asks),
            lw_cell_number(read->period_ms.p50, 0), lw_cell_number(read->reply_ms.p50, 1),
            read->replies, read->requests);
}

void listening_show(struct listening *listening)
{
    struct lw_session *session = listening->session;
    const int64_t interval_ns = 500000000;
    int64_t now_ns = lw_clock_now_ns(&session->system);
    struct lw_listen_result result;
    if (session->cli->settings.quiet || !lw_cli_progress_terminal() ||
        now_ns - listening->shown_ns < interval_ns ||
        lw_listener_result(listening->listener, &result, NULL) != LW_OK) {
        return;
    }
    listening->shown_ns = now_ns;
    listening_erase(listening);
    show_totals(session->line, &result);
    listening->lines_shown = 2;
    const struct lw_listen_read *reads = result.reads.items;
    for (size_t i = 0; i < result.reads.count && listening->lines_shown < LIVE_LINES; i++) {
        show_read(&reads[i]);
        listening->lines_shown++;
    }
    lw_json_free(&lw_listen_shape, &result);
}

void listening_erase(struct listening *listening)
{
    for (; listening->lines_shown > 0; listening->lines_shown--) {
        fputs("\033[A\033[2K", stderr);
    }
}
