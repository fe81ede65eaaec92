# SPDX-License-Identifier: GPL-3.0-or-later
"""A login manager on a message bus of its own, which grants or refuses locks against sleep: login_manager.py yes|no. Says
"ready", then a line for each lock asked for and each one given back (freedesktop.org, org.freedesktop.login1, Inhibit)."""
import os
import sys

import dbus
import dbus.mainloop.glib
import dbus.service
from gi.repository import GLib

GRANTS = sys.argv[1] == 'yes'


def say(text):
    print(text, flush=True)


class Manager(dbus.service.Object):
    @dbus.service.method('org.freedesktop.login1.Manager', in_signature='ssss', out_signature='h')
    def Inhibit(self, what, who, _why, mode):
        if not GRANTS:
            say(f'refused {who}')
            raise dbus.DBusException('Permission denied', name='org.freedesktop.DBus.Error.AccessDenied')
        ours, theirs = os.pipe()
        GLib.io_add_watch(ours, GLib.IO_HUP, self.given_back, who)
        say(f'held {who} {what} {mode}')
        lock = dbus.types.UnixFd(theirs)
        os.close(theirs)
        return lock

    def given_back(self, ours, _condition, who):
        os.close(ours)
        say(f'given back {who}')
        return False


def main():
    dbus.mainloop.glib.DBusGMainLoop(set_as_default=True)
    bus = dbus.bus.BusConnection(os.environ['DBUS_SYSTEM_BUS_ADDRESS'])
    name = dbus.service.BusName('org.freedesktop.login1', bus)
    manager = Manager(name, '/org/freedesktop/login1')
    say('ready')
    GLib.MainLoop().run()
    del manager


main()
