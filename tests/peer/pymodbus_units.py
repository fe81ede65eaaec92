# SPDX-License-Identifier: GPL-3.0-or-later
"""Units 3 and 5 served by pymodbus: pymodbus_units.py rtu DEVICE, or pymodbus_units.py tcp PORT.
Holding registers are 1000 times the unit and up. The regular identity takes two parts."""

import asyncio
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.device import ModbusDeviceIdentification
from pymodbus.server.async_io import ModbusSerialServer, ModbusTcpServer
from pymodbus.transaction import ModbusRtuFramer


def cells(first):
    return ModbusSequentialDataBlock(0, [first + i for i in range(200)])


UNITS = {unit: ModbusSlaveContext(hr=cells(1000 * unit), ir=cells(2000 * unit), co=cells(0), di=cells(0), zero_mode=True)
         for unit in (3, 5)}
IDENTITY = ModbusDeviceIdentification()
IDENTITY.VendorName = 'Example Metrology'
IDENTITY.ProductCode = 'EM-10'
IDENTITY.MajorMinorRevision = '2.11'
IDENTITY.VendorUrl = 'https://example.org/'
IDENTITY.ProductName = 'Probe' * 20
IDENTITY.ModelName = 'P10' * 40


async def main():
    context = ModbusServerContext(slaves=UNITS, single=False)
    if sys.argv[1] == 'rtu':
        server = ModbusSerialServer(context, framer=ModbusRtuFramer, identity=IDENTITY, port=sys.argv[2], baudrate=19200)
        await server.start()
    else:
        server = ModbusTcpServer(context, identity=IDENTITY, address=('127.0.0.1', int(sys.argv[2])))
    await server.serve_forever()


asyncio.run(main())
