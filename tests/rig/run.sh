#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Does the main job on a real kernel's serial drivers, in QEMU: run.sh BUILD LINEWALK LINEWALK-PORTS SERIAL_GUEST PLANFOLDER. Unpacks a
# Debian kernel and busybox into BUILD/rig without installing them, and keeps the transcript there. Exit status 77: not to be
# had here.
set -eu
build=$1 linewalk=$2 ports=$3 guest=$4 plan=$5
skip() { echo "not run: $1" && exit 77; }
command -v qemu-system-x86_64 >/dev/null || skip 'there is no qemu-system-x86_64'
command -v lsusb >/dev/null || skip 'there is no lsusb'
root=$build/rig/root
if ! ls "$root"/boot/vmlinuz-* >/dev/null 2>&1; then
    kernel=$(apt-cache depends linux-image-amd64 2>/dev/null | sed -n 's/.*Depends: //p' | head -n 1)
    [ -n "$kernel" ] || skip 'no Debian kernel is known to apt'
    mkdir -p "$build/rig/packages"
    (cd "$build/rig/packages" && apt-get download "$kernel" busybox-static) || skip 'the kernel package cannot be fetched'
    for package in "$build"/rig/packages/*.deb; do
        dpkg-deb -x "$package" "$root"
    done
fi
timeout 300 /usr/bin/python3 "$(dirname "$0")/listen.py" "$root" "$linewalk" "$plan/../controller.json" "$plan/profiles"
exec timeout 600 /usr/bin/python3 "$(dirname "$0")/walk.py" "$root" "$plan" "$build/rig/transcript.txt" \
    "$linewalk" "$ports" "$guest" "$(command -v lsusb)"
