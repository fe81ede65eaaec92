# Stopped between writing and restarting: the record says so, and the same words need not be said again.
on="--on sim:$DATA/newcomers --profiles $DATA/cell/profiles --allow-writes --wait 60 --visit v"
printf 'yes\nA. Sample\nE. Example\nyes\nyes\nstop\n' >first
linewalk assign --walk $on --answers first
echo "exit $?"
grep -o '"complete": [a-z]*' v/0001-assign.json
printf 'yes\nA. Sample\nyes\nyes\nyes\nkeep\nskip\nskip\n' >second
linewalk assign --walk $on --sim-at 10 --answers second --resume 2>&1 | grep -v "^$"
linewalk report --visit v --quiet >/dev/null 2>&1
grep -c "What was written to nodes" v/report.html
