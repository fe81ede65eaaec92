// SPDX-License-Identifier: GPL-3.0-or-later
//
// A libmodbus master for a served chain: `libmodbus_master rtu PATH` or `tcp PORT`. Takes lines
// "ADDRESS FUNCTION START COUNT" (3 or 4) and prints the registers in hexadecimal, or "error".
#include <modbus.h>

#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int read_words(modbus_t *modbus, int function, int start, int count, uint16_t *words)
{
    return function == 3 ? modbus_read_registers(modbus, start, count, words)
                         : modbus_read_input_registers(modbus, start, count, words);
}

int main(int argc, char **argv)
{
    if (argc != 3) {
        return 2;
    }
    modbus_t *modbus = strcmp(argv[1], "rtu") == 0
                           ? modbus_new_rtu(argv[2], 19200, 'E', 8, 1)
                           : modbus_new_tcp("127.0.0.1", (int)strtol(argv[2], NULL, 10));
    if (!modbus || modbus_set_response_timeout(modbus, 2, 0) != 0 || modbus_connect(modbus) != 0) {
        return 3;
    }
    int address, function, start, count;
    puts("ready");
    fflush(stdout);
    while (scanf("%d %d %d %d", &address, &function, &start, &count) == 4) {
        uint16_t words[MODBUS_MAX_READ_REGISTERS];
        modbus_set_slave(modbus, address);
        int taken = read_words(modbus, function, start, count, words);
        if (taken != count) {
            printf("error %s\n", modbus_strerror(errno));
        }
        for (int i = 0; i < taken; i++) {
            printf("%04x%c", words[i], i + 1 < taken ? ' ' : '\n');
        }
        fflush(stdout);
    }
    modbus_close(modbus);
    modbus_free(modbus);
    return 0;
}
