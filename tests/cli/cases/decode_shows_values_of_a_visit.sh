linewalk link --on sim:$DATA/cell/plan.json --visit walk --seconds 1 -q >/dev/null
linewalk decode walk --before 0.1
echo
linewalk decode walk/0001-link.pcapng --nodes P02 --before 0.1
echo
linewalk decode walk --addresses 3 --function 04 --csv --after 0.9
