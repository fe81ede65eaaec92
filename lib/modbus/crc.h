// SPDX-License-Identifier: GPL-3.0-or-later
//
// The check of an RTU frame. MODBUS over Serial Line V1.02, 6.2.2: preset 0xFFFF, polynomial 0xA001
// shifted right, low byte sent first.
#ifndef LW_MODBUS_CRC_H
#define LW_MODBUS_CRC_H

#include <stddef.h>
#include <stdint.h>

// CRC-16 of count bytes. Over a whole frame with its two CRC bytes it is 0.
uint16_t lw_crc16(const uint8_t *bytes, size_t count);

// The same, carried on: start with LW_CRC16_START and hand the result back in, byte by byte.
enum { LW_CRC16_START = 0xFFFF };
uint16_t lw_crc16_next(uint16_t crc, uint8_t byte);

#endif
