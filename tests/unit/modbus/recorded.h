// SPDX-License-Identifier: GPL-3.0-or-later
//
// Two real lines, recorded with a logic analyser: the io-module at 19200 8E1 and the sensor at 9600
// 8N1. From sigrok-dumps, uart/modbus_rtu (brainchild_io_16do, wizmodbus), in the public domain.
#ifndef TEST_MODBUS_RECORDED_H
#define TEST_MODBUS_RECORDED_H

#include "modbus/exchange.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

enum { RECORDED_MAX = 128 };

struct recorded {
    int64_t first_ns, end_ns;
    bool request;
    size_t count;
    uint8_t bytes[LW_RTU_MAX];
};

// "01 03 ..." up to a tab; returns how many bytes.
static inline size_t recorded_bytes(const char *hex, uint8_t *bytes)
{
    size_t count = 0;
    char *end;
    for (unsigned long byte = strtoul(hex, &end, 16); end != hex; byte = strtoul(hex, &end, 16)) {
        bytes[count++] = (uint8_t)byte;
        hex = end;
    }
    return count;
}

// Columns: time of the first byte, end, wire, direction, bytes, whether the CRC was right.
static inline size_t recorded_load(const char *name, struct recorded frames[RECORDED_MAX])
{
    char path[512], line[1200];
    size_t count = 0;
    snprintf(path, sizeof path, "%s/lines/%s.frames.tsv", TEST_DATA, name);
    FILE *file = fopen(path, "r");
    while (file != NULL && count < RECORDED_MAX && fgets(line, sizeof line, file) != NULL) {
        struct recorded *frame = &frames[count];
        char *rest;
        frame->first_ns = (int64_t)(strtod(line, &rest) * 1e9);
        frame->end_ns = (int64_t)(strtod(rest, &rest) * 1e9);
        char *direction = strstr(rest, "re");
        if (line[0] == '#' || direction == NULL) {
            continue;
        }
        frame->request = strncmp(direction, "request", 7) == 0;
        frame->count = recorded_bytes(strchr(direction, '\t') + 1, frame->bytes);
        count++;
    }
    if (file != NULL) {
        fclose(file);
    }
    return count;
}

#endif
