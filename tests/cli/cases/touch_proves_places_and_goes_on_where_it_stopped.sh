walk() { linewalk touch --visit v --on sim:$DATA/walk --wait 10 --answers "$@" 2>&1; echo "exit $?"; }
cp "$DATA/walk/answers.txt" .
walk answers.txt --sim-at 0
cut -d, -f1,2 v/0001-touch.answers.csv
printf 'yes\nE. Example\nyes\n' >rest.txt
walk rest.txt --resume
grep -e '"drives_off_said_by"' -e '"complete"' v/0002-touch.json
printf 'maybe\n' >wrong.txt
walk wrong.txt --nodes A06
linewalk report --visit v >/dev/null 2>&1; echo "report $?"
grep -o -e 'Drives off and locked out</dt><dd>[^<]*' -e 'P0[1-9] while its place was touched' v/report.html | sort -u
