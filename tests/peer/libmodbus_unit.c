// SPDX-License-Identifier: GPL-3.0-or-later
//
// One unit served by libmodbus: libmodbus_unit rtu DEVICE ADDRESS, or libmodbus_unit tcp. Holding
// registers are 1000, 1001, ..., input registers 2000, 2001, ...; every third coil is on. Says
// "ready", with the port for tcp.
#include <modbus.h>

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

enum { CELLS = 100 };

static modbus_mapping_t *make_cells(void)
{
    modbus_mapping_t *cells = modbus_mapping_new(CELLS, CELLS, CELLS, CELLS);
    for (int i = 0; i < CELLS; i++) {
        cells->tab_registers[i] = (uint16_t)(1000 + i);
        cells->tab_input_registers[i] = (uint16_t)(2000 + i);
        cells->tab_bits[i] = i % 3 == 0;
        cells->tab_input_bits[i] = i % 2 == 0;
    }
    return cells;
}

static void answer_all(modbus_t *unit, modbus_mapping_t *cells)
{
    uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
    for (;;) {
        int count = modbus_receive(unit, query);
        if (count > 0) {
            modbus_reply(unit, query, count, cells);
        } else if (count < 0 && errno != EMBBADCRC && errno != ETIMEDOUT && errno != EMBBADEXC &&
                   errno != EMBBADDATA) {
            return;
        }
    }
}

static int serve_rtu(const char *device, int address)
{
    modbus_t *unit = modbus_new_rtu(device, 19200, 'N', 8, 2);
    if (unit == NULL || modbus_set_slave(unit, address) != 0 || modbus_connect(unit) != 0) {
        return 1;
    }
    puts("ready");
    fflush(stdout);
    answer_all(unit, make_cells());
    return 0;
}

static int bound_port(int listener)
{
    struct sockaddr_in where;
    socklen_t size = sizeof where;
    return getsockname(listener, (struct sockaddr *)&where, &size) == 0 ? ntohs(where.sin_port)
                                                                        : -1;
}

static int serve_tcp(void)
{
    modbus_t *unit = modbus_new_tcp("127.0.0.1", 0);
    int listener = unit != NULL ? modbus_tcp_listen(unit, 1) : -1;
    if (listener < 0) {
        return 1;
    }
    printf("ready %d\n", bound_port(listener));
    fflush(stdout);
    while (modbus_tcp_accept(unit, &listener) >= 0) {
        answer_all(unit, make_cells());
        modbus_close(unit);
    }
    return 0;
}

int main(int count, char **words)
{
    if (count == 4 && strcmp(words[1], "rtu") == 0) {
        return serve_rtu(words[2], (int)strtol(words[3], NULL, 10));
    }
    return count == 2 && strcmp(words[1], "tcp") == 0 ? serve_tcp() : 2;
}
