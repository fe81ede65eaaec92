linewalk scna
echo "exit $?"
linewalk scan --on sim:$DATA/cell --adresses 3
echo "exit $?"
linewalk scan --on sim:$DATA/cell --addresses 3,x
echo "exit $?"
linewalk scan --on sim:$DATA/cell --slowest-reply +5
echo "exit $?"
linewalk scan --on sim:$DATA/cell --framing 19200/8X1
echo "exit $?"
linewalk roster --on sim:$DATA/cell --nodes P99
echo "exit $?"
linewalk scan leftover --on sim:$DATA/cell
echo "exit $?"
linewalk s
echo "exit $?"
