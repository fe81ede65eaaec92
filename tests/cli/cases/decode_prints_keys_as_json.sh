linewalk link --on sim:$DATA/cell/plan.json --visit walk --seconds 1 -q >/dev/null
linewalk decode walk --json
