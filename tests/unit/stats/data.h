// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reads the reference data that stands in tests/data. Tests stop where it is missing.
#ifndef LW_TEST_DATA_H
#define LW_TEST_DATA_H

#include <stddef.h>

// The last comma-separated column of each line that starts like a number, into value[most].
// Returns how many.
size_t data_read(const char *name, double *value, size_t most);

#endif
