// SPDX-License-Identifier: GPL-3.0-or-later
//
// The full screen of the watch: draws a model, takes keys. Only what has changed is drawn anew.
#ifndef LW_TOOLS_WATCH_SCREEN_H
#define LW_TOOLS_WATCH_SCREEN_H

#include "watch_rows.h"

enum lw_watch_key {
    LW_KEY_NONE,
    LW_KEY_QUIT,
    LW_KEY_DRAW, // something about the view has changed
    LW_KEY_HANDS,
    LW_KEY_MARK, // a mark was typed; see lw_screen_mark()
};

// What stands around the chain. Borrowed while it is drawn.
struct lw_watch_view {
    const char *title; // machine and line
    const struct lw_sentences *sentences;
    double polls_per_s;
    int64_t now_ns;
    bool simulated, recorded;
    bool held; // the watch is over, the picture stays
};

struct lw_screen; // opaque, ours

// Takes over the terminal. LW_USAGE when it cannot show a full screen, LW_MEMORY.
enum lw_status lw_screen_open(bool bell, struct lw_screen **screen, struct lw_error *error);
// Puts the terminal back as it was found. NULL is allowed.
void lw_screen_close(struct lw_screen *screen);

void lw_screen_draw(struct lw_screen *screen, const struct lw_live *live,
                    const struct lw_watch_view *view);
// The next key that was pressed, without waiting.
enum lw_watch_key lw_screen_key(struct lw_screen *screen, const struct lw_live *live);
size_t lw_screen_cursor(const struct lw_screen *screen); // index of the node chosen
const char *lw_screen_mark(const struct lw_screen *screen);
void lw_screen_bell(struct lw_screen *screen); // unless it is switched off

#endif
