#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# The captures of this folder, decoded, beside what must come out: NAME.decode has every frame, then
# every exchange, of NAME.pcapng.
#
#   decode.sh LINEWALK           compares
#   BLESS=1 decode.sh LINEWALK   writes what comes out now as what must come out: read the diff
set -u
linewalk=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
cd "$(dirname "$0")" || exit 1
export COLUMNS=100 TERM=dumb LC_ALL=C.UTF-8 TZ=UTC NO_COLOR=1
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

decode() { # name
    "$linewalk" decode "$1.pcapng" --plan bench/plan.json --frames && echo &&
        "$linewalk" decode "$1.pcapng" --plan bench/plan.json
}

failed=0
for capture in *.pcapng; do
    name=${capture%.pcapng}
    decode "$name" >"$work/now" 2>"$work/said" || failed=1
    cat "$work/said" >>"$work/now"
    if [ -n "${BLESS:-}" ]; then
        cp "$work/now" "$name.decode"
    elif ! diff -u "$name.decode" "$work/now"; then
        failed=1
    fi
done
exit $failed
