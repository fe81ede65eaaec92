#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Command tests. Each case is a script cases/NAME.sh beside what it must print: NAME.stdout,
# NAME.stderr, NAME.exit; no file means nothing, or 0. It runs in an empty folder of its own with
# linewalk on the PATH, $DATA pointing to data/, and a terminal of 80 columns that has no colours.
#
#   run.sh LINEWALK               all cases, one line each
#   run.sh LINEWALK NAME ...      these
#   BLESS=1 run.sh ...            writes what they print now as what they must print: read the diff
#   UNDER='valgrind -q --error-exitcode=99' run.sh ...   every linewalk under another program
set -u
here=$(cd "$(dirname "$0")" && pwd)
linewalk=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
shift
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/bin"
printf '#!/bin/sh\nexec %s "%s" "$@"\n' "${UNDER:-}" "$linewalk" >"$work/bin/linewalk"
chmod +x "$work/bin/linewalk"
export PATH="$work/bin:$(dirname "$linewalk"):$PATH" DATA="$here/data" COLUMNS=80 TERM=dumb LC_ALL=C.UTF-8 TZ=UTC NO_COLOR=1
[ $# -gt 0 ] || set -- $(cd "$here/cases" && ls *.sh | sed 's/\.sh$//')

# What differs from run to run or release to release, and the data folder's own path.
normalise() {
    sed -e "s|$DATA|DATA|g" -e "s|$work|WORK|g" -e 's/linewalk [0-9]*\.[0-9]*\.[0-9]*/linewalk VERSION/' \
        -e 's/[0-9a-f]\{64\}/DIGEST/g' -e 's/20[0-9][0-9]-[01][0-9]-[0-3][0-9]T[0-9:.]*Z/TIME/g' "$1"
}
same() { # file of now, file that must be
    if [ -f "$2" ]; then diff -u "$2" "$1"; else diff -u /dev/null "$1"; fi
}
bless() { # file of now, file to write
    if [ -s "$1" ]; then cp "$1" "$2"; else rm -f "$2"; fi
}

passed=0 failed=0
for name; do
    mkdir "$work/$name"
    (cd "$work/$name" && sh "$here/cases/$name.sh" >"$work/out" 2>"$work/err" </dev/null)
    status=$?
    normalise "$work/out" >"$work/stdout"
    normalise "$work/err" >"$work/stderr"
    if [ $status -ne 0 ]; then echo $status; fi >"$work/exit"
    good=true
    for kind in stdout stderr exit; do
        if [ -n "${BLESS:-}" ]; then
            bless "$work/$kind" "$here/cases/$name.$kind"
        elif ! same "$work/$kind" "$here/cases/$name.$kind"; then
            good=false
        fi
    done
    if $good; then passed=$((passed + 1)); else failed=$((failed + 1)) && echo "failed: $name"; fi
done
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
