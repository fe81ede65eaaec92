# SPDX-License-Identifier: GPL-3.0-or-later
"""linewalk assign against a node of another make (pymodbus), and a walk that is stopped and begun again on a served chain.

Real time: states are asserted, never times."""

import json
import os
import subprocess
import sys
import unittest

from commanding import Commanding

Commanding.linewalk, NEWCOMER, PROFILES = (sys.argv.pop(1) for _ in range(3))
QUICK = ('--listen-first', '100ms', '--controller', 'none')
PATIENCE = 40
KEY = 51966


def framed(*data):
    """With the CRC of MODBUS over Serial Line V1.02, 6.2.2: polynomial 0xA001, low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return bytes([*data, crc & 0xFF, crc >> 8])


def word(value):
    return value >> 8, value & 0xFF


class Assign(Commanding):
    def write_json(self, name, value):
        with open(self.path(name), 'w', encoding='utf-8') as file:
            json.dump(value, file)
        return self.path(name)

    def plan(self, function):
        profile = {
            'format': 'linewalk/profile/1', 'name': 'other-make', 'title': 'Node of another make', 'kind': 'displacement',
            'identity': {'vendor': 'Example Metrology', 'product_code': 'EM-10'},
            'registers': [{'name': 'serial', 'role': 'serial', 'function': 3, 'register': 100, 'type': 'u32'}],
            'timing': {'slowest_reply_ms': 500},
            'setup': {'factory_address': 247, 'write_function': function,
                      'unlock': [{'register': 768, 'value': KEY}, {'register': 769, 'value': 2}],
                      'address': {'register': 770, 'min': 1, 'max': 247}, 'save': [{'register': 771, 'value': 1}],
                      'restart': [{'register': 772, 'value': 1}], 'takes_effect': 'after_restart'}}
        os.mkdir(self.path('profiles'))
        self.write_json('profiles/other-make.json', profile)
        return self.write_json('plan.json', {
            'format': 'linewalk/plan/1', 'line': {'framing': '19200/8E1'},
            'supplies': [{'name': 'PS1', 'nominal_v': 24, 'output_ohm': 0.02, 'limit_a': 5, 'feeds_tap': 1}],
            'span_default': {'length_m': 1, 'conductor': {'area_mm2': 0.5}},
            'chain': [{'node': 'P07', 'profile': 'other-make', 'address': 7, 'serial': '104417'}]})

    def newcomer(self, key):
        near, far = self.start_link()
        self.start(sys.executable, NEWCOMER, far, self.path('log'), str(key), stderr=subprocess.DEVNULL)
        for _ in range(PATIENCE):  # it does not say when it is ready: it is when it has answered
            if self.found(near, '247') == [247]:
                return near
        self.fail('pymodbus does not answer')

    def found(self, line, addresses):
        _, record = self.result('scan', '--on', line, *QUICK, '--slowest-reply', '500ms', '--gentle', '--addresses', addresses)
        return [node['address'] for node in record['result']['nodes']]

    def answers(self, *lines):
        with open(self.path('answers'), 'w', encoding='utf-8') as file:
            file.write('\n'.join(['question,answer', *lines]) + '\n')
        return self.path('answers')

    def log(self):
        with open(self.path('log'), encoding='ascii') as file:
            rows = [line.split() for line in file]
        heard = b''.join(bytes.fromhex(row[1]) for row in rows if row[0] == 'bytes')
        return heard, [tuple(map(int, row[1:])) for row in rows if row[0] == 'written']

    def assign(self, line, function, *last):
        answers = self.answers('safety.off,yes', 'safety.who,A. Sample', 'assign.who,E. Example', 'P07.write,yes', *last)
        exit_status, record = self.result('assign', 'P07', '--on', line, *QUICK, '--plan', self.plan(function),
                                          '--allow-writes', '--answers', answers)
        self.assertEqual(record['result']['allowed_by'], 'E. Example')
        return exit_status, record['result']['nodes'][0], [each['code'] for each in record['findings']]

    wanted = [(768, KEY), (769, 2), (770, 7), (771, 1), (772, 1)]

    def takes_its_address(self, function, frames):
        line = self.newcomer(KEY)
        exit_status, node, findings = self.assign(line, function, 'P07.label,keep')
        self.assertEqual((exit_status, node['state'], findings), (0, 'assigned', []))
        self.assertEqual((node['before_address'], node['after_address'], node['serial']), (247, 7, '104417'))
        heard, written = self.log()
        self.assertEqual(written, self.wanted)
        self.assertEqual([(each['register'], each['value']) for each in node['writes']], self.wanted)
        at = 0
        for frame in frames:  # each of them, in this order, byte for byte
            at = heard.find(frame, at)
            self.assertGreaterEqual(at, 0, frame.hex())
            at += len(frame)
        self.assertEqual(self.found(line, '7,247'), [7])

    def test_function_06_writes_what_the_profile_says(self):
        self.takes_its_address(6, [framed(247, 6, *word(at), *word(value)) for at, value in self.wanted])

    def test_function_16_writes_what_the_profile_says(self):
        self.takes_its_address(16, [framed(247, 16, *word(at), 0, 1, 2, *word(value)) for at, value in self.wanted])

    def test_a_node_that_refuses_stays_where_it_is(self):
        line = self.newcomer(KEY + 1)
        exit_status, node, findings = self.assign(line, 6, 'P07.after,leave')
        self.assertEqual((exit_status, node['state'], findings), (1, 'refused', ['assign_refused']))
        self.assertEqual([each['outcome'] for each in node['writes']], ['answered', 'answered', 'exception'])
        self.assertEqual(node['after_address'], 247)
        self.assertEqual(self.found(line, '7,247'), [247])

    def served_chain(self):
        """Three nodes, the last two new at 247; the third hangs on the chain from second 6 on."""
        plan = {'format': 'linewalk/plan/1', 'line': {'framing': '19200/8E1'},
                'supplies': [{'name': 'PS1', 'nominal_v': 24, 'output_ohm': 0.02, 'limit_a': 5, 'feeds_tap': 1}],
                'span_default': {'length_m': 1, 'conductor': {'area_mm2': 0.5}},
                'chain': [{'node': f'P0{i}', 'profile': 'quick', 'address': i, 'serial': f'10060{i}'} for i in (1, 2, 3)],
                'virtual': {'seed': 5, 'faults': [
                    {'kind': 'new_node', 'tap': 2, 'framing': '19200/8E1'},
                    {'kind': 'new_node', 'tap': 3, 'framing': '19200/8E1', 'from_s': 8}]}}
        with open(PROFILES + '/example-probe.json', encoding='utf-8') as file:
            profile = json.load(file)
        profile['name'] = 'quick'
        profile['setup']['restart'] = [{'register': 212, 'value': 1}]
        profile['setup']['factory_framing'] = '19200/8E1'
        os.mkdir(self.path('profiles'))
        self.write_json('profiles/quick.json', profile)
        plan = self.write_json('plan.json', plan)
        link = self.path('served')
        self.start_ready(self.linewalk, 'sim', plan, '--pty', link)
        return link, plan

    def test_a_walk_that_was_stopped_goes_on(self):
        link, plan = self.served_chain()
        safe = ('safety.off,yes', 'safety.who,A. Sample')
        words = ('assign', '--walk', '--on', link, *QUICK, '--plan', plan, '--allow-writes', '--wait', '40', '--visit', self.visit)
        first = self.answers(*safe, 'assign.who,E. Example', 'P02.plug,yes', 'P02.write,yes', 'P02.label,keep', 'P03.plug,stop')
        exit_status, record = self.result(*words, '--answers', first)
        self.assertEqual((exit_status, record['complete']), (130, False))
        self.assertEqual([node['state'] for node in record['result']['nodes']], ['already', 'assigned', 'open'])
        second = self.answers(*safe, 'P03.plug,yes', 'P03.write,yes', 'P03.label,keep')
        exit_status, record = self.result(*words, '--answers', second, '--resume')
        self.assertEqual((exit_status, record['complete']), (0, True))
        self.assertEqual([node['state'] for node in record['result']['nodes']], ['already', 'already', 'assigned'])
        self.assertEqual(record['result']['allowed_by'], 'E. Example')
        self.assertEqual(self.found(link, '1-3,247'), [1, 2, 3])


unittest.main()
