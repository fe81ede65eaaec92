# SPDX-License-Identifier: GPL-3.0-or-later
"""Modbus TCP servers of other makes, pymodbus and libmodbus, behind a network that cuts, gathers, delays and loses: which of
their units are found, and what is recorded. Real time: rosters are asserted, never times."""
import contextlib
import socket
import sys
import threading
import unittest

from commanding import Commanding, free_port

Commanding.linewalk, UNITS, LIBMODBUS_UNIT = (sys.argv.pop(1) for _ in range(3))


def whole(stream):
    """One ADU (MODBUS Messaging on TCP/IP Implementation Guide V1.0b, 3.1.3)."""
    head = stream.recv(6, socket.MSG_WAITALL)
    return head + stream.recv(int.from_bytes(head[4:], 'big'), socket.MSG_WAITALL) if len(head) == 6 else b''


class Network:
    """Between us and a server; `bend` turns the number of an answer and the answer into pieces with a delay before each, or
    into None, which hangs up."""

    def __init__(self, port, bend):
        self.port, self.bend, self.count = port, bend, 0
        self.listener = socket.create_server(('127.0.0.1', 0))
        self.url = 'tcp://127.0.0.1:%d' % self.listener.getsockname()[1]
        threading.Thread(target=self.run, daemon=True).start()

    def run(self):
        while True:
            client, _ = self.listener.accept()
            with client, contextlib.suppress(OSError):
                self.carry(client)

    def carry(self, client):
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with socket.create_connection(('127.0.0.1', self.port)) as server:
            while request := whole(client):
                server.sendall(request)
                self.count += 1
                pieces = self.bend(self.count, whole(server))
                if pieces is None:
                    return
                for delay, piece in pieces:
                    threading.Event().wait(delay)
                    client.sendall(piece)


class Servers:
    """Each test for both; units 3 and 5 are asked for."""

    def scan(self, url, *more):
        return self.run_linewalk('scan', '--on', url, '--controller', 'none', '--slowest-reply', '700ms', '--addresses', '3,5',
                                 '--visit', self.visit, '--quiet', *more)

    def finds_both(self, number, url):
        done = self.scan(url)
        record = self.record(f'{number:04}-scan.json')
        self.assertEqual((done.returncode, sorted(node['address'] for node in record['result']['nodes'])), (0, [3, 5]),
                         (done.stderr, record['findings']))
        self.assertEqual(record['findings'], [])

    def test_one_adu_in_many_segments(self):
        self.finds_both(1, Network(self.server(), lambda _, answer: [(0, bytes([byte])) for byte in answer]).url)

    def test_several_adus_in_a_segment_and_answers_that_come_again(self):
        old = [b'']

        def bend(_, answer):
            pieces = [(0, old[0] + answer + answer)]
            old[0] = answer
            return pieces
        self.finds_both(1, Network(self.server(), bend).url)

    def test_a_slow_way_is_waited_for(self):
        self.finds_both(1, Network(self.server(), lambda _, answer: [(0.5, answer)]).url)

    def test_a_connection_that_is_lost_is_recorded_and_restored(self):
        network = Network(self.server(), lambda count, answer: None if count == 2 else [(0, answer)])
        self.assertEqual(self.scan(network.url).returncode, 3)
        record = self.record('0001-scan.json')
        self.assertEqual((record['complete'], [finding['code'] for finding in record['findings']]), (False, ['line_failed']))
        self.finds_both(2, network.url)

    def test_one_that_takes_requests_and_never_answers_is_silence(self):
        done = self.scan(Network(self.server(), lambda _, __: []).url)
        record = self.record('0001-scan.json')
        self.assertIn(done.returncode, (0, 1))
        self.assertEqual((record['complete'], record['result']['nodes']), (True, []))

    def test_a_server_that_was_switched_off_is_back(self):
        port = self.server()
        url = 'tcp://127.0.0.1:%d' % port
        self.finds_both(1, url)
        self.process.kill()
        self.process.wait()
        self.assertEqual(self.scan(url).returncode, 3)
        self.finds_both(2, 'tcp://127.0.0.1:%d' % self.server())


class Pymodbus(Servers, Commanding):
    def server(self):
        port = free_port()
        self.process = self.start(sys.executable, UNITS, 'tcp', port)
        while True:
            with socket.socket() as probe:
                if probe.connect_ex(('127.0.0.1', int(port))) == 0:
                    return int(port)
            self.assertIsNone(self.process.poll(), 'pymodbus has ended')


class Libmodbus(Servers, Commanding):
    def server(self):
        self.process, ready = self.start_ready(LIBMODBUS_UNIT, 'tcp')
        return int(ready[1])


unittest.main()
