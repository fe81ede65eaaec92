# A wrong answer, an end that comes too early, another question, one answer too many; what was measured by then is kept.
work=$(mktemp -d)
printf 'yes\nperhaps\n' >"$work/wrong.txt"
printf '# only the first two\nyes\n\nyes\n' >"$work/short.txt"
printf 'question,answer\nswitch.1,yes\nswitch.3,yes\n' >"$work/other.csv"
printf 'yes\nyes\nback\nyes\nyes\nyes\nyes\n' >"$work/long.txt"
for file in wrong.txt short.txt other.csv long.txt missing.txt; do
    (cd "$work" && COLUMNS= linewalk noise --on "sim:$DATA/spindle" --profiles "$DATA/cell/profiles" --visit "visit-$file" --switch "spindle drive" \
        --answers "$file" --seconds 2 --json 2>&1 | grep -E "answer|ends|asked|stopped|wrong|such file|nothing more|\"complete\"")
    cat "$work/visit-$file"/*.answers.csv 2>/dev/null
done
rm -r "$work"
