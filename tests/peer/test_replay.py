# SPDX-License-Identifier: GPL-3.0-or-later
"""A recorded day answers again: to libmodbus, byte for byte what an independent dissector finds in the capture,
and to linewalk, the same roster. Writes go out again only when a person at a terminal says so.

Real time, so contents are asserted and never times."""

import json
import os
import pty
import subprocess
import sys
import unittest

import commanding

CAPTURES, MASTER, commanding.Commanding.linewalk = sys.argv.pop(), sys.argv.pop(), sys.argv.pop()
DEMO = os.path.join(CAPTURES, 'demo-faulty')
PLAN = os.path.join(DEMO, 'plan.json')


def packets(capture):
    """Sent or not, and bytes, of every packet of a capture, as tshark reads it."""
    said = subprocess.run(['tshark', '-r', capture, '-T', 'fields', '-e', 'frame.p2p_dir', '-e', 'data'],
                          capture_output=True, text=True, check=True)
    for line in said.stdout.splitlines():
        direction, data = line.split('\t')
        yield direction == '0', bytes.fromhex(data)


def answers(capture, address):
    """Requests for input registers of one node and the registers answered, in order."""
    asked = None
    for sent, data in packets(capture):
        if sent:
            asked = data if data[0] == address and data[1] == 4 else None
        elif asked and data[:2] == asked[:2]:
            yield asked, [int.from_bytes(data[at:at + 2], 'big') for at in range(3, len(data) - 2, 2)]
            asked = None


class Replay(commanding.Commanding):
    def setUp(self):
        super().setUp()
        done = self.run_linewalk('commission', '--on', f'sim:{DEMO}', '--visit', self.visit, '--quiet')
        self.assertEqual(done.returncode, 1, done.stderr)

    def start_master(self, *words):
        self.master = self.start(MASTER, *words, stdin=subprocess.PIPE)
        self.assertTrue(self.master.stdout.readline().startswith('ready'))

    def ask(self, address, function, start, count):
        self.master.stdin.write(f'{address} {function} {start} {count}\n')
        self.master.stdin.flush()
        return self.master.stdout.readline()

    def answers_are_those_recorded(self):
        capture = os.path.join(self.visit, '0003-link.pcapng')
        for address in (1, 9, 18):
            recorded = list(answers(capture, address))
            self.assertGreater(len(recorded), 100)
            for request, words in recorded[:20]:
                start, count = int.from_bytes(request[2:4], 'big'), int.from_bytes(request[4:6], 'big')
                said = self.ask(address, 4, start, count)
                self.assertEqual([int(word, 16) for word in said.split()], words, (address, said))
        self.assertIn('error', self.ask(24, 4, 0, 2))  # starved on the day: it never answered

    def test_libmodbus_on_a_pty_hears_the_recorded_answers_in_their_order(self):
        link = self.path('link')
        self.start_ready(self.linewalk, 'replay', os.path.join(self.visit, '0003-link.pcapng'), '--pty', link)
        self.start_master('rtu', link)
        self.answers_are_those_recorded()

    def test_libmodbus_over_tcp_hears_the_recorded_answers_in_their_order(self):
        _, ready = self.start_ready(self.linewalk, 'replay', os.path.join(self.visit, '0003-link.pcapng'),
                                    '--tcp', '0', '--fast')
        self.start_master('tcp', ready[-1].rsplit(':', 1)[1])
        self.answers_are_those_recorded()

    def test_the_served_day_has_the_same_roster(self):
        link = self.path('link')
        self.start_ready(self.linewalk, 'replay', self.visit, '--pty', link)
        status, again = self.result('roster', '--on', link, '--plan', PLAN)
        day = self.record('0002-roster.json')
        self.assertEqual(status, 1)
        self.assertEqual(again['verdict'], day['verdict'])
        said = [[(f['code'], f['severity'], f['node'], f['says']) for f in record['findings']]
                for record in (again, day)]
        self.assertEqual(*said)
        keys = ('node', 'address', 'state', 'serial', 'sensor_serial', 'revision', 'calibrated_on')
        nodes = [[[node.get(key) for key in keys] for node in record['result']['nodes']] for record in (again, day)]
        self.assertEqual(*nodes)


class Writes(commanding.Commanding):
    def resend(self, answer):
        near, far = pty.openpty()
        process = subprocess.Popen(
            [self.linewalk, 'replay', os.path.join(CAPTURES, 'write-and-answer.pcapng'), '--resend', '--on',
             'sim:' + os.path.join(CAPTURES, 'bench'), '--allow-writes', '--json', '--quiet'],
            stdin=far, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        os.close(far)
        os.write(near, answer.encode() + b'\n')
        said, complained = process.communicate(timeout=60)
        os.close(near)
        return process.returncode, said, complained

    def test_yes_sends_them(self):
        _, said, _ = self.resend('yes')
        result = json.loads(said)['result']
        self.assertEqual((result['sent'], result['writes_sent'], result['writes_left_out']), (4, 2, 0))
        self.assertEqual(result['nodes'][0]['answered_now'], 4)

    def test_anything_else_sends_nothing(self):
        status, said, complained = self.resend('')
        self.assertEqual((status, said), (2, ''))
        self.assertIn('nothing was sent', complained)


if __name__ == '__main__':
    unittest.main()
