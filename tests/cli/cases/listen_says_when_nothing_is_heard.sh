linewalk listen --on sim:$DATA/cell --seconds 5
echo "exit $?"
