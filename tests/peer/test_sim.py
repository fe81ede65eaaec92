# SPDX-License-Identifier: GPL-3.0-or-later
"""A served chain read by libmodbus: what its plan says is what an independent master finds.

Registers are decoded here from the profiles, apart from lib/site. Real time, so values are asserted and
never times."""

import json
import os
import struct
import subprocess
import sys
import tempfile
import unittest

SCENARIO, MASTER, LINEWALK = sys.argv.pop(), sys.argv.pop(), sys.argv.pop()

with open(os.path.join(SCENARIO, 'plan.json'), encoding='utf-8') as file:
    PLAN = json.load(file)
PROFILES = {}
for name in os.listdir(os.path.join(SCENARIO, 'profiles')):
    with open(os.path.join(SCENARIO, 'profiles', name), encoding='utf-8') as file:
        profile = json.load(file)
    PROFILES[profile['name']] = profile
NODES = [entry for entry in PLAN['chain'] if 'node' in entry]


def register_of(entry, role):
    found = [one for one in PROFILES[entry['profile']]['registers'] if one.get('role') == role]
    return found[0] if found else None


def words_of(register):
    if register['type'] == 'text':
        return (register['length'] + 1) // 2
    return 1 if register['type'] in ('u16', 'i16') else 2


def decoded(register, words):
    if register['type'] == 'text':
        return struct.pack(f'>{len(words)}H', *words).rstrip(b'\0 ').decode()
    if register.get('word_order') == 'low_first':
        words = words[::-1]
    code = {'u16': '>H', 'i16': '>h', 'u32': '>I', 'i32': '>i', 'f32': '>f'}[register['type']]
    raw = struct.unpack(code, struct.pack(f'>{len(words)}H', *words))[0]
    return raw * register.get('scale', 1) + register.get('offset', 0)


class Served(unittest.TestCase):
    def setUp(self):
        self.processes = []
        self.folder = tempfile.TemporaryDirectory()

    def tearDown(self):
        for process in self.processes:
            process.terminate()
            process.wait()
            process.stdout.close()
            if process.stdin:
                process.stdin.close()
        self.folder.cleanup()

    def start(self, *words, **options):
        process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, **options)
        self.processes.insert(0, process)
        ready = process.stdout.readline().split()
        self.assertEqual(ready[:1], ['ready'], words)
        return process, ready

    def on_pty(self):
        link = os.path.join(self.folder.name, 'link')
        self.start(LINEWALK, 'sim', SCENARIO, '--pty', link)
        self.master, _ = self.start(MASTER, 'rtu', link, stdin=subprocess.PIPE)

    def on_tcp(self):
        _, ready = self.start(LINEWALK, 'sim', SCENARIO, '--tcp', '0')
        self.master, _ = self.start(MASTER, 'tcp', ready[-1].rsplit(':', 1)[1], stdin=subprocess.PIPE)

    def ask(self, address, function, start, count):
        self.master.stdin.write(f'{address} {function} {start} {count}\n')
        self.master.stdin.flush()
        said = self.master.stdout.readline()
        self.assertNotIn('error', said, (address, function, start, count))
        return [int(word, 16) for word in said.split()]

    def value(self, entry, role):
        register = register_of(entry, role)
        words = self.ask(entry['address'], register['function'], register['register'], words_of(register))
        return decoded(register, words)

    def all_nodes_say_what_the_plan_says(self):
        for entry in NODES:
            with self.subTest(node=entry['node']):
                self.assertEqual(str(self.value(entry, 'serial')), entry['serial'])
                low, high = PROFILES[entry['profile']]['metrology']['range']
                self.assertTrue(low <= self.value(entry, 'reading') <= high)
                if register_of(entry, 'supply_v'):
                    electrical = PROFILES[entry['profile']]['electrical']
                    self.assertTrue(electrical['minimum_v'] < self.value(entry, 'supply_v') < 25)

    def test_on_a_pty(self):
        self.on_pty()
        self.all_nodes_say_what_the_plan_says()

    def test_on_tcp(self):
        self.on_tcp()
        self.all_nodes_say_what_the_plan_says()

    def test_a_chain_served_through_a_socket_marks_its_visit(self):
        _, ready = self.start(LINEWALK, 'sim', SCENARIO, '--tcp', '0')
        line = 'tcp://127.0.0.1:' + ready[-1].rsplit(':', 1)[1]
        for check in ('scan', 'roster'):
            with self.subTest(check=check):
                visit = os.path.join(self.folder.name, check)
                done = subprocess.run([LINEWALK, check, '--on', line, '--visit', visit, '--controller', 'none',
                                       '--quiet', '--plan', os.path.join(SCENARIO, 'plan.json'),
                                       '--nodes', NODES[0]['node']], stdout=subprocess.PIPE, text=True)
                self.assertIn(f'{check}: pass (simulated)', done.stdout)
                with open(os.path.join(visit, f'0001-{check}.json'), encoding='utf-8') as file:
                    self.assertTrue(json.load(file)['line']['simulated'])

    def test_a_second_master_after_the_first(self):
        self.on_pty()
        self.value(NODES[0], 'serial')
        master = self.processes.pop(0)
        link = os.path.join(self.folder.name, 'link')
        master.stdin.close()  # it puts the terminal back; a killed one leaves a pty that refuses parity
        master.wait()
        master.stdout.close()
        self.master, _ = self.start(MASTER, 'rtu', link, stdin=subprocess.PIPE)
        self.assertEqual(str(self.value(NODES[0], 'serial')), NODES[0]['serial'])


if __name__ == '__main__':
    unittest.main()
