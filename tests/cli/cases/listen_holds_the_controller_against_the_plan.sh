linewalk listen --on sim:$DATA/controller.json --profiles $DATA/cell/profiles --seconds 10 --visit v --against-plan
echo "exit $?"
linewalk listen --on sim:$DATA/watched.json --profiles $DATA/cell/profiles --seconds 50 --quiet --against-plan
echo "exit $?"
