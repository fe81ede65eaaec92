# SPDX-License-Identifier: GPL-3.0-or-later
"""The client against libmodbus, on a pseudo-terminal and on TCP, each with its quirks.

Real time, so outcomes are asserted and never times. libmodbus holds an exception back for half a
second on RTU, and keeps the bytes of a function it does not know for as long."""

import sys
import unittest

from exchanging import Exchanging

Exchanging.exchange, UNIT = sys.argv.pop(1), sys.argv.pop(1)


class Libmodbus(Exchanging):
    def on_pty(self, **options):
        self.open_client('serve:' + self.link(), **options)
        self.start_ready(UNIT, 'rtu', self.link(), '5')

    def on_tcp(self):
        _, port = self.start_ready(UNIT, 'tcp')
        self.open_client('tcp://127.0.0.1:' + port[0])

    def values_are_read(self):
        self.assertEqual(self.ask(5, '0300000003'), ('answered', '030603e803e903ea'))
        self.assertEqual(self.ask(5, '0400000002'), ('answered', '040407d007d1'))
        self.assertEqual(self.ask(5, '010000000a'), ('answered', '01024902'))
        self.assertEqual(self.ask(5, '020000000a'), ('answered', '02025501'))
        whole = ''.join(f'{1000 + i:04x}' for i in range(100))
        self.assertEqual(self.ask(5, '0300000064'), ('answered', '03c8' + whole))

    def test_values_on_a_pty(self):
        self.on_pty()
        self.values_are_read()

    def test_values_on_tcp(self):
        self.on_tcp()
        self.values_are_read()

    def test_the_identifier(self):
        self.on_pty()
        outcome, reply = self.ask(5, '11')
        self.assertEqual(outcome, 'answered')
        self.assertRegex(bytes.fromhex(reply), rb'(?s)^\x11.\xb4\xffLMB')

    def test_exceptions(self):
        self.on_pty()
        self.assertEqual(self.ask(5, '0300c80001'), ('exception', 2))
        self.assertEqual(self.ask(5, '030000007e'), ('exception', 3))
        self.assertEqual(self.ask(5, '0300000001'), ('answered', '030203e8'))

    def test_a_unit_that_is_not_there_is_silent(self):
        self.on_pty()
        self.assertEqual(self.ask(9, '0300000001'), ('no_answer',))
        self.assertEqual(self.ask(5, '0300000001'), ('answered', '030203e8'))

    def test_functions_it_does_not_know_leave_the_line_usable(self):
        self.on_pty()
        for request in ('07', '2b0e0100', '0800000000'):
            self.assertEqual(self.ask(5, request), ('no_answer',))
            self.assertEqual(self.ask(5, '0300000001'), ('answered', '030203e8'))

    def test_tries_outlast_the_bytes_it_leaves_behind(self):
        self.on_pty(reply_s='0.5', attempts='6')
        self.assertEqual(self.ask(5, '07'), ('no_answer',))
        self.assertEqual(self.ask(5, '0300000001'), ('answered', '030203e8'))

    def test_on_tcp_what_it_does_not_know_is_an_exception(self):
        self.on_tcp()
        self.assertEqual(self.ask(5, '2b0e0100'), ('exception', 1))
        self.assertEqual(self.ask(5, '0800000000'), ('exception', 1))
        self.assertEqual(self.ask(5, '0300c80001'), ('exception', 2))
        self.assertEqual(self.ask(5, '0300000001'), ('answered', '030203e8'))


unittest.main()
