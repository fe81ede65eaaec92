linewalk scan --on sim:$DATA/controller.json --profiles $DATA/cell/profiles --visit v
echo "exit $?"
grep -o '"code": "[a-z_]*"' v/0001-scan.json
