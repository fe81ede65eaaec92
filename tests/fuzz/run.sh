#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Searches with one fuzz target for inputs that break it: sh tests/fuzz/run.sh NAME SECONDS.
# What it finds of interest stays in build-fuzz/found/NAME; an input that breaks a property is
# kept as build-fuzz/crash-*.
set -eu
name=$1
seconds=$2
cd "$(dirname "$0")/../.."
if [ ! -d build-fuzz ]; then
    CC=clang CFLAGS=-fsanitize=fuzzer-no-link meson setup build-fuzz \
        -Db_sanitize=address,undefined -Db_lundef=false
fi
ninja -C build-fuzz "tests/fuzz/fuzz_$name"
mkdir -p "build-fuzz/found/$name"
cd build-fuzz
exec "tests/fuzz/fuzz_$name" -max_total_time="$seconds" -max_len=65536 -timeout=10 \
    "found/$name" "../tests/fuzz/corpus/$name"
