# SPDX-License-Identifier: GPL-3.0-or-later
"""A test case that runs linewalk as a person does, beside servers of its own."""

import json
import os
import socket
import subprocess
import tempfile
import unittest


def free_port():
    with socket.socket() as probe:
        probe.bind(('127.0.0.1', 0))
        return str(probe.getsockname()[1])


class Commanding(unittest.TestCase):
    linewalk = None

    def setUp(self):
        self.processes = []
        self.folder = tempfile.TemporaryDirectory()
        self.visit = os.path.join(self.folder.name, 'visit')

    def tearDown(self):
        for process in self.processes:
            process.kill()
            process.wait()
            for stream in (process.stdin, process.stdout, process.stderr):
                if stream:
                    stream.close()
        self.folder.cleanup()

    def path(self, name):
        return os.path.join(self.folder.name, name)

    def start(self, *words, **more):
        process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, **more)
        self.processes.insert(0, process)
        return process

    def start_ready(self, *words):
        """A process that says it is ready in its first line, which is returned with it."""
        process = self.start(*words)
        line = process.stdout.readline()
        self.assertTrue(line.startswith('ready'), (words, line))
        return process, line.split()

    def start_link(self):
        """Two pseudo-terminals joined by socat; returns their names when both are there."""
        ends = self.path('near'), self.path('far')
        process = subprocess.Popen(['socat', '-d', '-d', *(f'pty,raw,echo=0,link={end}' for end in ends)],
                                   stderr=subprocess.PIPE, text=True)
        self.processes.append(process)
        for line in process.stderr:
            if 'starting data transfer loop' in line:
                return ends
        self.fail('socat has ended')

    def run_linewalk(self, *words, timeout=120, prefix=()):
        return subprocess.run([*prefix, self.linewalk, *words], capture_output=True, text=True, timeout=timeout,
                              stdin=subprocess.DEVNULL, check=False)

    def result(self, *words):
        """Exit status and record of a command that prints its record."""
        done = self.run_linewalk(*words, '--json', '--quiet')
        self.assertTrue(done.stdout, done.stderr)
        return done.returncode, json.loads(done.stdout)

    def record(self, name):
        with open(os.path.join(self.visit, name), encoding='utf-8') as file:
            return json.load(file)
