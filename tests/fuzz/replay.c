// SPDX-License-Identifier: GPL-3.0-or-later
//
// Runs a fuzz target over the files of a folder: its corpus, in the ordinary tests.
#include "fuzz.h"

#include "base/file.h"
#include "base/json.h"

static int replay(const char *folder, const char *name)
{
    char path[LW_PATH];
    struct lw_text text = {0};
    struct lw_error error = {0};
    if (!lw_path_join(path, sizeof path, folder, name) ||
        lw_file_read(path, 1 << 24, &text, &error) != LW_OK) {
        fprintf(stderr, "%s: %s\n", name, error.says);
        return 1;
    }
    LLVMFuzzerTestOneInput((const uint8_t *)text.bytes, text.length);
    lw_text_finish(&text);
    return 0;
}

int main(int count, char **words)
{
    struct lw_list names = {0};
    struct lw_error error = {0};
    if (count != 2 || lw_folder_names(words[1], &names, &error) != LW_OK || names.count == 0) {
        fprintf(stderr, "replay FOLDER (with at least one file): %s\n", error.says);
        return 2;
    }
    int failed = 0;
    for (size_t i = 0; i < names.count; i++) {
        failed |= replay(words[1], ((char **)names.items)[i]);
    }
    printf("%zu inputs\n", names.count);
    lw_names_free(&names);
    return failed;
}
