// SPDX-License-Identifier: GPL-3.0-or-later
//
// A growing array of equal items. It remembers no room: that follows from the count, so a list that
// is added to must have been made by adding, from `struct lw_list list = {0};`.
#ifndef LW_BASE_LIST_H
#define LW_BASE_LIST_H

#include <stddef.h>

// `items` is one malloc'd block of `count` items, or NULL.
struct lw_list {
    void *items;
    size_t count;
};

// Grows a list by one zeroed item of `size` and returns it, NULL when memory is out. Items may move
// at each call. Taking items off the end by lowering `count` is allowed.
void *lw_list_add(struct lw_list *list, size_t size);

#endif
