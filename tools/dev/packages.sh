#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Installs what linewalk needs from Debian 12: `packages.sh run` to build and use it, `packages.sh
# test` to test it as well, `packages.sh develop` for the other commands of DEVELOPERS.md. Does nothing
# when all of it is there. As root, or through sudo.
set -eu

# Why each: see the table of dependencies in DEVELOPERS.md.
run='gcc libc6-dev meson ninja-build pkg-config gettext libserialport-dev libusb-1.0-0-dev libcjson-dev libgsl-dev
libfftw3-dev libpopt-dev libsmartcols-dev libsodium-dev libqrencode-dev libarchive-dev libncurses-dev libcairo2-dev libpango1.0-dev fonts-dejavu-core'
test='libcmocka-dev libmodbus-dev python3 python3-pymodbus python3-serial-asyncio python3-scipy
python3-astropy python3-jsonschema socat ser2net qemu-system-x86 busybox-static usbutils tshark ngspice umockdev chromium poppler-utils qpdf zbar-tools
procps util-linux mount locales tmux dbus python3-dbus python3-gi systemd'
develop='clang libclang-rt-dev clang-format universal-ctags gcovr valgrind git'

case ${1:-} in
run) wanted=$run ;;
test) wanted="$run $test" ;;
develop) wanted="$run $test $develop" ;;
*) echo "usage: packages.sh run|test|develop" >&2 && exit 2 ;;
esac

missing=
for name in $wanted; do
    state=$(dpkg-query -W -f '${db:Status-Abbrev}' "$name" 2>/dev/null || true)
    case $state in
    ii*) ;;
    *) missing="$missing $name" ;;
    esac
done
[ -n "$missing" ] || exit 0

as_root=
if [ "$(id -u)" -ne 0 ]; then as_root=sudo; fi
export DEBIAN_FRONTEND=noninteractive
$as_root apt-get update -q
# shellcheck disable=SC2086
$as_root apt-get install -y -q --no-install-recommends $missing
