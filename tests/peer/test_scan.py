# SPDX-License-Identifier: GPL-3.0-or-later
"""linewalk scan against pymodbus and libmodbus, and a libmodbus client against linewalk sim.

Real time: rosters are asserted, never times."""

import json
import socket
import sys
import unittest

from commanding import Commanding, free_port

Commanding.linewalk, UNITS, LIBMODBUS_UNIT, LIBMODBUS_READER, CELL = (sys.argv.pop(1) for _ in range(5))
QUICK = ('--listen-first', '100ms')
# After a request to another unit libmodbus 3.1.6 waits 500 ms for more bytes of it and takes what comes for them (seen with strace).
SLOWEST = '700ms'
PATIENCE = 40


class Scan(Commanding):
    def scan(self, line, *more):
        exit_status, record = self.result('scan', '--on', line, *QUICK, '--controller', 'none',
                                          '--slowest-reply', SLOWEST, *more)
        return exit_status, record, {node['address']: node for node in record['result']['nodes']}

    def pymodbus_on_pty(self):
        near, far = self.start_link()
        self.start(sys.executable, UNITS, 'rtu', far)
        for _ in range(PATIENCE):  # it does not say when it is ready: it is when it has answered
            if self.scan(near, '--addresses', '3', '--gentle')[2]:
                return near
        self.fail('pymodbus does not answer')

    def pymodbus_on_tcp(self):
        port = free_port()
        process = self.start(sys.executable, UNITS, 'tcp', port)
        while True:
            with socket.socket() as probe:
                if probe.connect_ex(('127.0.0.1', int(port))) == 0:
                    return 'tcp://127.0.0.1:' + port
            self.assertIsNone(process.poll(), 'pymodbus has ended')

    def holds_both_units(self, line):
        exit_status, record, nodes = self.scan(line, '--addresses', '1-9')
        self.assertEqual(sorted(nodes), [3, 5])
        self.assertEqual(exit_status, 0, record['findings'])
        for node in nodes.values():
            self.assertEqual(node['identity']['vendor'], 'Example Metrology')
            self.assertEqual(node['identity']['product_code'], 'EM-10')
            self.assertEqual(node['identity']['revision'], '2.11')
            objects = {each['object']: each['text'] for each in node['identity']['more']}
            self.assertEqual(objects[4], 'Probe' * 20)
            self.assertEqual(objects[5], 'P10' * 40)
            self.assertFalse(node['doubled'])

    def test_pymodbus_on_a_pty(self):
        self.holds_both_units(self.pymodbus_on_pty())

    def test_pymodbus_on_tcp(self):
        self.holds_both_units(self.pymodbus_on_tcp())

    def test_libmodbus_on_a_pty_is_found_without_a_false_error(self):
        near, far = self.start_link()
        self.start_ready(LIBMODBUS_UNIT, 'rtu', far, '7')
        for _ in range(2):
            exit_status, record, nodes = self.scan(near, '--addresses', '5-9')
            self.assertEqual(sorted(nodes), [7])
            self.assertEqual((exit_status, record['findings']), (0, []))
            self.assertIsNone(nodes[7]['identity'])
            self.assertIn('LMB3.1.6', nodes[7]['server_id'])

    def test_libmodbus_reads_the_same_from_a_served_chain(self):
        link = self.path('served')
        self.start_ready(self.linewalk, 'sim', CELL, '--pty', link)
        with open(CELL + '/plan.json', encoding='utf-8') as file:
            plan = json.load(file)
        _, record = self.result('roster', '--on', link, *QUICK, '--plan', CELL + '/plan.json')
        seen = {node['address']: node for node in record['result']['nodes']}
        for entry in plan['chain']:
            done = self.start(LIBMODBUS_READER, link, str(entry['address']), '3', '100', '2').communicate()[0]
            high, low = map(int, done.split())
            self.assertEqual(str((high << 16) + low), entry['serial'])
            self.assertEqual(seen[entry['address']]['serial'], entry['serial'])
            done = self.start(LIBMODBUS_READER, link, str(entry['address']), '4', '2', '1').communicate()[0]
            self.assertAlmostEqual(int(done) / 100, seen[entry['address']]['supply_v'], delta=0.0101)


unittest.main()
