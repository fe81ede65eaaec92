#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Builds with the address and undefined-behaviour sanitizers and runs the tests: any finding fails.
# The made device tree is left out, since it is preloaded into the program as the sanitizers are.
set -eu
cd "$(dirname "$0")/.."

sh tools/dev/packages.sh test
[ -f build-sanitize/build.ninja ] ||
    meson setup build-sanitize -Dtests=enabled -Db_sanitize=address,undefined -Db_lundef=false
ninja -C build-sanitize
export LSAN_OPTIONS=print_suppressions=0
export UBSAN_OPTIONS=halt_on_error=1:print_stacktrace=1
names=$(meson test -C build-sanitize --list --no-suite study --no-suite bench 2>/dev/null |
    sed -n 's/^.* \/ //p' | grep -v 'made device tree')
echo "$names" | tr '\n' '\0' |
    xargs -0 meson test -C build-sanitize --no-rebuild --print-errorlogs --timeout-multiplier 5
