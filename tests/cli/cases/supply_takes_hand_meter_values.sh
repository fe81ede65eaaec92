# A joint in 0 V that a hand meter finds, with the plan alone and beside the line; then files that do not fit.
cp -r $DATA/cell/profiles .
sed 's/"faults": \[\]/"faults": [{"kind": "weak_span", "span": 4, "extra_ohm": 0.3, "rail": "zero_v"}]/' $DATA/cell/plan.json >plan.json
cat >meter.csv <<'END'
# instrument: Example DMM 7
# accuracy: 0.5 % + 0.002 V
# accuracy: 1 % + 0.005 A
tap,from,to,value,unit
PS1,V+,0V,24.01,V
PS1,V+,,152,mA
P04,V+,0V,23.88,V
P03,V+,V+@P04,2,mV
P03,0V@P04,0V,14,mV
1,D1,D0,60.4,ohm
END
answers() { sed -n '/plan V  read/,/^supply:/p'; }
linewalk supply --plan plan.json --draws 0 --meter meter.csv | answers
mkdir visit
linewalk supply --on sim:plan.json --visit visit --draws 0 --meter meter.csv | answers
ls visit | grep -v inputs
wrong() { printf 'tap,from,to,value,unit\n%s\n' "$1" >wrong.csv; linewalk supply --plan plan.json --meter wrong.csv; echo exit $?; }
wrong 'P9,V+,0V,24,V'
wrong 'P04,V+,V-,24,V'
wrong 'P04,V+,0V,24;1,V'
wrong 'P04,V+,0V,24,mm'
wrong 'P04,V+,,24,V'
linewalk supply --plan plan.json --meter none.csv; echo exit $?
