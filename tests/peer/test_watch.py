# SPDX-License-Identifier: GPL-3.0-or-later
"""The full screen of linewalk watch, looked at in tmux. What it must show stands in watch/*.screen;
BLESS=1 writes what it shows now: read the difference. The chains are virtual and as fast as they go, so that
the last picture is the same each time; it is held until a key. Nothing sleeps: what the terminal is sent wakes
the test, and then it looks at the screen."""

import json
import os
import select
import signal
import subprocess
import sys
import time
import unittest

from commanding import Commanding

Commanding.linewalk, SOURCE = os.path.abspath(sys.argv.pop(1)), sys.argv.pop(1)
HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), 'watch')
DEADLINE_S = 60
LAST = ('--sim-speed', '0', '--hold')


def long_chain():
    """Two hundred nodes, and what happens to some of them; the first 3 s are listened to."""
    kinds = ['example-probe', 'example-probe', 'example-loop', 'example-probe', 'example-air']
    supplies = [{'name': f'PS{tap}', 'nominal_v': 24, 'output_ohm': 0.02, 'limit_a': 10, 'feeds_tap': tap,
                 'cuts_before': 'v_plus' if tap > 1 else 'none'} for tap in range(1, 201, 20)]
    faults = [{'kind': 'dead_node', 'tap': 57, 'from_s': 16, 'to_s': 60},
              {'kind': 'dead_node', 'tap': 120, 'from_s': 10, 'to_s': 25.2},
              {'kind': 'dead_node', 'tap': 8, 'from_s': 5, 'to_s': 9},
              {'kind': 'unplugged_sensor', 'tap': 31, 'from_s': 12, 'to_s': 60},
              {'kind': 'magnet_near', 'tap': 141, 'field': 0.0, 'steady': 0.05, 'reach_taps': 0.1, 'from_s': 24.5,
               'to_s': 60}]
    return {'format': 'linewalk/plan/1', 'site': {'machine': 'Line 5, long gauge'}, 'line': {'framing': '115200/8E1'},
            'supplies': supplies, 'span_default': {'length_m': 0.5, 'conductor': {'area_mm2': 0.5}},
            'chain': [{'node': f'P{tap:03}', 'profile': kinds[tap % 5], 'address': tap, 'serial': str(100000 + tap),
                       'place': f'station {(tap + 9) // 10}'} for tap in range(1, 201)],
            'virtual': {'seed': 5, 'faults': faults}}


class Watch(Commanding):
    maxDiff = None

    def setUp(self):
        super().setUp()
        self.opened, self.pipe = 0, None

    def tearDown(self):
        if self.pipe is not None:
            self.close()
        super().tearDown()

    def close(self):
        self.tmux('kill-server', check=False)
        os.close(self.pipe)
        self.pipe = None

    def tmux(self, *words, check=True):
        return subprocess.run(['tmux', '-f', '/dev/null', '-S', self.socket, *words], capture_output=True, text=True,
                              check=check, timeout=DEADLINE_S).stdout

    def open(self, columns, rows, **more):
        """A terminal with a shell in it, and a pipe that tells when it is sent something."""
        self.opened += 1
        self.socket = self.path(f'tmux-{self.opened}')
        environment = {'LC_ALL': 'C.UTF-8', 'TZ': 'UTC', 'NO_COLOR': '1', 'PS1': 'ready> ', 'HOME': self.folder.name,
                       'PATH': os.environ['PATH'], **more}
        words = [f'{name}={value}' for name, value in environment.items() if value is not None]
        self.tmux('new-session', '-d', '-c', self.folder.name, '-x', str(columns), '-y', str(rows),
                  'env', '-u', 'NO_COLOR', '-u', 'LANGUAGE', *words, 'sh')
        fifo = self.path(f'sent-{self.opened}')
        os.mkfifo(fifo)
        self.pipe = os.open(fifo, os.O_RDONLY | os.O_NONBLOCK)
        self.tmux('pipe-pane', f'cat >{fifo}')
        self.wait_for('ready>')

    def picture(self, *more):
        text = self.tmux('capture-pane', '-p', *more)
        return text.replace(self.folder.name, 'FOLDER').replace(SOURCE, 'SOURCE')

    def wait_until(self, is_so, what):
        end = time.monotonic() + DEADLINE_S
        while time.monotonic() < end:
            picture = self.picture()
            if is_so(picture):
                return picture
            # A pipe without a writer yet is readable and empty; what comes is only a reason to look.
            select.select([self.pipe], [], [], 0.05)
            try:
                os.read(self.pipe, 65536)
            except BlockingIOError:
                pass
        self.fail(f'{what}: not on the screen\n{self.picture()}')

    def wait_for(self, *texts):
        return self.wait_until(lambda picture: all(text in picture for text in texts), texts)

    def type(self, text):
        self.tmux('send-keys', '-l', text)

    def key(self, *names):
        self.tmux('send-keys', *names)

    def shell(self, line):
        self.type(line)
        self.key('Enter')

    def watch(self, *words):
        quoted = ' '.join(f"'{word}'" for word in (self.linewalk, 'watch', *words))
        self.shell('clear; ' + quoted + '; echo status $?')

    def demo(self, name):
        if not os.path.exists(self.path(f'demo-{name}')):
            os.symlink(f'{SOURCE}/captures/demo-{name}', self.path(f'demo-{name}'))
        return f'sim:demo-{name}'  # short wherever the tree lies: the screen cuts long names

    def long(self):
        plan = self.path('long.json')
        with open(plan, 'w', encoding='utf-8') as file:
            json.dump(long_chain(), file)
        return 'sim:' + os.path.basename(plan), '--profiles', f'{SOURCE}/docs/profiles'

    def must_show(self, name, picture):
        path = os.path.join(HERE, name + '.screen')
        if os.environ.get('BLESS'):
            with open(path, 'w', encoding='utf-8') as file:
                file.write(picture)
        with open(path, encoding='utf-8') as file:
            self.assertEqual(picture, file.read(), name)

    # What is shown.

    def test_a_faulty_chain_at_80_by_24(self):
        self.open(80, 24)
        self.watch('--on', self.demo('faulty'), '--seconds', '20', *LAST)
        self.must_show('faulty-80x24', self.wait_for('OVER'))
        self.key('t')
        self.must_show('faulty-80x24-by-trouble', self.wait_for('OVER', 'worst first'))

    def test_a_healthy_chain_in_german(self):
        self.open(80, 24)
        self.watch('--on', self.demo('healthy'), '--seconds', '20', '--language', 'de', *LAST)
        self.must_show('healthy-80x24-german', self.wait_for('VORBEI'))

    def test_few_nodes_have_word_and_place(self):
        self.open(100, 24)
        self.watch('--on', self.demo('faulty'), '--nodes', 'P16-P20', '--seconds', '10', *LAST)
        self.must_show('few-100x24', self.wait_for('OVER'))

    def test_200_nodes_at_200_by_50_and_at_80_by_24(self):
        self.open(200, 50)
        self.watch('--on', *self.long(), '--seconds', '24', *LAST)
        self.must_show('long-200x50', self.wait_for('OVER', 'page 1 of 1'))
        self.tmux('resize-window', '-x', '80', '-y', '24')
        self.must_show('long-80x24', self.wait_for('OVER', 'page 1 of 9'))
        self.key('End')
        self.must_show('long-80x24-end', self.wait_for('OVER', 'page 9 of 9'))
        self.key('Home')
        self.key('t')
        self.must_show('long-80x24-by-trouble', self.wait_for('OVER', 'page 1 of 9', 'worst first'))
        self.tmux('resize-window', '-x', '200', '-y', '50')
        self.key('t')
        self.must_show('long-200x50', self.wait_for('OVER', 'page 1 of 1', 'as on the chain'))

    def test_a_small_window_loses_nothing_but_room(self):
        self.open(30, 8)
        self.watch('--on', self.demo('healthy'), '--seconds', '5', *LAST)
        self.wait_for('OVER')
        self.tmux('resize-window', '-x', '80', '-y', '24')
        self.wait_for('OVER', 'page 1 of 1')

    def test_colour_adds_nothing_to_the_text(self):
        pictures = []
        for no_colour in ('1', None):
            self.open(80, 24, NO_COLOR=no_colour)
            self.watch('--on', self.demo('faulty'), '--seconds', '20', *LAST)
            pictures.append(self.wait_for('OVER'))
            coloured = '\x1b[1m\x1b[31m' in self.picture('-e')
            self.assertEqual(coloured, no_colour is None)
            self.close()
        self.assertEqual(*pictures)

    # What is done to it.

    def running(self):
        """The watch's own process, since linewalk has become it."""
        found = subprocess.run(['pgrep', '-f', 'linewalk-watch.*' + self.folder.name], capture_output=True, text=True,
                               check=True)
        return int(found.stdout.split()[0])

    def test_the_terminal_is_as_it_was_on_any_way_out(self):
        self.open(80, 24)
        ways = {'q': 0, 'C-c': 130, 'C-\\': 131, signal.SIGTERM: 130, signal.SIGHUP: 130, signal.SIGABRT: 134,
                signal.SIGSEGV: 139}
        self.shell('clear; stty -a')
        before = self.wait_for('-extproc\nready>\n')
        for way, status in ways.items():
            with self.subTest(way=way):
                self.watch('--on', self.demo('healthy'), '--visit', self.path(f'visit-{way}'))
                self.wait_for('linewalk watch', 'P24')
                if isinstance(way, str):
                    self.key(way)
                else:
                    os.kill(self.running(), way)
                self.wait_for(f'status {status}')
                self.shell('clear; stty -a')
                self.assertEqual(self.wait_for('-extproc\nready>\n'), before)
                self.assertEqual(self.tmux('display-message', '-p', '#{alternate_on} #{cursor_flag} #{keypad_flag}'),
                                 '0 1 0\n')

    def test_an_interrupted_watch_is_recorded(self):
        self.open(80, 24)
        self.watch('--on', self.demo('healthy'), '--visit', self.visit)
        self.wait_for('linewalk watch', 'P24')
        self.key('C-c')
        self.wait_for('status 130')
        record = self.record('0001-watch.json')
        self.assertIs(record['complete'], False)
        self.assertEqual(len(record['result']['nodes']), 24)
        self.assertEqual([file['name'] for file in record['files']], ['0001-watch.pcapng', '0001-watch.csv'])

    def test_a_mark_is_typed_and_recorded_while_polling_goes_on(self):
        self.open(80, 24)
        self.watch('--on', self.demo('healthy'), '--visit', self.visit)
        self.wait_for('linewalk watch', 'P24')
        self.type('mplug of tap 7x')
        self.key('BSpace')
        self.type(', über Kopf')
        self.wait_for('mark: plug of tap 7, über Kopf_')
        self.key('Enter')
        self.wait_for('# plug of tap 7, über Kopf', '1 events')
        self.type('mnever mind')
        self.wait_for('mark: never mind_')
        self.key('Escape')
        self.wait_until(lambda picture: 'mark:' not in picture, 'the keys again')
        self.type('q')
        self.wait_for('status 0', '1 marks')
        events = self.record('0001-watch.json')['result']['events']
        self.assertEqual([(event['what'], event['says']) for event in events], [('mark', 'plug of tap 7, über Kopf')])

    def test_a_frozen_picture_stands_while_readings_are_recorded(self):
        self.open(80, 24)
        self.watch('--on', self.demo('healthy'), '--visit', self.visit)
        self.wait_for('linewalk watch', 'P24')
        self.type(' ')
        frozen = self.wait_for('FROZEN')
        readings = os.path.join(self.visit, '0001-watch.csv')
        size = os.path.getsize(readings)
        self.assertEqual(self.wait_until(lambda _: os.path.getsize(readings) > size + 4096, 'more readings'), frozen)
        self.type(' ')
        self.wait_until(lambda picture: 'FROZEN' not in picture and picture != frozen, 'drawing again')
        self.type('q')
        self.wait_for('status 0')

    def test_hands_and_bell_are_shown(self):
        self.open(80, 24)
        self.watch('--on', self.demo('healthy'), '--quiet')
        self.wait_for('bell: off', 'hands: -')
        self.key('Down', 'Down')
        self.type('hb')
        self.wait_for('bell: on', 'hands: P03')
        self.type('h')
        self.wait_for('hands: -')
        self.type('q')
        self.wait_for('status 0')

    def test_a_line_that_is_unplugged_is_shown_recorded_and_found_again(self):
        link, plan = self.path('line'), f'{SOURCE}/captures/demo-healthy/plan.json'
        chain, _ = self.start_ready(self.linewalk, 'sim', plan, '--pty', link)
        self.open(80, 24)
        self.watch('--on', link, '--plan', plan, '--visit', self.visit, '--listen-first', '100ms', '--controller', 'none')
        self.wait_for('linewalk watch', '24 nodes')
        chain.kill()
        chain.wait()
        self.wait_for('LINE GONE')
        self.start_ready(self.linewalk, 'sim', plan, '--pty', link)
        self.wait_until(lambda picture: 'LINE GONE' not in picture, 'the line again')
        self.type('q')
        self.wait_for('status 0', "the tester's own line was gone")
        record = self.record('0001-watch.json')
        self.assertIn('unplugged', [event['what'] for event in record['result']['events']])
        self.assertEqual(record['result']['unplugged'], 1)
        self.assertEqual([file['name'] for file in record['files']], ['0001-watch.pcapng', '0001-watch.csv'])

    def test_before_hands_go_in_somebody_made_sure(self):
        plan = f'{SOURCE}/captures/demo-healthy/plan.json'
        _, said = self.start_ready(self.linewalk, 'sim', plan, '--tcp', '0')
        self.open(80, 24)
        self.watch('--on', said[-1], '--plan', plan, '--visit', self.visit, '--controller', 'none')
        self.wait_for('locked out')
        self.shell('yes')
        self.wait_for('Who made sure')
        self.shell('E. Example')
        self.wait_for('24 nodes')
        self.type('q')
        self.wait_for('status 0')
        self.assertEqual(self.record('0001-watch.json')['result']['made_sure_by'], 'E. Example')

    def test_without_a_terminal_it_says_so(self):
        done = self.run_linewalk('watch', '--on', self.demo('healthy'))
        self.assertEqual((done.returncode, done.stdout), (2, ''))
        self.assertEqual(done.stderr, 'linewalk watch: a terminal is needed to watch on\n')

    def test_a_terminal_that_can_show_no_full_screen_is_refused(self):
        self.open(80, 24, TERM='nothing-known')
        self.watch('--on', self.demo('healthy'))
        self.wait_for('this terminal cannot show a full screen', 'status 2')


if __name__ == '__main__':
    unittest.main()
