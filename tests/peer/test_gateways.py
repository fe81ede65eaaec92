# SPDX-License-Identifier: GPL-3.0-or-later
"""Serial servers and Modbus TCP gateways: a real one that passes bytes on (ser2net), and made ones that are slow, cut TCP
where they like, answer late, lose the connection, have no way to a unit, or answer from memory."""
import contextlib
import json
import os
import shutil
import socket
import struct
import subprocess
import sys
import threading
import time
import unittest

from commanding import Commanding, free_port

Commanding.linewalk, CELL, HEALTHY = sys.argv.pop(1), sys.argv.pop(1), sys.argv.pop(1)
PLAN = CELL + '/plan.json'
QUICK = ('--listen-first', '100ms', '--controller', 'none')


class Gateway:
    """A made Modbus TCP gateway before a served chain's own (linewalk sim --tcp). `bend` gets each answer and returns the
    pieces that are sent, each with a delay before it."""

    def __init__(self, chain_port, bend=None, answer=None):
        self.chain_port, self.bend, self.answer = chain_port, bend, answer
        self.listener = socket.create_server(('127.0.0.1', 0))
        self.url = 'tcp://127.0.0.1:%d' % self.listener.getsockname()[1]
        self.requests = 0
        threading.Thread(target=self.run, daemon=True).start()

    def run(self):
        while True:
            client, _ = self.listener.accept()
            with client:
                self.serve(client)

    def serve(self, client):
        chain = socket.create_connection(('127.0.0.1', self.chain_port)) if self.chain_port else socket.socket()
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with chain, contextlib.suppress(OSError):
            while request := client.recv(260):
                self.requests += 1
                answer = self.answer(request) if self.answer else None
                if answer is None:
                    chain.sendall(request)
                    answer = whole(chain)
                pieces = self.bend(self.requests, request, answer) if self.bend else [(0, answer)]
                if pieces is None:
                    return  # hangs up
                for delay, piece in pieces:
                    threading.Event().wait(delay)  # of the gateway's own, which is what is tried
                    client.sendall(piece)


def whole(stream):
    head = stream.recv(6, socket.MSG_WAITALL)
    return head + stream.recv(struct.unpack('>H', head[4:])[0], socket.MSG_WAITALL)


def exception(request, code):
    return request[:4] + bytes([0, 3, request[6], request[7] | 0x80, code])


class Gateways(Commanding):
    def chain(self, plan=CELL):
        _, ready = self.start_ready(self.linewalk, 'sim', plan, '--tcp', '0')
        return int(ready[-1].rsplit(':', 1)[1])

    def scan(self, url, *more, addresses='1-5'):
        return self.result('scan', '--on', url, '--plan', PLAN, *QUICK, '--addresses', addresses, *more)

    def found(self, record):
        return [node['address'] for node in record['result']['nodes']]

    def codes(self, record):
        return [finding['code'] for finding in record['findings']]

    def test_silent_addresses_are_no_nodes_though_the_gateway_answers_for_them(self):
        status, record = self.scan('tcp://127.0.0.1:%d' % self.chain(), addresses='1-7')
        self.assertEqual((status, self.found(record), self.codes(record)), (0, [1, 2, 3, 4], []))
        self.assertIsNone(record['line']['listened_s'])

    def test_a_unit_that_the_gateway_has_no_way_to_is_missing_and_said_to_be_its_doing(self):
        gateway = Gateway(self.chain(), answer=lambda request: exception(request, 0x0A) if request[6] == 3 else None)
        status, record = self.scan(gateway.url)
        self.assertEqual((status, self.found(record)), (1, [1, 2, 4]))
        self.assertEqual(sorted(self.codes(record)), ['line_gateway_path', 'scan_missing'])

    def test_a_nodes_own_exception_is_presence(self):
        gateway = Gateway(0, answer=lambda request: exception(request, 2 if request[6] < 5 else 0x0B))
        _, record = self.scan(gateway.url)
        self.assertEqual(self.found(record), [1, 2, 3, 4])

    def test_one_adu_in_many_segments_and_many_in_one(self):
        old = []

        def bend(number, request, answer):
            foreign = struct.pack('>HHHB', 0x7F00 + number % 100, 0, 5, request[6]) + bytes([3, 2, 0, 1])
            if number % 2:
                return [(0, bytes([byte])) for byte in answer]
            old.append(answer)
            return [(0, foreign + answer)]
        status, record = self.scan(Gateway(self.chain(), bend).url)
        self.assertEqual((status, self.found(record)), (0, [1, 2, 3, 4]))
        self.assertTrue(old)

    def test_late_answers_and_those_of_other_transactions_are_dropped(self):
        """Each answer is followed by a copy with another value and the transaction before it."""
        def bend(_, request, answer):
            before = struct.unpack('>H', answer[:2])[0] - 1
            stale = struct.pack('>H', before & 0xFFFF) + answer[2:-1] + bytes([answer[-1] ^ 0xFF])
            return [(0, stale + answer + stale)]
        gateway = Gateway(self.chain(), bend)
        status, record = self.result('roster', '--on', gateway.url, '--plan', PLAN, *QUICK)
        self.assertEqual(status, 0)
        self.assertEqual({node['state'] for node in record['result']['nodes']}, {'present'})

    def test_a_slow_gateway_is_waited_for(self):
        status, record = self.scan(Gateway(self.chain(), lambda _, __, answer: [(0.6, answer)]).url, addresses='1-5')
        self.assertEqual((status, self.found(record)), (0, [1, 2, 3, 4]))

    def test_a_connection_that_is_lost_is_recorded_and_the_next_run_is_whole(self):
        gateway = Gateway(self.chain(), lambda number, _, answer: None if number == 3 else [(0, answer)])
        words = ('scan', '--on', gateway.url, '--plan', PLAN, *QUICK, '--addresses', '1-5', '--visit', self.visit, '--quiet')
        self.assertEqual(self.run_linewalk(*words).returncode, 3)
        record = self.record('0001-scan.json')
        self.assertEqual((record['complete'], self.codes(record)), (False, ['line_failed']))
        self.assertEqual(self.run_linewalk(*words).returncode, 0)
        self.assertEqual(self.found(self.record('0002-scan.json')), [1, 2, 3, 4])

    def test_a_half_open_connection_ends_in_silence_and_not_in_a_hang(self):
        """The gateway is there, takes requests, and says nothing more after its third answer."""
        gateway = Gateway(self.chain(), lambda number, _, answer: [(0, answer)] if number <= 3 else [])
        status, record = self.scan(gateway.url, addresses='1-4')
        self.assertEqual(status, 1)
        self.assertIs(record['complete'], True)
        self.assertIn('scan_missing', self.codes(record))

    def test_a_gateway_that_answers_from_memory_is_told_by_its_speed(self):
        memory = {}

        def remember(_, request, answer):
            memory[request[6:]] = answer[2:]
            return [(0, answer)]
        words = ('noise', '--plan', PLAN, *QUICK, '--readings', '10')
        _, record = self.result(*words, '--on', Gateway(self.chain(), remember).url)
        self.assertNotIn('line_gateway_stale', self.codes(record))
        cached = Gateway(self.chain(), answer=lambda request: request[:2] + memory[request[6:]] if request[6:] in memory else None)
        _, record = self.result(*words, '--on', cached.url)
        self.assertIn('line_gateway_stale', self.codes(record))

    def test_a_gateway_is_not_listened_to_and_says_why(self):
        done = self.run_linewalk('listen', '--on', 'tcp://127.0.0.1:%d' % self.chain(), '--seconds', '1', '--quiet')
        self.assertEqual((done.returncode, done.stdout), (2, ''))
        self.assertIn('a gateway cannot be listened to: traffic of other masters does not come through it', done.stderr)


@unittest.skipUnless(shutil.which('ser2net') or os.path.exists('/usr/sbin/ser2net'), 'there is no ser2net')
class Ser2net(Commanding):
    def passed_on(self, name, plan=HEALTHY):
        """A served chain behind a pseudo-terminal behind ser2net; returns the server and the line's name."""
        link = self.path(name)
        self.start_ready(self.linewalk, 'sim', plan, '--pty', link)
        port = free_port()
        with open(self.path(name + '.yaml'), 'w', encoding='utf-8') as file:
            file.write(f'%YAML 1.1\n---\nconnection: &line\n  accepter: tcp,127.0.0.1,{port}\n'
                       f'  connector: serialdev,{link},115200n81,local\n')
        return self.ser2net(name, port), f'rtu://127.0.0.1:{port}'

    def ser2net(self, name, port):
        server = self.start('/usr/sbin/ser2net', '-n', '-d', '-u', '-c', self.path(name + '.yaml'), stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + 20
        while time.monotonic() < deadline:
            try:
                socket.create_connection(('127.0.0.1', int(port)), timeout=1).close()
                return server
            except OSError:
                threading.Event().wait(0.05)
        return self.fail('ser2net takes no connection')

    def walk(self, on, visit, *more):
        return self.run_linewalk('commission', '--on', on, '--plan', self.path('plan/plan.json'), '--visit', self.path(visit),
                                 *QUICK, '--addresses', '1-26', '--quiet', *more, timeout=400)

    def verdicts(self, visit):
        """By check, the last record's: completeness, verdict, and for the roster each node's state; what the nodes say they are."""
        seen = {}
        for name in sorted(os.listdir(self.path(visit))):
            if name.endswith('.json') and name != 'visit.json':
                with open(os.path.join(self.path(visit), name), encoding='utf-8') as file:
                    record = json.load(file)
                nodes = record['result'].get('nodes', []) if record.get('result') else []
                seen[record['check']] = (record['complete'], record['verdict'],
                                         [(node['node'], node['state']) for node in nodes] if record['check'] == 'roster' else None)
                if record['check'] == 'scan':
                    seen['identities'] = [(node['address'], node['identity']) for node in nodes]
                self.said[visit, record['check']] = [finding['says'] for finding in record['findings']]
        return seen

    def setUp(self):
        super().setUp()
        self.said = {}  # by visit and check, the findings of the record that was read last
        shutil.copytree(HEALTHY, self.path('plan'))
        with open(self.path('plan/plan.json'), encoding='utf-8') as file:
            plan = json.load(file)
        # 150 polls prove it, and answers and rounds have the time that a network and a loaded machine take.
        plan['limits'] = {**plan.get('limits', {}), 'error_rate': 0.02, 'reply_ms': 1000}
        plan['line']['wanted_cycle_ms'] = 20000
        with open(self.path('plan/plan.json'), 'w', encoding='utf-8') as file:
            json.dump(plan, file)

    def test_24_nodes_are_commissioned_through_it_as_directly(self):
        link = self.path('direct')
        self.start_ready(self.linewalk, 'sim', HEALTHY, '--pty', link)
        direct = self.walk(link, 'visit-direct')
        _, url = self.passed_on('passed')
        passed = self.walk(url, 'visit-passed')
        wanted, got = self.verdicts('visit-direct'), self.verdicts('visit-passed')
        self.assertEqual(len(wanted['roster'][2]), 24)
        self.assertEqual(got, wanted, self.said)
        self.assertEqual(passed.returncode, direct.returncode, passed.stderr)

    def test_it_is_cut_in_the_middle_and_the_walk_goes_on_when_it_is_back(self):
        server, url = self.passed_on('cut')
        capture = self.path('visit-cut/0003-link.pcapng')
        running = subprocess.Popen([self.linewalk, 'commission', '--on', url, '--plan', self.path('plan/plan.json'), '--visit',
                                    self.path('visit-cut'), *QUICK, '--addresses', '1-26', '--quiet'], stdout=subprocess.DEVNULL,
                                   stderr=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL)
        while running.poll() is None and not os.path.exists(capture):
            threading.Event().wait(0.02)
        server.kill()
        server.wait()
        said = running.communicate(timeout=120)[1]
        self.assertEqual(running.returncode, 3, said)
        self.assertEqual(self.verdicts('visit-cut')['link'][0], False)
        self.ser2net('cut', url.rsplit(':', 1)[1])
        self.assertIn(self.walk(url, 'visit-cut').returncode, (0, 1))
        seen = self.verdicts('visit-cut')
        self.assertEqual(len(seen.pop('identities')), 24)
        self.assertTrue(all(complete for complete, _, _ in seen.values()), seen)
        self.assertEqual(seen['link'][1], 'pass', self.said['visit-cut', 'link'])


unittest.main()
