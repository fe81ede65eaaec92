# SPDX-License-Identifier: GPL-3.0-or-later
"""Lines on a real kernel's USB serial driver: boots a Debian kernel in QEMU with an emulated FTDI adapter whose far end
is this program. serial.py GUEST FOLDER: the program to run inside, and a folder with the unpacked kernel package and
busybox (see run.sh)."""
import glob
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile

MODULES = ["usb-common", "usbcore", "xhci-hcd", "xhci-pci", "usbserial", "ftdi_sio"]
INIT = """#!/bin/sh
mount -t proc none /proc
mount -t sysfs none /sys
mount -t devtmpfs none /dev
for m in {modules}; do insmod /modules/$m.ko; done
n=0
while [ ! -e /dev/ttyUSB0 ] && [ $n -lt 300 ]; do usleep 100000; n=$((n+1)); done
echo 16 > /sys/class/tty/ttyUSB0/device/latency_timer
/guest
poweroff -f
"""


def libraries(program):
    text = subprocess.run(["ldd", program], check=True, capture_output=True, text=True).stdout
    return re.findall(r"(/\S+) \(0x", text)


def build_initramfs(guest, root, folder):
    tree = f"{folder}/tree"
    for name in ("bin", "proc", "sys", "dev", "modules", "tmp", "etc"):
        os.makedirs(f"{tree}/{name}")
    busybox = f"{root}/bin/busybox"
    shutil.copy(busybox, f"{tree}/bin/busybox")
    for name in ("sh", "mount", "insmod", "poweroff", "usleep"):
        os.symlink("busybox", f"{tree}/bin/{name}")
    for name in MODULES:
        shutil.copy(glob.glob(f"{root}/lib/modules/*/kernel/**/{name}.ko", recursive=True)[0], f"{tree}/modules")
    shutil.copy(guest, f"{tree}/guest")
    for library in libraries(guest):
        os.makedirs(tree + os.path.dirname(library), exist_ok=True)
        shutil.copy(library, tree + library)
    with open(f"{tree}/init", "w", encoding="ascii") as file:
        file.write(INIT.format(modules=" ".join(MODULES)))
    os.chmod(f"{tree}/init", 0o755)
    names = subprocess.run(["find", "."], cwd=tree, check=True, capture_output=True).stdout
    archive = subprocess.run([busybox, "cpio", "-o", "-H", "newc"], cwd=tree, input=names, check=True,
                             capture_output=True).stdout
    with open(f"{folder}/initramfs", "wb") as file:
        file.write(archive)


class Machine:
    """QEMU (emulating: the machines this runs on are often virtual themselves) with its console, its monitor, and the far end of the adapter's line."""

    def __init__(self, root, folder):
        listening = socket.socket(socket.AF_UNIX)
        listening.bind(f"{folder}/line")
        listening.listen(1)
        self.monitor_path = f"{folder}/monitor"
        self.process = subprocess.Popen(
            ["qemu-system-x86_64", "-accel", "tcg", "-m", "256", "-display", "none", "-no-reboot",
             "-kernel", glob.glob(f"{root}/boot/vmlinuz-*")[0], "-initrd", f"{folder}/initramfs",
             "-append", "console=ttyS0 quiet panic=-1", "-serial", "stdio",
             "-qmp", f"unix:{self.monitor_path},server=on,wait=off", "-device", "qemu-xhci",
             "-chardev", f"socket,id=c0,path={folder}/line", "-device", "usb-serial,chardev=c0,id=adapter"],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True, errors="replace")
        listening.settimeout(60)
        self.line, _ = listening.accept()
        self.line.settimeout(60)
        self.monitor = None

    def command(self, name, **arguments):
        if self.monitor is None:
            self.monitor = socket.socket(socket.AF_UNIX)
            self.monitor.connect(self.monitor_path)
            self.monitor = self.monitor.makefile("rw")
            self.monitor.readline()
            self.command("qmp_capabilities")
        self.monitor.write(json.dumps({"execute": name, "arguments": arguments}) + "\n")
        self.monitor.flush()
        while "return" not in (answer := json.loads(self.monitor.readline())):
            if "error" in answer:
                sys.exit(f"{name}: {answer}")

    def do(self, word):
        if word == "bytes":
            self.line.sendall(bytes(range(256)) * 2)
        elif word == "unplug":
            self.command("device_del", id="adapter")


def main():
    guest, root = (os.path.abspath(word) for word in sys.argv[1:])
    with tempfile.TemporaryDirectory() as folder:
        build_initramfs(guest, root, folder)
        machine = Machine(root, folder)
        ended = ""
        for line in machine.process.stdout:
            line = line.strip()
            print(line)
            if line.startswith("> "):
                machine.do(line[2:])
            if line.startswith("done, "):
                ended = line
        machine.process.wait(60)
        sent = machine.line.recv(4096)
        wanted = bytes.fromhex("1103006b00037687")
        if sent[:8] != wanted:
            sys.exit(f"the far end heard {sent.hex()}, not {wanted.hex()}")
        print("right: the far end heard what was sent")
        sys.exit(0 if ended == "done, 0 wrong" else f"not all was right: {ended or 'it never ended'}")


main()
