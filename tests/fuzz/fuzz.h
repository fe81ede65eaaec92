// SPDX-License-Identifier: GPL-3.0-or-later
//
// What all fuzz targets share. A broken property ends the process, with assertions off too.
#ifndef LW_TESTS_FUZZ_H
#define LW_TESTS_FUZZ_H

#include <stddef.h>
#include <stdint.h>

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

#define MUST(condition)                                                                            \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            fprintf(stderr, "%s:%d: not so: %s\n", __FILE__, __LINE__, #condition);                \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

#endif
