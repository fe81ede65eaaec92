#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Installs what is needed, builds with warnings as errors, and runs all tests but the studies. The last
# line counts them.
set -eu
cd "$(dirname "$0")/.."

sh tools/dev/packages.sh test
[ -f build/build.ninja ] || meson setup build -Ddeveloper=true -Dtests=enabled
ninja -C build

status=0
meson test -C build --no-rebuild --no-suite study --print-errorlogs || status=$?
log=build/meson-logs/testlog.json
count() { grep -c "\"result\": \"$1\"" "$log" || true; }
bad=$(($(count FAIL) + $(count ERROR) + $(count TIMEOUT) + $(count UNEXPECTEDPASS)))
echo "$(count OK) passed, $bad failed, $(count SKIP) skipped"
exit $status
