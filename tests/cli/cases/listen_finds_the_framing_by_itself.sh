# A plan that is wrong about the framing: the chain has its own.
sed 's|19200/8E1|57600/8N1|' $DATA/controller.json >real.json
linewalk listen --on sim:real.json --plan $DATA/controller.json --profiles $DATA/cell/profiles --seconds 5
echo "exit $?"
