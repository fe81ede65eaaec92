# SPDX-License-Identifier: GPL-3.0-or-later
"""That the machine is kept awake in a long run, asked of a login manager of the test's own (login_manager.py) by the real
systemd-inhibit over a real message bus: held while it runs, given back at the end, after an interruption and after a kill."""
import os
import signal
import subprocess
import sys
import unittest

from commanding import Commanding

Commanding.linewalk, MANAGER, CELL = sys.argv.pop(1), sys.argv.pop(1), sys.argv.pop(1)
HELD = 'held linewalk sleep:idle:handle-lid-switch block\n'


class Awake(Commanding):
    def bus(self, grants):
        """Starts a message bus and a login manager on it; returns the manager's process."""
        address = 'unix:path=' + self.path('bus')
        with open(self.path('bus.conf'), 'w', encoding='ascii') as file:
            file.write(f'<busconfig><listen>{address}</listen><auth>EXTERNAL</auth><policy context="default"><allow user="*"/>'
                       '<allow own="*"/><allow send_destination="*"/><allow receive_sender="*"/></policy></busconfig>')
        daemon = self.start('dbus-daemon', '--nofork', '--print-address', '--config-file', self.path('bus.conf'),
                            stderr=subprocess.DEVNULL)
        daemon.stdout.readline()
        self.environment = {**os.environ, 'DBUS_SYSTEM_BUS_ADDRESS': address}
        manager = self.start(sys.executable, MANAGER, grants, env=self.environment)
        self.assertEqual(manager.stdout.readline(), 'ready\n')
        return manager

    def line(self):
        link = self.path('line')
        self.start_ready(self.linewalk, 'sim', CELL, '--pty', link)
        return link

    def long_run(self, *words):
        running = subprocess.Popen([self.linewalk, *words], env=self.environment, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL)
        self.processes.insert(0, running)
        return running

    def watch(self):
        return self.long_run('listen', '--on', self.line(), '--framing', '19200/8E1', '--until-fault', '--output',
                             self.path('watch'), '--cap', '8MB')

    def noise(self, *more):
        return self.long_run('noise', '--on', self.line(), '--plan', CELL + '/plan.json', '--listen-first', '100ms',
                             '--controller', 'none', '--seconds', '900', *more)

    def said_of_sleep(self, running):
        return next((line for line in running.stderr if 'sleep' in line), '')

    def test_a_watch_keeps_the_machine_awake_until_it_is_ended(self):
        manager = self.bus('yes')
        running = self.watch()
        self.assertEqual(manager.stdout.readline(), HELD)
        running.send_signal(signal.SIGINT)
        said = running.communicate(timeout=30)[1]
        self.assertEqual(running.returncode, 0, said)
        self.assertNotIn('sleep', said)
        self.assertEqual(manager.stdout.readline(), 'given back linewalk\n')

    def test_a_long_noise_run_does_so_until_it_is_interrupted(self):
        manager = self.bus('yes')
        running = self.noise()
        self.assertEqual(manager.stdout.readline(), HELD)
        running.send_signal(signal.SIGINT)
        running.communicate(timeout=30)
        self.assertEqual(running.returncode, 130)
        self.assertEqual(manager.stdout.readline(), 'given back linewalk\n')

    def test_nothing_is_held_any_longer_when_it_is_killed(self):
        manager = self.bus('yes')
        running = self.noise('--quiet')
        self.assertEqual(manager.stdout.readline(), HELD)
        running.kill()
        running.communicate(timeout=30)
        self.assertEqual(manager.stdout.readline(), 'given back linewalk\n')

    def test_a_system_that_does_not_grant_it_is_told_of_and_the_run_goes_on(self):
        manager = self.bus('no')
        running = self.noise()
        self.assertEqual(manager.stdout.readline(), 'refused linewalk\n')
        self.assertEqual(self.said_of_sleep(running),
                         'linewalk noise: this machine may go to sleep meanwhile: the system does not grant it\n')
        running.send_signal(signal.SIGINT)
        running.communicate(timeout=30)
        self.assertEqual(running.returncode, 130)

    def test_a_machine_without_such_a_system_is_told_of(self):
        self.environment = {**os.environ, 'PATH': '/nowhere'}
        running = self.noise()
        self.assertEqual(self.said_of_sleep(running), 'linewalk noise: this machine may go to sleep meanwhile: '
                         "cannot run 'systemd-inhibit': No such file or directory\n")

    def test_a_short_run_asks_for_nothing(self):
        manager = self.bus('yes')
        running = self.long_run('scan', '--on', self.line(), '--plan', CELL + '/plan.json', '--listen-first', '100ms',
                                '--controller', 'none', '--addresses', '1-4')
        running.communicate(timeout=60)
        self.assertEqual(running.returncode, 0)
        manager.terminate()
        self.assertEqual(manager.stdout.read(), '')


unittest.main()
