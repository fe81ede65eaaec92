// SPDX-License-Identifier: GPL-3.0-or-later
//
// The growing array: its room is the next power of two, at least four items.
#include "base/list.h"

#include <stdbool.h>
#include <stdint.h>

enum { FIRST_ROOM = 4 };

static bool is_full(size_t count)
{
    return count == 0 || (count >= FIRST_ROOM && (count & (count - 1)) == 0);
}

void *lw_list_add(struct lw_list *list, size_t size)
{
    if (is_full(list->count)) {
        size_t room = list->count == 0 ? FIRST_ROOM : list->count * 2;
        if (room > SIZE_MAX / size) {
            return NULL;
        }
        void *items = realloc(list->items, room * size);
        if (items == NULL) {
            return NULL;
        }
        list->items = items;
    }
    void *item = (char *)list->items + list->count * size;
    list->count++;
    return memset(item, 0, size);
}
