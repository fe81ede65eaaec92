#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Decodes one capture of a million frames with linewalk and with tshark, one line a frame to
# /dev/null each, and prints times, their ratio and the peak memory. Usage: decode.sh BUILD [FRAMES].
# Each is run three times and the shortest time counts.
set -eu
build=$1
frames=${2:-1000000}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$build/tests/bench/make_capture" "$work/many.pcapng" "$frames"

# Shortest time in seconds and largest memory in kB of three runs.
measure() {
    for run in 1 2 3; do
        /usr/bin/time -f '%e %M' -a -o "$work/times" "$@" >/dev/null 2>>"$work/errors"
    done
    sort -n "$work/times" | awk 'NR == 1 { s = $1 } $2 > kb { kb = $2 } END { print s, kb }'
    rm "$work/times"
}
report() { # name, "seconds kB"
    echo "$1 $2" | awk -v n="$frames" '{ printf "%-20s %8.2f s %10.0f frames/s %8.1f MB\n", $1, $2, n / $2, $3 / 1000 }'
}

lines=$(measure "$build/tools/linewalk" decode --frames "$work/many.pcapng")
report linewalk-frames "$lines"
report linewalk-exchanges "$(measure "$build/tools/linewalk" decode "$work/many.pcapng")"
shark=$(measure tshark -n -r "$work/many.pcapng" -o 'uat:user_dlts:"User 0 (DLT=147)","mbrtu","0","","0",""')
report tshark "$shark"
echo "$lines $shark" | awk '{ printf "tshark takes %.1f times as long, one line a frame each\n", $3 / $1 }'
