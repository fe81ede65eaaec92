#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Searches for inputs that break a parser, each target for so many seconds: `fuzz.sh SECONDS` all of
# them, `fuzz.sh SECONDS NAME ...` those. What it finds of interest stays in build-fuzz/found/NAME; an
# input that breaks a property is kept as build-fuzz/crash-* and ends the search with 1.
set -eu
cd "$(dirname "$0")/.."

case ${1:-} in
'' | *[!0-9]*) echo "usage: fuzz.sh SECONDS [NAME ...]" >&2 && exit 2 ;;
esac
seconds=$1
shift
[ $# -gt 0 ] || set -- $(ls tests/fuzz/corpus)

sh tools/dev/packages.sh develop
[ -f build-fuzz/build.ninja ] || CC=clang CFLAGS=-fsanitize=fuzzer-no-link meson setup build-fuzz \
    -Dtests=disabled -Db_sanitize=address,undefined -Db_lundef=false
for name; do
    ninja -C build-fuzz "tests/fuzz/fuzz_$name"
done
cd build-fuzz
for name; do
    mkdir -p "found/$name"
    "tests/fuzz/fuzz_$name" -max_total_time="$seconds" -max_len=65536 -timeout=10 -print_final_stats=1 \
        "found/$name" "../tests/fuzz/corpus/$name" >"$name.log" 2>&1 || { tail -40 "$name.log" && exit 1; }
    echo "$name: $(sed -n 's/^stat::number_of_executed_units: *//p' "$name.log") inputs in $seconds s, none breaks it"
done
