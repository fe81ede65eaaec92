#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# What a compiler does not see: format, the walls between the rooms, calls that have one place only,
# and the longest functions.
set -u
cd "$(dirname "$0")/.."
bad=0
complain() { echo "lint: $1" && bad=1; }
# forbid WHAT PATTERN PATHS... : lines that match are complaints
forbid() {
    what=$1 pattern=$2
    shift 2
    found=$(git grep -nE "$pattern" -- "$@") && complain "$what
$found"
}

if command -v clang-format >/dev/null; then
    git ls-files 'lib/*.[ch]' 'tools/*.[ch]' 'tests/*.[ch]' | xargs clang-format --dry-run -Werror || complain format
fi
forbid 'GSL quantiles are not usable raw' '_P?inv\(|_Qinv\(' lib tools ':!lib/stats/quantile.c'
forbid 'cJSON has one room' 'cJSON' 'lib/*.[ch]' 'tools/*.[ch]' ':!lib/base/json*'
forbid 'waiting is receiving' '\b(sleep|usleep)\(' 'lib/*.c' 'tools/*.c'
forbid 'POSIX has three rooms' '#include <(unistd|poll|termios|fcntl|sys/[a-z]+|netdb|dirent)\.h>' 'lib/*.[ch]' \
    'tools/*.[ch]' ':!lib/base/*' ':!lib/line' ':!tools/cli'
forbid 'the library neither prints nor exits' '\b(printf|puts|exit|abort)\(' 'lib/*.c'

# Each room uses only the rooms above it.
above=
for room in base modbus stats power capture line client site chain check report; do
    above="$above $room"
    for used in $(git grep -hoE '#include "[a-z]+/' -- "lib/$room/*.[ch]" | sed 's/.*"//;s/\///' | sort -u); do
        case " $above " in *" $used "*) ;; *) complain "lib/$room uses lib/$used, which stands below it" ;; esac
    done
done

if command -v ctags >/dev/null; then
    echo 'longest functions:'
    ctags -R --languages=C --kinds-C=f --fields=+ne -f - lib tools | awk -F'\t' '
        { s = e = 0; for (i = 3; i <= NF; i++) { if ($i ~ /^line:/) s = substr($i, 6); if ($i ~ /^end:/) e = substr($i, 5) }
          if (e > 0) { n[++k] = e - s - 1; printf "%5d %s %s:%d\n", e - s - 1, $1, $2, s } }' | sort -rn | head -8
fi
[ $bad -eq 0 ] && echo 'lint: clean'
exit $bad
