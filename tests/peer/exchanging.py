# SPDX-License-Identifier: GPL-3.0-or-later
"""A test case that drives the client (tests/peer/exchange.c) against another process's units."""

import os
import subprocess
import tempfile
import unittest


class Exchanging(unittest.TestCase):
    exchange = None  # path of the client's driver

    def setUp(self):
        self.processes = []
        self.folder = tempfile.TemporaryDirectory()

    def tearDown(self):
        for process in self.processes:
            process.kill()
            process.wait()
            process.stdin.close()
            process.stdout.close()
        self.folder.cleanup()

    def start(self, *words):
        """Starts a process that is killed, the last one first, when the test ends."""
        process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.processes.insert(0, process)
        return process

    def start_ready(self, *words):
        """The same for one that says it is ready; returns the rest of that line."""
        process = self.start(*words)
        said = process.stdout.readline().split()
        self.assertEqual(said[:1], ['ready'], words)
        return process, said[1:]

    def open_client(self, line, reply_s='1.5', attempts='1'):
        self.client, _ = self.start_ready(self.exchange, line, reply_s, attempts)

    def link(self):
        return os.path.join(self.folder.name, 'line')

    def ask(self, address, request):
        """Outcome and reply in hexadecimal, or 'exception' and its code."""
        self.client.stdin.write(f'{address} {request}\n')
        self.client.stdin.flush()
        outcome, exception, *reply = self.client.stdout.readline().split()
        return (outcome, int(exception)) if outcome == 'exception' else (outcome, *reply)
