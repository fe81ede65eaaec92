// SPDX-License-Identifier: GPL-3.0-or-later
//
// Drawing with ncurses. From top to bottom: a title; the whole chain as a rope of signs, one a
// node; how many are how, or what stands out; the nodes, down one column and then the next; the
// last events; the keys. Rows are kept as they were drawn, since writing a cell that has not
// changed costs more than comparing it.
#include "watch_screen.h"

#include "base/text.h"
#include "cli/cli.h"

#include <curses.h>
#include <limits.h>
#include <wchar.h>

enum { NODES_MOST = 256, GROUP = 10, LABEL = 6 };
enum { PAIR_TROUBLE = 1, PAIR_WARNING, PAIR_MARK };

struct drawn {
    int row, column;
    attr_t look;
    char *text;
};

struct lw_screen {
    SCREEN *terminal;
    bool colours, bell, frozen, by_trouble, typing, changed;
    int64_t frozen_ns;
    size_t cursor, order[NODES_MOST];
    int64_t ordered_ns;
    size_t page; // nodes a screenful
    int columns_of_page, rows_of_page;
    struct drawn cells[NODES_MOST];
    char mark[LW_LIVE_TEXT];
    wchar_t typed[LW_LIVE_TEXT];
    size_t typed_count;
};

static void add_sequence(char leave[256], const char *name)
{
    const char *sequence = tigetstr(name);
    size_t length = strlen(leave);
    if (sequence == NULL || sequence == (const char *)-1) {
        return;
    }
    while (*sequence != '\0' && length < 255) {
        if (sequence[0] == '$' && sequence[1] == '<') { // a pause for slow terminals
            const char *end = strchr(sequence, '>');
            sequence = end != NULL ? end + 1 : sequence + 1;
            continue;
        }
        leave[length++] = *sequence++;
    }
    leave[length] = '\0';
}

// What leaves the full screen when ncurses cannot be called any more.
static void guard(void)
{
    char leave[256] = "";
    add_sequence(leave, "sgr0");
    add_sequence(leave, "cnorm");
    add_sequence(leave, "rmkx");
    add_sequence(leave, "rmcup");
    lw_cli_guard_terminal(leave);
}

static void start_colours(struct lw_screen *screen)
{
    screen->colours = lw_cli_colour() && has_colors() && start_color() == OK;
    if (screen->colours) {
        use_default_colors();
        init_pair(PAIR_TROUBLE, COLOR_RED, -1);
        init_pair(PAIR_WARNING, COLOR_YELLOW, -1);
        init_pair(PAIR_MARK, COLOR_CYAN, -1);
    }
}

enum lw_status lw_screen_open(bool bell, struct lw_screen **screen, struct lw_error *error)
{
    struct lw_screen *made = calloc(1, sizeof *made);
    if (made == NULL) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    unsetenv("COLUMNS"); // the terminal's own size, as it is and as it changes
    unsetenv("LINES");
    lw_cli_guard_terminal("");
    made->terminal = newterm(NULL, stdout, stdin);
    if (made->terminal == NULL) {
        lw_cli_guard_terminal(NULL);
        free(made);
        return lw_fail(error, LW_USAGE, "this terminal cannot show a full screen");
    }
    guard();
    cbreak();
    noecho();
    nodelay(stdscr, TRUE);
    keypad(stdscr, TRUE);
    set_escdelay(25);
    curs_set(0);
    start_colours(made);
    made->bell = bell;
    made->changed = true;
    *screen = made;
    return LW_OK;
}

static void forget_cells(struct lw_screen *screen)
{
    for (size_t i = 0; i < NODES_MOST; i++) {
        free(screen->cells[i].text);
        screen->cells[i] = (struct drawn){0};
    }
}

void lw_screen_close(struct lw_screen *screen)
{
    if (screen != NULL) {
        endwin();
        delscreen(screen->terminal);
        lw_cli_guard_terminal(NULL);
        forget_cells(screen);
        free(screen);
    }
}

static attr_t colour(const struct lw_screen *screen, int pair)
{
    return screen->colours ? (attr_t)COLOR_PAIR(pair) : 0;
}

static attr_t look_of(const struct lw_screen *screen, enum lw_live_state state)
{
    switch (state) {
    case LW_LIVE_OUT:
    case LW_LIVE_MISSED:
    case LW_LIVE_GARBLED:
    case LW_LIVE_REFUSES:
        return A_BOLD | colour(screen, PAIR_TROUBLE);
    case LW_LIVE_BACK:
    case LW_LIVE_JUMPED:
    case LW_LIVE_FLAGGED:
    case LW_LIVE_LOW:
    case LW_LIVE_BEYOND:
        return A_BOLD | colour(screen, PAIR_WARNING);
    case LW_LIVE_WELL:
    case LW_LIVE_WAITING:
        break;
    }
    return A_NORMAL;
}

// A whole row.
static void put_row(int row, attr_t look, const char *text)
{
    char fitted[LW_ROW];
    if (row < 0 || row >= LINES) {
        return;
    }
    lw_row_fit(fitted, sizeof fitted, text, COLS, false);
    attrset(look);
    mvaddstr(row, 0, fitted);
    attrset(A_NORMAL);
}

static void draw_title(const struct lw_live *live, const struct lw_watch_view *view)
{
    char left[LW_ROW], right[160], row[LW_ROW];
    long seconds = (long)lw_live_seconds(live, view->now_ns);
    lw_print(right, sizeof right, " %s%s %02ld:%02ld:%02ld %4.0f/s ",
             view->simulated ? _("SIMULATED ") : "", view->recorded ? "" : _("not recorded "),
             seconds / 3600, seconds / 60 % 60, seconds % 60, view->polls_per_s);
    int room = COLS - (int)lw_text_columns(right);
    lw_print(row, sizeof row, " linewalk watch  %s", view->title);
    lw_row_fit(left, sizeof left, row, room > 0 ? room : 0, false);
    lw_print(row, sizeof row, "%s%s", left, right);
    put_row(0, A_REVERSE, row);
}

// Signs a row of the rope.
static int rope_signs(void)
{
    int groups = (COLS - LABEL) / (GROUP + 1);
    return groups > 0 ? groups * GROUP : GROUP;
}

static int rope_rows(const struct lw_live *live)
{
    int signs = rope_signs();
    return ((int)lw_live_count(live) + signs - 1) / signs;
}

static void draw_rope_row(const struct lw_screen *screen, const struct lw_live *live,
                          int64_t now_ns, int row)
{
    char label[64];
    size_t signs = (size_t)rope_signs(), from = (size_t)row * signs;
    put_row(1 + row, A_NORMAL, "");
    lw_row_fit(label, sizeof label, lw_live_node(live, from)->entry->node, LABEL, false);
    mvaddstr(1 + row, 0, label);
    for (size_t i = from; i < from + signs && i < lw_live_count(live); i++) {
        enum lw_live_state state = lw_live_state(live, i, now_ns);
        if (i > from && (i - from) % GROUP == 0) {
            addch('-');
        }
        attr_t chosen = i == screen->cursor ? A_REVERSE : A_NORMAL;
        addch((chtype)(unsigned char)lw_live_sign(state) | look_of(screen, state) | chosen);
    }
    if (from + signs < lw_live_count(live)) {
        addch('-');
    }
}

// What stands out takes the place of the counts.
static void draw_summary(const struct lw_screen *screen, const struct lw_live *live,
                         const struct lw_watch_view *view, int row)
{
    char text[LW_ROW];
    size_t from = lw_live_break(live);
    if (lw_live_is_lost(live)) {
        put_row(row, A_BOLD | A_REVERSE | colour(screen, PAIR_TROUBLE),
                _(" LINE GONE: plug the tester's adapter in again; it is looked for "));
    } else if (from != SIZE_MAX) {
        const struct lw_live_node *node = lw_live_node(live, from);
        lw_print(text, sizeof text, _(" ALL SILENT FROM %s TO THE END: look at span %zu "),
                 node->entry->node, node->tap);
        put_row(row, A_BOLD | A_REVERSE | colour(screen, PAIR_TROUBLE), text);
    } else {
        put_row(row, A_NORMAL, lw_row_counts(live, view->now_ns, text, sizeof text));
    }
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

// How the nodes stand: as few columns as hold all, as many as have room.
static void lay_out(struct lw_screen *screen, size_t count, int rows)
{
    int most = COLS / LW_CELL_NARROW > 0 ? COLS / LW_CELL_NARROW : 1;
    int wanted = ((int)count + rows - 1) / rows;
    int columns = wanted < most ? wanted : most;
    size_t page = (size_t)(rows * columns);
    if (page != screen->page || columns != screen->columns_of_page ||
        rows != screen->rows_of_page) {
        screen->changed = true;
    }
    screen->page = page;
    screen->columns_of_page = columns;
    screen->rows_of_page = rows;
}

static size_t place_of_cursor(const struct lw_screen *screen, size_t count)
{
    size_t place = 0;
    while (place + 1 < count && screen->order[place] != screen->cursor) {
        place++;
    }
    return place;
}

static void draw_cell(struct lw_screen *screen, size_t slot, int row, int column, attr_t look,
                      const char *text)
{
    struct drawn *cell = &screen->cells[slot];
    if (cell->text != NULL && cell->row == row && cell->column == column && cell->look == look &&
        strcmp(cell->text, text) == 0) {
        return;
    }
    free(cell->text);
    *cell = (struct drawn){row, column, look, lw_duplicate(text)};
    attrset(look);
    mvaddstr(row, column, text);
    attrset(A_NORMAL);
}

static void draw_nodes(struct lw_screen *screen, const struct lw_live *live, int64_t now_ns,
                       int top, int rows)
{
    char text[LW_ROW];
    size_t count = lw_live_count(live);
    lay_out(screen, count, rows);
    if (screen->changed) {
        forget_cells(screen);
        for (int row = top; row < top + rows; row++) {
            put_row(row, A_NORMAL, "");
        }
    }
    size_t first = place_of_cursor(screen, count) / screen->page * screen->page;
    int width = COLS / screen->columns_of_page;
    for (size_t slot = 0; slot < screen->page && slot < NODES_MOST; slot++) {
        int column = (int)slot / rows * width, row = top + (int)slot % rows;
        if (first + slot >= count) {
            lw_row_fit(text, sizeof text, "", width, false);
            draw_cell(screen, slot, row, column, A_NORMAL, text);
            continue;
        }
        size_t index = screen->order[first + slot];
        attr_t look = look_of(screen, lw_live_state(live, index, now_ns)) |
                      (index == screen->cursor ? A_REVERSE : A_NORMAL);
        int columns = width > LW_CELL_NARROW ? width - 1 : width;
        lw_row_cell(live, index, now_ns, columns, text, sizeof text);
        draw_cell(screen, slot, row, column, look, text);
    }
}

static void draw_events(const struct lw_screen *screen, const struct lw_live *live,
                        const struct lw_watch_view *view, int top, int rows)
{
    char text[LW_ROW];
    size_t count = lw_live_events(live);
    size_t shown = smaller(count, (size_t)rows);
    for (int row = 0; row < rows; row++) {
        if ((size_t)row >= shown) {
            put_row(top + row, A_NORMAL, "");
            continue;
        }
        const struct lw_live_event *event = lw_live_event(live, count - shown + (size_t)row);
        attr_t look = event->what == LW_LIVE_MARK ? A_BOLD | colour(screen, PAIR_MARK) : A_NORMAL;
        put_row(top + row, look,
                lw_row_event(live, event, view->sentences, COLS, text, sizeof text));
    }
}

static void draw_divider(const struct lw_screen *screen, const struct lw_live *live, int row)
{
    char text[LW_ROW];
    size_t count = lw_live_count(live), hands = lw_live_hands_at(live);
    size_t place = place_of_cursor(screen, count),
           pages = (count + screen->page - 1) / screen->page;
    lw_print(text, sizeof text, _("== %.0f events  page %zu of %zu  %s  hands: %s  bell: %s "),
             lw_live_events_in_all(live), place / screen->page + 1, pages,
             screen->by_trouble ? _("worst first") : _("as on the chain"),
             hands == SIZE_MAX ? "-" : lw_live_node(live, hands)->entry->node,
             screen->bell ? _("on") : _("off"));
    size_t length = strlen(text);
    for (int column = (int)lw_text_columns(text); column < COLS && length + 1 < sizeof text;
         column++) {
        text[length++] = '=';
    }
    text[length] = '\0';
    put_row(row, A_NORMAL, text);
}

static void typed_text(const struct lw_screen *screen, char *text, size_t size)
{
    size_t length = 0;
    mbstate_t state = {0};
    for (size_t i = 0; i < screen->typed_count && length + MB_LEN_MAX < size; i++) {
        size_t more = wcrtomb(text + length, screen->typed[i], &state);
        length += more != (size_t)-1 ? more : 0;
    }
    text[length] = '\0';
}

static void draw_keys(const struct lw_screen *screen, const struct lw_live *live,
                      const struct lw_watch_view *view)
{
    char text[LW_ROW], typed[LW_LIVE_TEXT + MB_LEN_MAX];
    if (screen->typing) {
        typed_text(screen, typed, sizeof typed);
        lw_print(text, sizeof text, _("mark: %s_  (Enter keeps it, Esc does not)"), typed);
        put_row(LINES - 1, A_BOLD, text);
    } else if (view->held) {
        put_row(LINES - 1, A_REVERSE,
                _("OVER: the last picture stays; q ends  t sorts  arrows move"));
    } else if (screen->frozen) {
        lw_print(text, sizeof text, _("FROZEN at %.2f s; recording goes on; space goes on drawing"),
                 lw_live_seconds(live, screen->frozen_ns));
        put_row(LINES - 1, A_REVERSE, text);
    } else {
        put_row(LINES - 1, A_NORMAL,
                _("q ends  space freezes  t sorts  m marks  h hands here  b bell  arrows move"));
    }
}

static void follow_order(struct lw_screen *screen, const struct lw_live *live,
                         const struct lw_watch_view *view)
{
    const int64_t stands_ns = 1000000000; // rows that jump about cannot be read
    if (screen->changed || view->held || view->now_ns - screen->ordered_ns >= stands_ns) {
        lw_live_order(live, screen->by_trouble, view->now_ns, screen->order);
        screen->ordered_ns = view->now_ns;
    }
}

// What the nodes leave of the room, within bounds.
static int event_rows(int room, size_t count)
{
    enum { LEAST = 4, MOST = 10 };
    int columns = COLS / LW_CELL_NARROW > 0 ? COLS / LW_CELL_NARROW : 1;
    int left = room - ((int)count + columns - 1) / columns;
    return left < LEAST ? LEAST : left > MOST ? MOST : left;
}

static void draw_picture(struct lw_screen *screen, const struct lw_live *live,
                         const struct lw_watch_view *view)
{
    int rope = rope_rows(live), top = 2 + rope;
    int events = event_rows(LINES - top - 2, lw_live_count(live));
    int rows = LINES - top - events - 2;
    draw_title(live, view);
    for (int row = 0; row < rope; row++) {
        draw_rope_row(screen, live, view->now_ns, row);
    }
    draw_summary(screen, live, view, 1 + rope);
    follow_order(screen, live, view);
    draw_nodes(screen, live, view->now_ns, top, rows > 1 ? rows : 1);
    draw_divider(screen, live, LINES - events - 2);
    draw_events(screen, live, view, LINES - events - 1, events);
    screen->changed = false;
}

void lw_screen_draw(struct lw_screen *screen, const struct lw_live *live,
                    const struct lw_watch_view *view)
{
    if (!screen->frozen) {
        draw_picture(screen, live, view);
        screen->frozen_ns = view->now_ns;
    }
    draw_keys(screen, live, view);
    refresh();
}

static void move_cursor(struct lw_screen *screen, size_t count, long by)
{
    long place = (long)place_of_cursor(screen, count) + by;
    place = place < 0 ? 0 : place >= (long)count ? (long)count - 1 : place;
    size_t page = screen->page > 0 ? screen->page : 1;
    screen->changed |= (size_t)place / page != place_of_cursor(screen, count) / page;
    screen->cursor = screen->order[place];
}

static enum lw_watch_key type_key(struct lw_screen *screen, bool special, wint_t key)
{
    bool enter = key == L'\n' || key == L'\r' || (special && key == KEY_ENTER);
    bool rubout = key == 127 || key == L'\b' || (special && key == KEY_BACKSPACE);
    if (enter || key == 27) {
        typed_text(screen, screen->mark, sizeof screen->mark);
        screen->typing = false;
        screen->typed_count = 0;
        return enter ? LW_KEY_MARK : LW_KEY_DRAW;
    }
    if (rubout) {
        screen->typed_count -= screen->typed_count > 0;
    } else if (!special && key >= L' ' &&
               screen->typed_count < sizeof screen->typed / sizeof *screen->typed) {
        screen->typed[screen->typed_count++] = (wchar_t)key;
    }
    return LW_KEY_DRAW;
}

static enum lw_watch_key move_key(struct lw_screen *screen, size_t count, wint_t key)
{
    long rows = screen->rows_of_page, page = (long)screen->page;
    switch (key) {
    case KEY_UP:
        move_cursor(screen, count, -1);
        break;
    case KEY_DOWN:
        move_cursor(screen, count, 1);
        break;
    case KEY_LEFT:
        move_cursor(screen, count, -rows);
        break;
    case KEY_RIGHT:
        move_cursor(screen, count, rows);
        break;
    case KEY_PPAGE:
        move_cursor(screen, count, -page);
        break;
    case KEY_NPAGE:
        move_cursor(screen, count, page);
        break;
    case KEY_HOME:
        move_cursor(screen, count, -(long)count);
        break;
    case KEY_END:
        move_cursor(screen, count, (long)count);
        break;
    case KEY_RESIZE: // a frozen picture of another size is none
        screen->changed = true;
        screen->frozen = false;
        clear();
        break;
    default:
        return LW_KEY_NONE;
    }
    return LW_KEY_DRAW;
}

static enum lw_watch_key plain_key(struct lw_screen *screen, wint_t key)
{
    switch (key) {
    case L'q':
        return LW_KEY_QUIT;
    case L'h':
        return LW_KEY_HANDS;
    case L'm':
        screen->typing = true;
        return LW_KEY_DRAW;
    case L' ':
        screen->frozen = !screen->frozen;
        screen->changed = true;
        return LW_KEY_DRAW;
    case L't':
        screen->by_trouble = !screen->by_trouble;
        screen->changed = true;
        return LW_KEY_DRAW;
    case L'b':
        screen->bell = !screen->bell;
        return LW_KEY_DRAW;
    default:
        return LW_KEY_NONE;
    }
}

enum lw_watch_key lw_screen_key(struct lw_screen *screen, const struct lw_live *live)
{
    wint_t key;
    int kind = get_wch(&key);
    if (kind == ERR) {
        return LW_KEY_NONE;
    }
    bool special = kind == KEY_CODE_YES;
    if (special && key == KEY_RESIZE) {
        return move_key(screen, lw_live_count(live), key);
    }
    if (screen->typing) {
        return type_key(screen, special, key);
    }
    return special ? move_key(screen, lw_live_count(live), key) : plain_key(screen, key);
}

size_t lw_screen_cursor(const struct lw_screen *screen)
{
    return screen->cursor;
}

const char *lw_screen_mark(const struct lw_screen *screen)
{
    return screen->mark;
}

void lw_screen_bell(struct lw_screen *screen)
{
    if (screen->bell) {
        beep();
    }
}
