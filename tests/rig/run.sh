#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Tries serial ports on a real kernel's driver, in QEMU: sh tests/rig/run.sh. Needs qemu-system-x86; fetches a Debian kernel and
# busybox into build-rig without installing them.
set -eu
cd "$(dirname "$0")/../.."
[ -d build-rig ] || meson setup build-rig
if [ ! -d build-rig/root/boot ]; then
    kernel=$(apt-cache depends linux-image-amd64 | sed -n 's/.*Depends: //p' | head -n 1)
    mkdir -p build-rig/packages
    (cd build-rig/packages && apt-get download "$kernel" busybox-static)
    for package in build-rig/packages/*.deb; do
        dpkg-deb -x "$package" build-rig/root
    done
fi
ninja -C build-rig tests/rig/serial_guest tools/linewalk
timeout 300 /usr/bin/python3 tests/rig/serial.py build-rig/tests/rig/serial_guest build-rig/root
timeout 600 /usr/bin/python3 tests/rig/scan.py build-rig/tools/linewalk build-rig/root captures/demo-healthy
