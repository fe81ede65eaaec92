# SPDX-License-Identifier: GPL-3.0-or-later
"""What can go wrong on the day: an interruption, a full disk, a folder that is not ours, a visit in
use, a gateway that refuses, hangs or hangs up. Each has one clear line and loses nothing."""

import os
import signal
import socket
import subprocess
import sys
import termios
import threading
import unittest

from commanding import Commanding, free_port

Commanding.linewalk, CELL = sys.argv.pop(1), sys.argv.pop(1)
QUICK = ('--listen-first', '100ms', '--controller', 'none')


class Trouble(Commanding):
    def serve(self, tell):
        link = self.path('line')
        process, _ = self.start_ready(self.linewalk, 'sim', CELL, '--pty', link, '--tell', str(tell))
        return link, process

    def settings(self, link):
        handle = os.open(link, os.O_RDWR | os.O_NOCTTY)
        try:
            return termios.tcgetattr(handle)
        finally:
            os.close(handle)

    def interrupted(self, command, *more, by=signal.SIGINT):
        """Interrupts a command when the chain has seen so many requests; returns its record."""
        link, chain = self.serve(10)
        before = self.settings(link)
        running = subprocess.Popen([self.linewalk, command, '--on', link, '--visit', self.visit, '--plan',
                                    CELL + '/plan.json', *QUICK, *more],
                                   stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL)
        self.assertEqual(chain.stdout.readline(), 'request 10\n')
        running.send_signal(by)
        said = running.communicate(timeout=30)
        self.assertEqual(running.returncode, 130, said)
        self.assertEqual(self.settings(link), before)
        record = self.record(f'0001-{command}.json')
        self.assertIs(record['complete'], False)
        self.assertIn('line_interrupted', [finding['code'] for finding in record['findings']])
        names = [file['name'] for file in record['files']]
        for name in names:
            self.assertGreater(os.path.getsize(os.path.join(self.visit, name)), 0)
        return record, names

    def test_a_scan_that_is_interrupted_is_recorded_as_far_as_it_came(self):
        record, names = self.interrupted('scan', '--slowest-reply', '500ms')
        self.assertEqual(names, ['0001-scan.pcapng'])
        self.assertGreaterEqual(record['result']['asked'], 9)
        self.assertLess(record['result']['asked'], 247)
        self.assertEqual([node['address'] for node in record['result']['nodes']], [1, 2, 3, 4])

    def test_one_that_is_terminated_or_loses_its_terminal_does_the_same(self):
        for by in signal.SIGTERM, signal.SIGHUP:
            with self.subTest(by):
                self.interrupted('link', '--seconds', '60', by=by)
            self.tearDown()
            self.setUp()

    def test_a_chain_that_is_gone_in_the_middle_is_recorded(self):
        link, chain = self.serve(10)
        running = subprocess.Popen([self.linewalk, 'noise', '--on', link, '--visit', self.visit, '--plan', CELL + '/plan.json',
                                    *QUICK, '--seconds', '60'], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                                   stdin=subprocess.DEVNULL)
        self.assertEqual(chain.stdout.readline(), 'request 10\n')
        chain.kill()
        said = running.communicate(timeout=30)[1]
        self.assertEqual(running.returncode, 3)
        self.assertIn('is gone: the program behind it ended', said)
        record = self.record('0001-noise.json')
        self.assertEqual((record['complete'], [finding['code'] for finding in record['findings']][-1]), (False, 'line_failed'))
        self.assertGreater(sum(node['n'] for node in record['result']['nodes']), 0)

    def test_a_noise_run_that_is_interrupted_keeps_its_readings(self):
        record, names = self.interrupted('noise', '--seconds', '60')
        self.assertEqual(names, ['0001-noise.pcapng', '0001-noise.csv'])
        with open(os.path.join(self.visit, names[1]), encoding='utf-8') as file:
            rows = [line for line in file if line[0].isdigit()]
        self.assertGreaterEqual(len(rows), 4)
        self.assertEqual(sum(node['n'] + node['repeats'] for node in record['result']['nodes']), len(rows))

    def test_a_full_disk_is_said_and_leaves_no_half_record(self):
        disk = self.path('small')
        os.mkdir(disk)
        if subprocess.run(['mount', '-t', 'tmpfs', '-o', 'size=40k', 'tmpfs', disk], capture_output=True, check=False).returncode:
            self.skipTest('a small disk cannot be mounted here')
        try:
            done = self.run_linewalk('scan', '--on', 'sim:' + CELL, '--visit', disk + '/visit', '--quiet')
            self.assertEqual(done.returncode, 3, done)
            self.assertIn('No space left on device', done.stderr)
            self.assertEqual(len(done.stderr.splitlines()), 1)
            self.assertNotIn('0001-scan.json', os.listdir(disk + '/visit'))
        finally:
            subprocess.run(['umount', disk], check=True)

    def test_a_folder_without_permission_is_said(self):
        if os.getuid() != 0:
            self.skipTest('needs root to become somebody else')
        os.chmod(self.folder.name, 0o755)
        os.mkdir(self.visit, 0o755)
        done = self.run_linewalk('scan', '--on', 'sim:' + CELL, '--visit', self.visit, '--quiet',
                                 prefix=('setpriv', '--reuid=65534', '--clear-groups'))
        self.assertEqual(done.returncode, 3, done)
        self.assertIn('Permission denied', done.stderr)
        self.assertEqual(len(done.stderr.splitlines()), 1)

    def test_a_visit_in_use_is_left_alone(self):
        link, chain = self.serve(10)
        first = subprocess.Popen([self.linewalk, 'noise', '--on', link, '--visit', self.visit, '--plan',
                                  CELL + '/plan.json', *QUICK, '--seconds', '60', '--quiet'], stdout=subprocess.DEVNULL)
        self.processes.insert(0, first)
        self.assertEqual(chain.stdout.readline(), 'request 10\n')
        second = self.run_linewalk('scan', '--on', 'sim:' + CELL, '--visit', self.visit, '--quiet')
        self.assertEqual(second.returncode, 3, second)
        self.assertIn('in use', second.stderr)
        first.send_signal(signal.SIGINT)
        self.assertEqual(first.wait(timeout=30), 130)
        self.assertIs(self.record('0001-noise.json')['complete'], False)
        self.assertNotIn('0002-scan.json', os.listdir(self.visit))

    def gateway(self, behave):
        """A server that takes one client and behaves; returns its address."""
        listener = socket.create_server(('127.0.0.1', 0))

        def run():
            client, _ = listener.accept()
            with client, listener:
                behave(client)
        threading.Thread(target=run, daemon=True).start()
        return 'tcp://127.0.0.1:%d' % listener.getsockname()[1]

    def test_a_gateway_that_refuses(self):
        done = self.run_linewalk('scan', '--on', 'tcp://127.0.0.1:' + free_port(), *QUICK, '--quiet')
        self.assertEqual(done.returncode, 3)
        self.assertIn('Connection refused', done.stderr)
        self.assertEqual(len(done.stderr.splitlines()), 1)

    def test_a_gateway_that_hangs_finds_nobody(self):
        over = threading.Event()
        line = self.gateway(lambda client: over.wait(60))
        done = self.run_linewalk('scan', '--on', line, *QUICK, '--addresses', '1-3', '--visit', self.visit)
        over.set()
        self.assertEqual(done.returncode, 1, done)
        record = self.record('0001-scan.json')
        self.assertIs(record['complete'], True)
        self.assertEqual([finding['code'] for finding in record['findings']], ['scan_none'])

    def test_a_gateway_that_hangs_up_in_the_middle(self):
        def behave(client):
            for _ in range(3):
                request = client.recv(260)
                client.sendall(request[:4] + bytes([0, 3, request[6], 0x83, 2]))
        done = self.run_linewalk('scan', '--on', self.gateway(behave), *QUICK, '--visit', self.visit, '--quiet')
        self.assertEqual(done.returncode, 3, done)
        record = self.record('0001-scan.json')
        self.assertIs(record['complete'], False)
        self.assertIn('line_failed', [finding['code'] for finding in record['findings']])
        self.assertEqual([node['address'] for node in record['result']['nodes']], [1, 2, 3])


unittest.main()
