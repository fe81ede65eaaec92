# SPDX-License-Identifier: GPL-3.0-or-later
"""linewalk ports under made device trees (umockdev), for what neither this machine nor a virtual one has plugged in.
The descriptors are built here byte by byte after USB 2.0, 9.6; what must be printed stands beside each tree."""
import json
import os
import struct
import subprocess
import sys
import tempfile
import unittest

PORTS, CELL = os.path.abspath(sys.argv.pop(1)), os.path.abspath(sys.argv.pop(1))
SELF, BUS = 0xC0, 0x80
USB2, USB3 = 480, 5000


def descriptors(vendor, product, device_class, release, max_power, attributes, version=0x0200):
    """Device descriptor, then a configuration with one interface and no endpoint."""
    device = struct.pack('<BBHBBBBHHHBBBB', 18, 1, version, device_class, 0, 0, 64, vendor, product, release, 0, 0, 0, 1)
    configuration = struct.pack('<BBHBBBBB', 9, 2, 18, 1, 1, 0, attributes, max_power)
    interface = struct.pack('<BBBBBBBBB', 9, 4, 0, 0, 0, device_class or 0xFF, 0, 0, 0)
    return device + configuration + interface


class Tree:
    """A device tree in umockdev's words, grown from a root hub."""

    def __init__(self):
        self.words, self.number = [], 0

    def device(self, path, vendor, product, max_power, attributes, speed=12, device_class=0, release=0x0100, strings=(),
               whole=True):
        bus = int(path.split('usb')[1].split('/')[0])
        self.number += 1
        version = 0x0300 if speed >= USB3 else 0x0200
        words = [f'P: {path}', f'N: bus/usb/{bus:03}/{self.number:03}', 'E: DEVTYPE=usb_device', 'E: SUBSYSTEM=usb',
                 f'E: BUSNUM={bus:03}', f'E: DEVNUM={self.number:03}',
                 f'E: DEVNAME=/dev/bus/usb/{bus:03}/{self.number:03}', f'A: busnum={bus}\\n', f'A: devnum={self.number}\\n',
                 f'A: idVendor={vendor:04x}\\n', f'A: idProduct={product:04x}\\n', f'A: speed={speed}\\n',
                 'A: bConfigurationValue=1\\n']
        if whole:
            raw = descriptors(vendor, product, device_class, release, max_power, attributes, version)
            words.append('H: descriptors=' + raw.hex().upper())
        words += [f'A: {name}={text}\\n' for name, text in strings]
        self.words.append('\n'.join(words) + '\n')
        return path

    def root(self, bus=1, speed=USB2):
        return self.device(f'/devices/pci0000:00/usb{bus}', 0x1D6B, 2 if speed == USB2 else 3, 0, SELF, speed, 9)

    def hub(self, path, max_power, attributes, speed=USB2):
        return self.device(path, 0x1209, 0x0010, max_power, attributes, speed, 9)

    def port(self, usb, name, latency=None, acm=False, driver=None):
        interface = f'{usb}/{usb.rsplit("/", 1)[1]}:1.0'
        self.words.append(f'P: {interface}\nE: DEVTYPE=usb_interface\nE: SUBSYSTEM=usb\n')
        if not acm:
            timer = '' if latency is None else f'A: latency_timer={latency}\\n\n'
            link = '' if driver is None else f'L: driver=../../../../../../bus/usb-serial/drivers/{driver}\n'
            self.words.append(f'P: {interface}/{name}\nE: SUBSYSTEM=usb-serial\n{timer}{link}')
        inner = f'{interface}/tty/{name}' if acm else f'{interface}/{name}/tty/{name}'
        link = f'../../../{usb.rsplit("/", 1)[1]}:1.0' if acm else f'../../../{name}'
        self.words.append(f'P: {inner}\nN: {name}\nE: DEVNAME=/dev/{name}\nE: SUBSYSTEM=tty\nL: device={link}\n')

    def text(self):
        return '\n'.join(self.words)


class Ports(unittest.TestCase):
    maxDiff = None

    def run_under(self, tree, *words, script='exec "$@"'):
        with tempfile.NamedTemporaryFile('w', suffix='.umockdev') as file:
            file.write(tree.text())
            file.flush()
            done = subprocess.run(['umockdev-run', '-d', file.name, '--', 'sh', '-c', script, 'sh', PORTS, *words],
                                  capture_output=True, text=True, check=False,
                                  env={**os.environ, 'COLUMNS': '80', 'LC_ALL': 'C.UTF-8'})
        self.assertEqual(done.returncode, 0, done.stderr)
        return done

    def shows(self, tree, wanted, *words, **more):
        self.assertEqual(self.run_under(tree, *words, **more).stdout, wanted)

    def adapter_on_hub(self, attributes, max_power=100):
        """bMaxPower 100 is 200 mA."""
        tree = Tree()
        tree.hub(tree.root() + '/1-2', 50, attributes)
        tree.port(tree.device('/devices/pci0000:00/usb1/1-2/1-2.3', 0x0403, 0x6001, max_power, BUS, release=0x0600,
                              strings=[('product', 'RS-485 adapter'), ('serial', 'EX0001')]), 'ttyUSB0', latency=1)
        return tree

    def test_four_classes_of_adapter_in_the_order_of_their_numbers(self):
        tree = Tree()
        root = tree.root()
        tree.port(tree.device(root + '/1-1', 0x0403, 0x6015, 45, BUS), 'ttyUSB10', latency=1)
        tree.port(tree.device(root + '/1-2', 0x10C4, 0xEA60, 50, BUS, strings=[('product', 'Serial')]), 'ttyUSB2')
        tree.port(tree.device(root + '/1-3', 0x1A86, 0x7523, 48, BUS), 'ttyUSB3')
        tree.port(tree.device(root + '/1-4', 0x1209, 0x0001, 250, SELF, device_class=2), 'ttyACM0', acm=True)
        self.shows(tree, """\
port           state  USB  mA asked    holds ms  adapter
/dev/ttyACM0   free   1-4  500 of 500         -  -
/dev/ttyUSB2   free   1-2  100 of 500         -  Serial, CP210x family
/dev/ttyUSB3   free   1-3  96 of 500          -  CH340
/dev/ttyUSB10  free   1-1  90 of 500          1  FT-X family
""")

    def test_a_hub_without_a_supply_starves_an_adapter(self):
        self.shows(self.adapter_on_hub(BUS), """\
port          state  USB    mA asked    holds ms  adapter
/dev/ttyUSB0  free   1-2.3  200 of 100         1  RS-485 adapter - EX0001,
                                                  FT232R

attention   /dev/ttyUSB0 asks for 200 mA where USB gives 100 mA
            because it hangs on a hub without a supply of its own, which gives a
                    port one unit load
            next: plug the adapter into the machine itself, or into a hub with a
                  supply of its own
""")

    def test_a_hub_with_a_supply_feeds_it(self):
        self.shows(self.adapter_on_hub(SELF), """\
port          state  USB    mA asked    holds ms  adapter
/dev/ttyUSB0  free   1-2.3  200 of 500         1  RS-485 adapter - EX0001,
                                                  FT232R
""")

    def test_two_hubs_without_a_supply_in_a_row(self):
        tree = Tree()
        tree.hub(tree.hub(tree.root() + '/1-2', 50, BUS) + '/1-2.1', 50, BUS)
        tree.port(tree.device('/devices/pci0000:00/usb1/1-2/1-2.1/1-2.1.4', 0x067B, 0x2303, 50, BUS), 'ttyUSB0')
        self.shows(tree, """\
port          state  USB      mA asked    holds ms  adapter
/dev/ttyUSB0  free   1-2.1.4  100 of 100         -  PL2303

attention   2 hubs without a supply of their own stand in a row before
            /dev/ttyUSB0
            next: take one of them out: USB does not allow it, and what is
                  behind the second starves
""")

    def test_superspeed_counts_in_units_of_8_ma_and_150_ma(self):
        tree = Tree()
        hub = tree.hub(tree.root(2, USB3) + '/2-1', 12, BUS, USB3)
        # 112 is 896 mA, see the units in the Linux kernel's change to f_midi and USB 3.1, table 9-22.
        tree.port(tree.device(hub + '/2-1.1', 0x1209, 0x0001, 112, BUS, USB3), 'ttyACM0', acm=True)
        self.shows(tree, """\
port          state  USB    mA asked    holds ms  adapter
/dev/ttyACM0  free   2-1.1  896 of 150         -  -

attention   /dev/ttyACM0 asks for 896 mA where USB gives 150 mA
            because it hangs on a hub without a supply of its own, which gives a
                    port one unit load
            next: plug the adapter into the machine itself, or into a hub with a
                  supply of its own
""")
        found = json.loads(self.run_under(tree, '--json').stdout)['ports'][0]['usb']
        self.assertEqual((found['asks_ma'], found['gives_ma']), (896, 150))

    def test_strings_with_control_bytes_reach_no_terminal(self):
        tree = Tree()
        tree.port(tree.device(tree.root() + '/1-1', 0x1209, 0x0002, 50, BUS,
                              strings=[('product', r'odd\033[31m adapter\007'), ('manufacturer', r'\302\233Example'),
                                       ('serial', r'A\r\tB')]), 'ttyUSB0', driver='example_serial')
        self.shows(tree, """\
port              /dev/ttyUSB0
says of itself    odd?[31m adapter? - A??B
driver            example_serial
state             free
group that may    -
direction         not by the kernel: by the adapter, or by RTS
ids               1209:0002
chip              -
maker             ?Example
product           odd?[31m adapter?
serial            A??B
place on USB      1-1
current           asks 100 mA, its place gives 500 mA
way               root hub: 1d6b:0002, 480 Mbit/s, asks 0 mA, with a supply of
                  its own
                  port 1: 1209:0002, 12 Mbit/s, asks 100 mA, fed by the bus
""", '/dev/ttyUSB0')

    def test_an_adapter_that_goes_while_it_is_looked_at_is_listed_as_far_as_known(self):
        tree = Tree()
        tree.port(tree.device(tree.root() + '/1-1', 0x0403, 0x6001, 45, BUS, whole=False), 'ttyUSB0', latency=1)
        self.shows(tree, """\
port          state  USB  mA asked  holds ms  adapter
/dev/ttyUSB0  free   -    -                1  FT232 family
""")

    def test_a_port_that_is_gone_by_name(self):
        done = subprocess.run([PORTS, '/dev/ttyUSB77'], capture_output=True, text=True, check=False)
        self.assertEqual((done.returncode, done.stderr), (2, "linewalk ports: no such port: '/dev/ttyUSB77'\n"))

    def test_no_permission_names_the_group_that_has_it(self):
        if os.getuid() != 0:
            self.skipTest('needs root to become somebody else')
        script = ('cd "$UMOCKDEV_DIR"; chgrp dialout dev/ttyUSB0; chmod 660 dev/ttyUSB0; chmod -R o+rwX .;'
                  ' exec setpriv --reuid=65534 --regid=65534 --clear-groups -- "$@"')
        self.shows(self.adapter_on_hub(SELF), """\
port          state      USB    mA asked    holds ms  adapter
/dev/ttyUSB0  not yours  1-2.3  200 of 500         1  RS-485 adapter - EX0001,
                                                      FT232R

attention   /dev/ttyUSB0 is not yours to open: members may, of the group dialout
            next: sudo usermod -aG dialout "$USER", then log in again
""", script=script)
        self.assertIn('as root it would also say which programs of other users hold a port, and how each hub is fed now',
                      self.run_under(self.adapter_on_hub(SELF), script=script).stderr)

    def test_a_chain_that_is_fed_from_usb_is_held_against_what_usb_gives(self):
        self.shows(self.adapter_on_hub(SELF), """\
port          state  USB    mA asked    holds ms  adapter
/dev/ttyUSB0  free   1-2.3  200 of 500         1  RS-485 adapter - EX0001,
                                                  FT232R

attention   the chain is fed through /dev/ttyUSB0, where USB is sure to give
            0.95 W, and gives 2.62 W at most: what it draws is not known
            because the adapter asks for 200 mA, its place gives 500 mA, at 4.75
                    V to 5.25 V; what the adapter needs itself, and loses, comes
                    off
            next: feed the chain from a supply of its own, or fewer nodes from
                  USB; linewalk supply says what they draw
            caution: measuring on a live cabinet is for qualified persons; the
                     chain is low voltage, what stands beside it may not be
""", '--feeds-chain')
        self.shows(self.adapter_on_hub(SELF), """\
port          state  USB    mA asked    holds ms  adapter
/dev/ttyUSB0  free   1-2.3  200 of 500         1  RS-485 adapter - EX0001,
                                                  FT232R

fail        the chain draws 3.60 W; through /dev/ttyUSB0 USB is sure to give
            0.95 W, and gives 2.62 W at most
            because the adapter asks for 200 mA, its place gives 500 mA, at 4.75
                    V to 5.25 V; what the adapter needs itself, and loses, comes
                    off
            next: feed the chain from a supply of its own, or fewer nodes from
                  USB; linewalk supply says what they draw
            caution: measuring on a live cabinet is for qualified persons; the
                     chain is low voltage, what stands beside it may not be
""", '--feeds-chain', '--plan', CELL + '/plan.json')


if __name__ == '__main__':
    unittest.main()
