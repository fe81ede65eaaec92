# SPDX-License-Identifier: GPL-3.0-or-later
"""The client against pymodbus, on a pseudo-terminal and on TCP.

Real time, so outcomes are asserted and never times. pymodbus does not say when it is ready: it is
when it has answered once."""

import socket
import sys
import unittest

from exchanging import Exchanging

Exchanging.exchange, UNITS = sys.argv.pop(1), sys.argv.pop(1)
PATIENCE = 40


def free_port():
    with socket.socket() as probe:
        probe.bind(('127.0.0.1', 0))
        return str(probe.getsockname()[1])


class Pymodbus(Exchanging):
    def on_pty(self):
        self.open_client('serve:' + self.link(), reply_s='0.5')
        self.start(sys.executable, UNITS, 'rtu', self.link())
        for _ in range(PATIENCE):
            if self.ask(3, '0300000001')[0] == 'answered':
                return
        self.fail('pymodbus does not answer')

    def on_tcp(self):
        port = free_port()
        self.start(sys.executable, UNITS, 'tcp', port)
        while True:
            with socket.socket() as probe:
                if probe.connect_ex(('127.0.0.1', int(port))) == 0:
                    break
            self.assertIsNone(self.processes[0].poll(), 'pymodbus has ended')
        self.open_client('tcp://127.0.0.1:' + port)

    def units_are_told_apart(self):
        self.assertEqual(self.ask(3, '0300000002'), ('answered', '03040bb80bb9'))
        self.assertEqual(self.ask(5, '0300000002'), ('answered', '030413881389'))
        self.assertEqual(self.ask(5, '0400000002'), ('answered', '040427102711'))

    def test_units_on_a_pty(self):
        self.on_pty()
        self.units_are_told_apart()
        self.assertEqual(self.ask(9, '0300000001'), ('no_answer',))
        self.assertEqual(self.ask(5, '0300000001'), ('answered', '03021388'))

    def test_units_on_tcp(self):
        self.on_tcp()
        self.units_are_told_apart()

    def test_exceptions(self):
        self.on_pty()
        self.assertEqual(self.ask(3, '0303e80001'), ('exception', 2))
        self.assertEqual(self.ask(3, '030000007e'), ('exception', 3))

    def test_the_functions_that_tell_of_a_device(self):
        self.on_pty()
        self.assertEqual(self.ask(3, '07'), ('answered', '0700'))
        self.assertEqual(self.ask(3, '080000a537'), ('answered', '080000a537'))
        self.assertEqual(self.ask(3, '08000b0000')[0], 'answered')
        self.assertEqual(self.ask(3, '0b')[0], 'answered')
        self.assertEqual(self.ask(3, '0c')[0], 'answered')
        self.assertEqual(self.ask(3, '180000')[0], 'answered')
        outcome, reply = self.ask(3, '11')
        self.assertEqual(outcome, 'answered')
        self.assertIn(b'Example Metrology', bytes.fromhex(reply))

    def identity(self, read_code):
        """Objects by id, and how many parts they took."""
        objects, next_object, parts, more = {}, 0, 0, True
        while more:
            outcome, reply = self.ask(3, f'2b0e{read_code:02x}{next_object:02x}')
            self.assertEqual(outcome, 'answered')
            part = bytes.fromhex(reply)
            more, next_object, rest = part[4] != 0, part[5], part[7:]
            while rest:
                objects[rest[0]] = rest[2:2 + rest[1]].decode()
                rest = rest[2 + rest[1]:]
            parts += 1
        return objects, parts

    def test_an_identity_in_two_parts(self):
        self.on_pty()
        self.assertEqual(self.identity(1), ({0: 'Example Metrology', 1: 'EM-10', 2: '2.11'}, 1))
        objects, parts = self.identity(2)
        self.assertEqual(objects[4], 'Probe' * 20)
        self.assertEqual(objects[5], 'P10' * 40)
        self.assertEqual(parts, 2)


unittest.main()
