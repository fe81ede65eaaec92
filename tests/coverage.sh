#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Line coverage of lib/ by all tests but the studies, a line a file and the total.
set -eu
cd "$(dirname "$0")/.."

sh tools/dev/packages.sh develop
[ -f build-coverage/build.ninja ] || meson setup build-coverage -Dtests=enabled -Db_coverage=true
ninja -C build-coverage
meson test -C build-coverage --no-rebuild --no-suite study --no-suite bench || true
gcovr --root . --filter 'lib/' build-coverage
