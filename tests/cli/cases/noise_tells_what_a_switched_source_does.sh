linewalk noise --on sim:$DATA/spindle --profiles $DATA/cell/profiles --switch "spindle drive" --answers $DATA/spindle/answers.txt --seconds 5
