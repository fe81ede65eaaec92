// SPDX-License-Identifier: GPL-3.0-or-later
//
// Whether a laptop runs on its charger, from the kernel's list of power supplies: many chargers tie
// the laptop's 0 V, and with it that of every adapter without isolation, to protective earth.
#include "line/ports.h"

#include "base/text.h"

#include <dirent.h>
#include <string.h>

static bool read_word(const char *supply, const char *name, char word[32])
{
    char path[400];
    lw_print(path, sizeof path, "/sys/class/power_supply/%s/%s", supply, name);
    FILE *file = fopen(path, "r");
    bool got = file && fscanf(file, "%31s", word) == 1;
    if (file) {
        fclose(file);
    }
    return got;
}

// A mouse's battery is a supply, too: its scope is "Device", the machine's own has none or
// "System".
static bool is_of_machine(const char *supply)
{
    char word[32];
    return !read_word(supply, "scope", word) || strcmp(word, "Device") != 0;
}

enum lw_machine_power lw_machine_power(void)
{
    bool battery = false, charger = false;
    DIR *folder = opendir("/sys/class/power_supply");
    for (struct dirent *entry = NULL; folder && (entry = readdir(folder));) {
        char type[32], online[32];
        if (entry->d_name[0] == '.' || !read_word(entry->d_name, "type", type) ||
            !is_of_machine(entry->d_name)) {
            continue;
        }
        battery |= strcmp(type, "Battery") == 0;
        charger |= (strcmp(type, "Mains") == 0 || strcmp(type, "USB") == 0) &&
                   read_word(entry->d_name, "online", online) && online[0] == '1';
    }
    if (folder) {
        closedir(folder);
    }
    return !battery ? LW_POWER_UNKNOWN : charger ? LW_POWER_CHARGER : LW_POWER_BATTERY;
}
