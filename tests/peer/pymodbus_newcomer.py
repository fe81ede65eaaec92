# SPDX-License-Identifier: GPL-3.0-or-later
"""A new node served by pymodbus: pymodbus_newcomer.py DEVICE LOG KEY. It answers at 247, takes an address in register 770 once
register 768 holds KEY and register 769 holds 2, keeps it when 771 is written, and starts anew when 772 is. LOG gets
every byte that comes and every register that is written."""

import asyncio
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.device import ModbusDeviceIdentification
from pymodbus.server.async_io import ModbusSerialServer
from pymodbus.transaction import ModbusRtuFramer

DEVICE, LOG, KEY = sys.argv[1], open(sys.argv[2], 'w', encoding='ascii'), int(sys.argv[3])
SERIAL = 104417


def log(*words):
    print(*words, file=LOG, flush=True)


class Framer(ModbusRtuFramer):
    def processIncomingPacket(self, data, callback, unit, **more):
        log('bytes', data.hex())
        super().processIncomingPacket(data, callback, unit, **more)


class Registers(ModbusSequentialDataBlock):
    def __init__(self):
        super().__init__(0, [0] * 800)
        self.values[100:102] = [SERIAL >> 16, SERIAL & 0xFFFF]
        self.values[770] = self.saved = self.now = 247

    def setValues(self, address, values):
        log('written', address, *values)
        open_now = self.values[768] == KEY and self.values[769] == 2
        if address == 770 and not open_now:
            raise ValueError('locked')
        super().setValues(address, values)
        if address == 771:
            self.saved = self.values[770]
        elif address == 772:
            unit = CONTEXT[self.now]
            del CONTEXT[self.now]
            self.now = self.saved
            CONTEXT[self.now] = unit


REGISTERS = Registers()
CONTEXT = ModbusServerContext(slaves={247: ModbusSlaveContext(hr=REGISTERS, ir=REGISTERS, zero_mode=True)}, single=False)
IDENTITY = ModbusDeviceIdentification()
IDENTITY.VendorName = 'Example Metrology'
IDENTITY.ProductCode = 'EM-10'
IDENTITY.MajorMinorRevision = '2.11'


async def main():
    server = ModbusSerialServer(CONTEXT, framer=Framer, identity=IDENTITY, port=DEVICE, baudrate=19200)
    await server.start()
    await server.serve_forever()


asyncio.run(main())
