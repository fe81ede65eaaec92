# No word that it may write, no such node, a framing that is none, a controller on the line, a mistyped answer, a no.
on="--on sim:$DATA/newcomers --profiles $DATA/cell/profiles --sim-at 30"
linewalk assign P01 $on
linewalk assign P09 $on --allow-writes
linewalk assign P01 --walk $on --allow-writes
linewalk assign P01 $on --from-framing 9600/8X1 --allow-writes
linewalk assign P01 --on sim:$DATA/controller.json --profiles $DATA/cell/profiles --allow-writes 2>&1 | grep "nothing was sent"
printf 'yes\nA. Sample\nE. Example\nyse\n' >mistyped
linewalk assign P01 $on --allow-writes --answers mistyped --visit v --quiet 2>&1
printf 'yes\nA. Sample\nE. Example\nno\n' >no
linewalk assign P01 $on --allow-writes --answers no --visit v --quiet 2>&1
linewalk decode v/0002-assign.pcapng | grep " 06 "
echo "no write: $?"
