# SPDX-License-Identifier: GPL-3.0-or-later
"""A virtual machine with a Debian kernel and an emulated USB serial adapter. The folder `root` holds the unpacked kernel
package and busybox (see run.sh)."""
import glob
import json
import os
import re
import shutil
import socket
import subprocess
import sys

MODULES = ["usb-common", "usbcore", "xhci-hcd", "xhci-pci", "usbserial", "ftdi_sio"]
INIT = """#!/bin/sh
mount -t proc none /proc
mount -t sysfs none /sys
mount -t devtmpfs none /dev
for m in {modules}; do insmod /modules/$m.ko; done
n=0
while [ ! -e /dev/ttyUSB0 ] && [ $n -lt 300 ]; do usleep 100000; n=$((n+1)); done
echo 16 > /sys/class/tty/ttyUSB0/device/latency_timer
{command}
poweroff -f
"""


def libraries(program):
    text = subprocess.run(["ldd", program], check=True, capture_output=True, text=True).stdout
    return re.findall(r"(/\S+) \(0x", text)


def build_initramfs(guest, root, folder, command, beside):
    """`command` is what the guest runs; `beside` maps folders here to folders there."""
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
    for here, there in beside.items():
        shutil.copytree(here, tree + there)
    with open(f"{tree}/init", "w", encoding="ascii") as file:
        file.write(INIT.format(modules=" ".join(MODULES), command=command))
    os.chmod(f"{tree}/init", 0o755)
    names = subprocess.run(["find", "."], cwd=tree, check=True, capture_output=True).stdout
    archive = subprocess.run([busybox, "cpio", "-o", "-H", "newc"], cwd=tree, input=names, check=True,
                             capture_output=True).stdout
    with open(f"{folder}/initramfs", "wb") as file:
        file.write(archive)


class Machine:
    """QEMU with its console and its monitor; `far_end` is what the adapter's line leads to, as a character device. It
    emulates the processor: the machines that this runs on are often virtual themselves."""

    def __init__(self, root, folder, far_end):
        self.monitor_path = f"{folder}/monitor"
        self.process = subprocess.Popen(
            ["qemu-system-x86_64", "-accel", "tcg", "-m", "256", "-display", "none", "-no-reboot",
             "-kernel", glob.glob(f"{root}/boot/vmlinuz-*")[0], "-initrd", f"{folder}/initramfs",
             "-append", "console=ttyS0 quiet panic=-1", "-serial", "stdio",
             "-qmp", f"unix:{self.monitor_path},server=on,wait=off", "-device", "qemu-xhci",
             "-chardev", f"{far_end},id=c0", "-device", "usb-serial,chardev=c0,id=adapter"],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True, errors="replace")
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
