// SPDX-License-Identifier: GPL-3.0-or-later
//
// What requests and replies share: packed bits, and the protocol's words for its codes.
#include "modbus/pdu.h"

bool lw_bit(const uint8_t *bits, size_t index)
{
    return (bits[index / 8] >> (index % 8) & 1) != 0;
}

void lw_bit_set(uint8_t *bits, size_t index, bool on)
{
    uint8_t mask = (uint8_t)(1u << (index % 8));
    bits[index / 8] = (uint8_t)(on ? bits[index / 8] | mask : bits[index / 8] & ~mask);
}

// MODBUS Application Protocol V1.1b3, section 7. There is no 07 and no 09 in that table.
const char *lw_exception_word(uint8_t code)
{
    switch (code) {
    case LW_ILLEGAL_FUNCTION:
        return "illegal function";
    case LW_ILLEGAL_ADDRESS:
        return "illegal data address";
    case LW_ILLEGAL_VALUE:
        return "illegal data value";
    case LW_DEVICE_FAILURE:
        return "server device failure";
    case LW_ACKNOWLEDGE:
        return "acknowledge";
    case LW_DEVICE_BUSY:
        return "server device busy";
    case LW_MEMORY_PARITY:
        return "memory parity error";
    case LW_GATEWAY_PATH:
        return "gateway path unavailable";
    case LW_GATEWAY_TARGET:
        return "gateway target device failed to respond";
    default:
        return NULL;
    }
}

const char *lw_function_word(uint8_t function)
{
    static const struct {
        uint8_t function;
        const char *word;
    } words[] = {
        {LW_READ_COILS, "read coils"},
        {LW_READ_INPUTS, "read discrete inputs"},
        {LW_READ_HOLDING, "read holding registers"},
        {LW_READ_INPUT_REGISTERS, "read input registers"},
        {LW_WRITE_COIL, "write single coil"},
        {LW_WRITE_REGISTER, "write single register"},
        {LW_READ_EXCEPTION_STATUS, "read exception status"},
        {LW_DIAGNOSTICS, "diagnostics"},
        {LW_EVENT_COUNTER, "get comm event counter"},
        {LW_EVENT_LOG, "get comm event log"},
        {LW_WRITE_COILS, "write multiple coils"},
        {LW_WRITE_REGISTERS, "write multiple registers"},
        {LW_REPORT_ID, "report server id"},
        {LW_READ_FILE, "read file record"},
        {LW_WRITE_FILE, "write file record"},
        {LW_MASK_WRITE, "mask write register"},
        {LW_READ_WRITE, "read/write multiple registers"},
        {LW_READ_FIFO, "read fifo queue"},
        {LW_ENCAPSULATED, "encapsulated interface transport"},
    };
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (words[i].function == (function & 0x7F)) {
            return words[i].word;
        }
    }
    return NULL;
}
