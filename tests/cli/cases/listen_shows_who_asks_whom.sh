linewalk listen --on sim:$DATA/controller.json --profiles $DATA/cell/profiles --seconds 20 --visit v
ls v
grep -o '"verdict": "[a-z_]*"' v/0001-listen.json
head -5 v/0001-listen.csv
