# A bad joint in the last span: its current is so small that one state cannot show it. Then what a dialog refuses.
cp -r $DATA/cell/profiles .
sed 's/"faults": \[\]/"faults": [{"kind": "weak_span", "span": 4, "extra_ohm": 0.3, "rail": "zero_v"}]/' $DATA/cell/plan.json >plan.json
answers() { sed -n '/plan V  read/,/^supply:/p'; }
linewalk supply --on sim:plan.json --draws 0 | answers
printf 'question,answer\nstep.plugged,yes\nstep.amps,"500 mA"\nstep.1,yes\nstep.2,yes\nstep.3,yes\nstep.4,yes\n' >answers.csv
mkdir visit
linewalk supply --on sim:plan.json --visit visit --draws 0 --load-step 0.5 --answers answers.csv | answers
ls visit | grep -v inputs
printf 'yes\n9\n' >large
linewalk supply --on sim:plan.json --draws 0 --load-step 9 --answers large >/dev/null; echo exit $?
linewalk supply --plan plan.json --load-step 1; echo exit $?
linewalk supply --plan plan.json --answers large; echo exit $?
linewalk supply --plan plan.json --add 2 --load-step 1; echo exit $?
