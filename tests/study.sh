#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# The large simulations behind the tables of docs/method: minutes to hours. `study.sh` runs them all,
# `study.sh NAME ...` those; their tables go to build-study/.
set -eu
cd "$(dirname "$0")/.."

sh tools/dev/packages.sh test
[ -f build-study/build.ninja ] || meson setup build-study --buildtype=release -Dtests=enabled
ninja -C build-study
meson test -C build-study --no-rebuild --suite study --verbose --timeout-multiplier 0 "$@"
