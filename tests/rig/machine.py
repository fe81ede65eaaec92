# SPDX-License-Identifier: GPL-3.0-or-later
"""A virtual machine with a Debian kernel, a USB serial adapter behind a hub, and a second UART of the PC's own kind. The
folder `root` holds the unpacked kernel package and busybox (see run.sh)."""
import glob
import json
import os
import re
import shutil
import socket
import subprocess
import sys

MODULES = ["usb-common", "usbcore", "xhci-hcd", "xhci-pci", "usbserial", "ftdi_sio"]
APPLETS = ["sh", "mount", "insmod", "poweroff", "usleep", "stty", "cat", "cp", "ls", "grep", "id", "chown", "chmod"]
INIT = """#!/bin/sh
mount -t proc none /proc
mount -t sysfs none /sys
mount -t devtmpfs none /dev
for m in {modules}; do insmod /modules/$m.ko; done
n=0
while [ ! -e /dev/ttyUSB0 ] && [ $n -lt 600 ]; do usleep 100000; n=$((n+1)); done
. /walk.sh
poweroff -f
"""


def libraries(program):
    text = subprocess.run(["ldd", program], check=True, capture_output=True, text=True).stdout
    return re.findall(r"(/\S+) \(0x", text)


def build_initramfs(programs, root, folder, script, beside):
    """`programs` go to /bin, the shell script `script` is what the guest runs; `beside` maps folders here to folders there."""
    tree = f"{folder}/tree"
    for name in ("bin", "proc", "sys", "dev", "modules", "tmp", "etc"):
        os.makedirs(f"{tree}/{name}")
    busybox = f"{root}/bin/busybox"
    shutil.copy(busybox, f"{tree}/bin/busybox")
    for name in APPLETS:
        os.symlink("busybox", f"{tree}/bin/{name}")
    for name in MODULES:
        shutil.copy(glob.glob(f"{root}/lib/modules/*/kernel/**/{name}.ko", recursive=True)[0], f"{tree}/modules")
    for program in programs:
        shutil.copy(program, f"{tree}/bin")
        for library in libraries(program):
            os.makedirs(tree + os.path.dirname(library), exist_ok=True)
            shutil.copy(library, tree + library)
    for here, there in beside.items():
        shutil.copytree(here, tree + there)
    shutil.copy(script, f"{tree}/walk.sh")
    with open(f"{tree}/etc/group", "w", encoding="ascii") as file:
        file.write("root:x:0:\ndialout:x:20:\n")
    with open(f"{tree}/init", "w", encoding="ascii") as file:
        file.write(INIT.format(modules=" ".join(MODULES)))
    os.chmod(f"{tree}/init", 0o755)
    names = subprocess.run(["find", "."], cwd=tree, check=True, capture_output=True).stdout
    archive = subprocess.run([busybox, "cpio", "-o", "-H", "newc"], cwd=tree, input=names, check=True,
                             capture_output=True).stdout
    with open(f"{folder}/initramfs", "wb") as file:
        file.write(archive)


class Machine:
    """QEMU with its console (`say`, `lines`) and its monitor. `usb` and `uart` are local ports that the two lines lead to.
    It emulates the processor: the machines that this runs on are often virtual themselves."""

    ADAPTER = {"driver": "usb-serial", "chardev": "usb", "id": "adapter", "bus": "xhci.0", "port": "1.2"}

    def __init__(self, root, folder, usb, uart):
        self.monitor_path = f"{folder}/monitor"
        self.process = subprocess.Popen(
            ["qemu-system-x86_64", "-accel", "tcg", "-m", "256", "-display", "none", "-no-reboot", "-nodefaults",
             "-kernel", glob.glob(f"{root}/boot/vmlinuz-*")[0], "-initrd", f"{folder}/initramfs",
             "-append", "console=ttyS0 loglevel=1 panic=-1", "-serial", "stdio",
             "-qmp", f"unix:{self.monitor_path},server=on,wait=off", "-device", "qemu-xhci,id=xhci",
             "-device", "usb-hub,bus=xhci.0,port=1",
             "-chardev", f"socket,host=127.0.0.1,port={usb},id=usb", "-device", ",".join(
                 value if name == "driver" else f"{name}={value}" for name, value in self.ADAPTER.items()),
             "-chardev", f"socket,host=127.0.0.1,port={uart},id=uart", "-device", "isa-serial,chardev=uart,index=1"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, errors="replace")
        self.monitor = None

    def lines(self):
        for line in self.process.stdout:
            yield line.rstrip()

    def say(self, text):
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()

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

    def unplug(self):
        """Returns when it is gone; only then its line can be given to another."""
        self.command("device_del", id="adapter")
        while json.loads(self.monitor.readline()).get("event") != "DEVICE_DELETED":
            pass

    def plug_in(self):
        self.command("device_add", **self.ADAPTER)
