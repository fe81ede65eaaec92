// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reads registers with libmodbus as a client: libmodbus_reader DEVICE ADDRESS FUNCTION REGISTER
// COUNT, prints them as decimal numbers in one line.
#include <modbus.h>

static int number(const char *word)
{
    return (int)strtol(word, NULL, 10);
}

int main(int count, char **words)
{
    uint16_t cells[125];
    if (count != 6) {
        return 2;
    }
    modbus_t *client = modbus_new_rtu(words[1], 19200, 'N', 8, 2);
    if (client == NULL || modbus_set_slave(client, number(words[2])) != 0 ||
        modbus_set_response_timeout(client, 2, 0) != 0 || modbus_connect(client) != 0) {
        return 1;
    }
    int wanted = number(words[5]);
    int got = number(words[3]) == 3
                  ? modbus_read_registers(client, number(words[4]), wanted, cells)
                  : modbus_read_input_registers(client, number(words[4]), wanted, cells);
    for (int i = 0; i < got; i++) {
        printf("%u%s", cells[i], i + 1 < got ? " " : "\n");
    }
    modbus_close(client);
    modbus_free(client);
    return got == wanted ? 0 : 1;
}
