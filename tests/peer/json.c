// SPDX-License-Identifier: GPL-3.0-or-later
//
// Answers test_json.py: with the argument "schema" it prints the sample's schema, else it reads
// documents from standard input, one a line in hexadecimal, and prints for each "syntax" or
// "content" when it was refused there, or "ok " and what the writer makes of it.
#include "../unit/base/sample.h"

#include <sodium.h>

static void answer(const char *json, size_t length)
{
    struct sample sample;
    struct lw_text out = {0};
    struct lw_error error = {0};
    if (lw_json_scan(json, length, &error) != LW_OK) {
        puts("syntax");
        return;
    }
    if (lw_json_read(&sample_shape, json, length, &sample, &error) != LW_OK) {
        puts("content");
        return;
    }
    enum lw_status status = lw_json_write(&sample_shape, &sample, false, &out, &error);
    printf("%s %s\n", status == LW_OK ? "ok" : "unwritable", status == LW_OK ? out.bytes : "");
    lw_text_finish(&out);
    lw_json_free(&sample_shape, &sample);
}

static int print_schema(void)
{
    struct lw_text out = {0};
    struct lw_error error = {0};
    enum lw_status status = lw_json_schema(&sample_shape, "sample", &out, &error);
    fputs(status == LW_OK ? out.bytes : error.says, stdout);
    lw_text_finish(&out);
    return status == LW_OK ? 0 : 1;
}

int main(int argc, char **argv)
{
    static char line[40000];
    static unsigned char bytes[sizeof line / 2];
    if (argc == 2 && strcmp(argv[1], "schema") == 0) {
        return print_schema();
    }
    while (fgets(line, sizeof line, stdin) != NULL) {
        size_t length = 0;
        size_t digits = strcspn(line, "\n");
        if (sodium_hex2bin(bytes, sizeof bytes, line, digits, NULL, &length, NULL) != 0) {
            return 1;
        }
        answer((const char *)bytes, length);
    }
    return 0;
}
