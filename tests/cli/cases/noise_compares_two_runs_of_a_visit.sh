run="linewalk noise --on sim:$DATA/spindle --profiles $DATA/cell/profiles --visit v --seconds 5 --quiet"
$run --state "spindle off" >/dev/null
$run --state "spindle on" --sim-at 9 >/dev/null
linewalk noise --between 1 2 --visit v --profiles $DATA/cell/profiles --plan $DATA/spindle/plan.json
linewalk noise --between 1 --visit v --plan $DATA/spindle/plan.json --profiles $DATA/cell/profiles
linewalk noise --between 1 7 --visit v --plan $DATA/spindle/plan.json --profiles $DATA/cell/profiles
