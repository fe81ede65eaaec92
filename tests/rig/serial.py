# SPDX-License-Identifier: GPL-3.0-or-later
"""Lines on a real kernel's USB serial driver: serial.py GUEST ROOT runs the guest program inside, on an adapter whose
far end is this program."""
import os
import socket
import sys
import tempfile

from machine import Machine, build_initramfs


def do(word, machine, line):
    if word == "bytes":
        line.sendall(bytes(range(256)) * 2)
    elif word == "unplug":
        machine.command("device_del", id="adapter")


def main():
    guest, root = (os.path.abspath(word) for word in sys.argv[1:])
    with tempfile.TemporaryDirectory() as folder:
        build_initramfs(guest, root, folder, "/guest", {})
        listening = socket.socket(socket.AF_UNIX)
        listening.bind(f"{folder}/line")
        listening.listen(1)
        listening.settimeout(60)
        machine = Machine(root, folder, f"socket,path={folder}/line")
        line, _ = listening.accept()
        line.settimeout(60)
        ended = ""
        for said in machine.process.stdout:
            said = said.strip()
            print(said)
            if said.startswith("> "):
                do(said[2:], machine, line)
            if said.startswith("done, "):
                ended = said
        machine.process.wait(60)
        sent = line.recv(4096)
        wanted = bytes.fromhex("1103006b00037687")
        if sent[:8] != wanted:
            sys.exit(f"the far end heard {sent.hex()}, not {wanted.hex()}")
        print("right: the far end heard what was sent")
        sys.exit(0 if ended == "done, 0 wrong" else f"not all was right: {ended or 'it never ended'}")


main()
