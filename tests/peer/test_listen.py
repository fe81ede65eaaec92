# SPDX-License-Identifier: GPL-3.0-or-later
"""Listening on real descriptors: that nothing is ever sent, what an interruption and a kill leave, an
adapter that is pulled out, and a watch of eight virtual hours within its cap. The captures are read
here by a reader of a few lines (draft-ietf-opsawg-pcapng, 4.3), not by our own."""

import csv
import datetime
import glob
import json
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import tty
import unittest

from commanding import Commanding

Commanding.linewalk, DATA = sys.argv.pop(1), sys.argv.pop(1)
PROFILES = DATA + '/cell/profiles'


def crc(data):
    """MODBUS over Serial Line V1.02, 6.2.2."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ 0xA001 if value & 1 else value >> 1
    return struct.pack('<H', value)


def exchange(address, number):
    """A question for two registers and its answer."""
    request = bytes([address, 4, 0, 0, 0, 2])
    reply = bytes([address, 4, 4]) + struct.pack('>f', 5 + number / 10000)
    return request + crc(request), reply + crc(reply)


def packets(path):
    """Time (s) and bytes of the enhanced packets of a capture, whole blocks only; and what is left over."""
    with open(path, 'rb') as file:
        data = file.read()
    found, at = [], 0
    while at + 12 <= len(data):
        kind, length = struct.unpack_from('<II', data, at)
        if at + length > len(data):
            break
        assert struct.unpack_from('<I', data, at + length - 4)[0] == length
        if kind == 6:
            high, low, count = struct.unpack_from('<III', data, at + 12)
            found.append(((high << 32 | low) / 1e9, data[at + 28:at + 28 + count]))
        at += length
    return found, len(data) - at


def seconds_of(text):
    return datetime.datetime.fromisoformat(text.replace('Z', '+00:00')).timestamp()


class Listen(Commanding):
    def open_pair(self):
        """A pseudo-terminal whose other end is ours, raw."""
        master, slave = pty.openpty()
        tty.setraw(slave, termios.TCSANOW)
        self.addCleanup(os.close, master)
        self.addCleanup(os.close, slave)
        return master, os.ttyname(slave)

    def start_listening(self, *words):
        """Starts a listener and waits until it says that it listens."""
        process = subprocess.Popen([self.linewalk, 'listen', *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                   text=True, stdin=subprocess.DEVNULL)
        self.processes.insert(0, process)
        for line in process.stderr:
            if 'never sends' in line:
                return process
        self.fail('the listener has ended')

    def say(self, master, number, address=3):
        """One exchange onto the line, with time enough between the frames for the kernel to hand them over apart."""
        for frame in exchange(address, number):
            os.write(master, frame)
            select.select([], [], [], 0.01)

    def wait_for(self, path, enough):
        """Until the capture has so many bytes of packets: its writer wakes ten times a second."""
        for _ in range(600):
            found = packets(path)[0] if os.path.exists(path) else []
            if sum(len(data) for _, data in found) >= enough:
                return found
            select.select([], [], [], 0.05)
        self.fail(f'{path} does not grow')

    def test_nothing_is_sent_and_an_interruption_is_how_it_ends(self):
        master, name = self.open_pair()
        process = self.start_listening('--on', name, '--visit', self.visit)
        for number in range(40):
            self.say(master, number)
        self.wait_for(os.path.join(self.visit, '0001-listen.pcapng'), 40 * 17)
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=30)
        self.assertEqual(process.returncode, 0, out)
        self.assertEqual(select.select([master], [], [], 0)[0], [], 'bytes were sent')
        record = self.record('0001-listen.json')
        self.assertIs(record['complete'], True)
        self.assertEqual(record['verdict'], 'not_tested')
        result = record['result']
        self.assertEqual([result[key] for key in ('frames', 'exchanges', 'unanswered', 'crc_errors', 'bytes')],
                         [80, 40, 0, 0, 680])
        self.assertEqual([(read['address'], read['function'], read['register'], read['count'], read['replies'])
                          for read in result['reads']], [(3, 4, 0, 2, 40)])
        heard = b''.join(data for _, data in packets(os.path.join(self.visit, '0001-listen.pcapng'))[0])
        self.assertEqual(heard, b''.join(b''.join(exchange(3, number)) for number in range(40)))

    def test_a_kill_leaves_whole_blocks_and_loses_what_was_not_written_yet(self):
        master, name = self.open_pair()
        path = self.path('heard.pcapng')
        process = self.start_listening('--on', name, '--output', path)
        for number in range(50):
            self.say(master, number)
        self.wait_for(path, 50 * 17)
        self.say(master, 50)
        process.kill()
        process.wait()
        found, left_over = packets(path)
        heard = b''.join(data for _, data in found)
        sent = b''.join(b''.join(exchange(3, number)) for number in range(51))
        self.assertEqual(left_over, 0)
        self.assertTrue(sent.startswith(heard))
        lost = len(sent) - len(heard)
        print(f'killed: {len(heard)} of {len(sent)} bytes are left, the last {lost} were on their way')
        self.assertLessEqual(lost, 17)

    def test_a_killed_watch_leaves_its_ring_and_its_list(self):
        master, name = self.open_pair()
        folder = self.path('watch')
        process = self.start_listening('--on', name, '--output', folder, '--until-fault', '--after', '100ms',
                                       '--silence', '60s')
        for number in range(20):
            self.say(master, number)
        os.write(master, exchange(4, 0)[0])
        self.say(master, 20)
        self.wait_for(folder + '/event-0001.pcapng', 17)
        process.kill()
        process.wait()
        with open(folder + '/events.csv', encoding='utf-8') as file:
            rows = list(csv.DictReader(file))
        self.assertEqual((rows[0]['state'], rows[0]['kind'], rows[0]['address']), ('begin', 'unanswered', '4'))
        ring = b''.join(data for _, data in packets(folder + '/ring-000001.pcapng')[0])
        self.assertTrue(ring.startswith(b''.join(b''.join(exchange(3, number)) for number in range(20))))

    def test_an_adapter_that_was_pulled_out_is_opened_again(self):
        with open(DATA + '/watched.json', encoding='utf-8') as file:
            plan = json.load(file)
        plan['virtual']['faults'] = [{'kind': 'foreign_controller', 'cycle_ms': 100, 'addresses': [1, 2]}]
        with open(self.path('plan.json'), 'w', encoding='utf-8') as file:
            json.dump(plan, file)
        link = self.path('line')
        serve = (self.linewalk, 'sim', self.path('plan.json'), '--profiles', PROFILES, '--pty', link)
        chain, _ = self.start_ready(*serve)
        folder = self.path('watch')
        listener = self.start_listening('--on', link, '--output', folder, '--until-fault', '--after', '200ms')
        first = folder + '/ring-000001.pcapng'
        before = sum(len(data) for _, data in self.wait_for(first, 200))
        chain.send_signal(signal.SIGTERM)
        chain.wait(timeout=30)
        with open(folder + '/events.csv', encoding='utf-8') as file:
            while not any(',lost,' in line for line in file):
                select.select([], [], [], 0.05)
        self.start_ready(*serve)
        self.wait_for(first, before + 400)
        listener.send_signal(signal.SIGINT)
        out, said = listener.communicate(timeout=30)
        self.assertEqual(listener.returncode, 0, (out, said))
        with open(folder + '/events.csv', encoding='utf-8') as file:
            kinds = {row['kind'] for row in csv.DictReader(file)}
        self.assertIn('lost', kinds)

    def watch_plan(self, name, faults):
        with open(DATA + '/watched.json', encoding='utf-8') as file:
            plan = json.load(file)
        plan['virtual']['faults'] = faults
        with open(self.path(name), 'w', encoding='utf-8') as file:
            json.dump(plan, file)
        return self.path(name)

    def run_measured(self, *words):
        """Runs linewalk; returns the greatest memory it was seen with (VmHWM, proc(5)), kB."""
        # a sanitizer would keep what is freed, and count it
        process = subprocess.Popen([self.linewalk, *words], stdout=subprocess.DEVNULL,
                                   env={**os.environ, 'ASAN_OPTIONS': 'quarantine_size_mb=1'})
        self.processes.insert(0, process)
        most_kb = 0
        while process.poll() is None:
            with open(f'/proc/{process.pid}/status', encoding='utf-8') as file:
                lines = [line for line in file if line.startswith('VmHWM')]
            most_kb = max([most_kb, *(int(line.split()[1]) for line in lines)])
            select.select([], [], [], 0.02)
        self.assertEqual(process.returncode, 0)
        return most_kb

    def test_eight_hours_with_three_faults(self):
        cap = 2_000_000
        watch = ('--profiles', PROFILES, '--until-fault', '--cap', '2MB', '--quiet')
        quiet = self.watch_plan('quiet.json', [{'kind': 'foreign_controller', 'cycle_ms': 500, 'addresses': [1, 2, 3, 4]}])
        short_kb = self.run_measured('listen', '--on', 'sim:' + quiet, '--output', self.path('short'), '--seconds', '600', *watch)
        plan = self.watch_plan('long.json', [
            {'kind': 'foreign_controller', 'cycle_ms': 500, 'addresses': [1, 2, 3, 4], 'to_s': 25000},
            {'kind': 'foreign_controller', 'cycle_ms': 500, 'addresses': [1, 2, 3, 4], 'from_s': 25030},
            {'kind': 'dead_node', 'tap': 3, 'from_s': 3600, 'to_s': 3605},
            {'kind': 'magnet_near', 'tap': 2, 'field': 0, 'steady': 20, 'reach_taps': 0.5, 'from_s': 14400, 'to_s': 14403}])
        long_kb = self.run_measured('listen', '--on', 'sim:' + plan, '--visit', self.visit, '--seconds', '28800', *watch)
        record = self.record('0001-listen.json')
        start = seconds_of(record['started'])
        events = record['result']['events']
        seen = [(event['kind'], event.get('node'), round(seconds_of(event['from']) - start)) for event in events]
        self.assertEqual(seen, [('unanswered', 'P03', 3600), ('value', 'P02', 14400), ('silence', None, 25000)])
        self.assertAlmostEqual(seconds_of(events[0]['to']) - start, 3605, delta=1)
        self.assertAlmostEqual(seconds_of(events[2]['to']) - start, 25030, delta=1)
        folder = os.path.join(self.visit, '0001-listen')
        for event in events:
            self.assert_kept(folder, event)
        on_disk = sum(os.path.getsize(path) for path in glob.glob(folder + '/*'))
        self.assertLessEqual(on_disk, cap)
        self.assertLessEqual(record['result']['most_bytes'], cap)
        self.assertGreater(record['result']['frames'], 400_000)
        print(f'eight hours: {len(events)} events, {record["result"]["frames"]:.0f} frames; memory {long_kb} kB, after ten minutes '
              f'{short_kb} kB; disk at most {record["result"]["most_bytes"]:.0f} of {cap} bytes')
        self.assertLess(long_kb, short_kb + 1024)
        self.assert_chain_whole()

    def assert_kept(self, folder, event):
        """The capture of an event holds what passed from 10 s before it on, without a gap."""
        found, left_over = packets(os.path.join(folder, event['captures'][0]))
        self.assertEqual(left_over, 0)
        at = seconds_of(event['from'])
        times = [time for time, _ in found if time <= at]
        self.assertLess(times[0], at - 9)
        self.assertGreater(times[-1], at - 0.7)
        self.assertLess(max(b - a for a, b in zip(times, times[1:])), 0.7)
        self.assertLess(found[-1][0], at + 10.1)

    def assert_chain_whole(self):
        """Every file of the record is as its digest says: the visit finds nothing wrong."""
        done = self.run_linewalk('visit', self.visit)
        self.assertEqual(done.returncode, 0, done)
        self.assertIsNone(re.search('changed|broken', done.stdout + done.stderr), done)


unittest.main()
