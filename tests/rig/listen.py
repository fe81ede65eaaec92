# SPDX-License-Identifier: GPL-3.0-or-later
"""An adapter that is pulled out of a running watch: listen.py ROOT LINEWALK PLAN PROFILES serves a virtual chain with a
controller of its own here, watches it inside through /dev/ttyUSB0, takes the emulated adapter away, plugs it in again, and
looks for what was heard afterwards."""
import base64
import datetime
import json
import os
import socket
import struct
import subprocess
import sys
import tempfile

from machine import Machine, build_initramfs

WATCH = """cd /tmp
linewalk listen --on /dev/ttyUSB0 --framing 19200/8E1 --until-fault --output /tmp/watch --seconds 30 --json >found.json
echo exit $?
echo found
cat found.json
echo capture
busybox base64 /tmp/watch/ring-000001.pcapng
echo end
"""


def packet_times(data):
    """Seconds of the enhanced packets (draft-ietf-opsawg-pcapng, 4.3)."""
    times, at = [], 0
    while at + 12 <= len(data):
        kind, length = struct.unpack_from("<II", data, at)
        if kind == 6:
            high, low = struct.unpack_from("<II", data, at + 12)
            times.append((high << 32 | low) / 1e9)
        at += length
    return times


def watch(machine):
    """Pulls the adapter out when the guest listens, and plugs it in when the guest has seen that. Returns the texts behind
    "found" and "capture" on the console."""
    texts, name = {"found": [], "capture": []}, None
    for said in machine.lines():
        if "never sends" in said:
            machine.unplug()
            print("adapter pulled out")
        if name is None and "the line is gone" in said:
            machine.plug_in()
            print("adapter plugged in")
        if said in texts or said == "end":
            name = said
        elif name in texts:
            texts[name].append(said)
    return texts


def main():
    root, linewalk, plan, profiles = (os.path.abspath(word) for word in sys.argv[1:])
    with tempfile.TemporaryDirectory() as folder, socket.create_server(("127.0.0.1", 0)) as unused:
        with open(f"{folder}/watch.sh", "w", encoding="ascii") as file:
            file.write(WATCH)
        build_initramfs([linewalk], root, folder, f"{folder}/watch.sh", {})
        server = subprocess.Popen([linewalk, "sim", plan, "--profiles", profiles, "--rtu", "0"], stdout=subprocess.PIPE,
                                  text=True)
        try:
            port = server.stdout.readline().strip().rpartition(":")[2]
            machine = Machine(root, folder, port, unused.getsockname()[1])
            texts = watch(machine)
            machine.process.wait(60)
        finally:
            server.terminate()
            server.wait(20)
    record = json.loads("\n".join(texts["found"]))
    lost = [event for event in record["result"]["events"] if event["kind"] == "lost"]
    if len(lost) != 1:
        sys.exit(f"lost {len(lost)} times: {record['result']['events']}")
    gone, back = (datetime.datetime.fromisoformat(lost[0][end].replace("Z", "+00:00")).timestamp() for end in ("from", "to"))
    if back - gone < 0.5:
        sys.exit(f"gone for {back - gone:.3f} s, though it is tried again after half a second")
    times = packet_times(base64.b64decode("".join(texts["capture"])))
    after = sum(time > back for time in times)
    if after == 0:
        sys.exit("nothing was heard after the adapter came back")
    print(f"right: {len(times) - after} packets before, {after} after the adapter was away from {lost[0]['from']} to {lost[0]['to']}")


main()
