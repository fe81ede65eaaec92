try() {
    linewalk supply --plan "$1" --profiles $DATA/cell/profiles
    echo "exit $?"
}
change() { sed "$1" $DATA/cell/plan.json >plan.json; try plan.json; }
printf '{"format": "linewalk/plan/1",\n "chain": [}\n' >plan.json; try plan.json
change 's/"ambient_c"/"ambiant_c"/'
change 's/"ambient_c": 30/"ambient_c": 30, "ambient_c": 31/'
change 's/E. Example/E. \\u0000/'
change 's/"ambient_c": 30/"ambient_c": 1e999/'
change 's/"length_m": 0.5/"length_m": -0.5/'
change 's/"address": 2,/"address": 1,/'
change 's/"profile": "example-probe", "address": 1/"profile": "example-prob", "address": 1/'
head -c 10000000 /dev/zero | tr '\0' '[' >plan.json; try plan.json
try absent.json
