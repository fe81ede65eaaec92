#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Installs what is needed, builds linewalk and walks the virtual demo chain with its three faults, from
# scan to report. The walk ends with status 1: that is its verdict on a faulty chain. This script ends
# with 0 when the walk came to its verdict and left a report.
set -eu
cd "$(dirname "$0")/../.."

sh tools/dev/packages.sh run
[ -f build-demo/build.ninja ] || meson setup build-demo -Dtests=disabled --buildtype=release
ninja -C build-demo tools/linewalk tools/linewalk-report

rm -rf walk-demo
build-demo/tools/linewalk visit walk-demo --engineer 'E. Example' --company 'Example Service' \
    --contact 'A. Sample' --machine-serial EX-77 >/dev/null
status=0
build-demo/tools/linewalk commission --on sim:captures/demo-faulty --visit walk-demo \
    --state 'drives on' || status=$?

[ "$status" -eq 1 ] && [ -s walk-demo/report.html ] || {
    echo "the walk did not come to its verdict (status $status)" >&2
    exit 1
}
echo
echo "The walk's exit status 1 is its verdict: this chain is not accepted."
echo "Open the report: file://$(pwd)/walk-demo/report.html"
