sed '/"serial": "10000[12]"/d' $DATA/cell/plan.json >plan.json
cp -r $DATA/cell/profiles .
on() { linewalk roster --on sim:$DATA/cell --plan plan.json --visit day --quiet "$@"; }
on --as-built plan.json --reason "as found" --answers /dev/null 2>&1 | tail -4
on --as-built built.json --reason "serials were not known at planning" | tail -14
printf 'yes\n' >yes.txt
on --as-built plan.json --answers yes.txt | tail -7
cmp plan.json built.json || diff plan.json built.json
linewalk roster --visit day --on sim:$DATA/cell --plan built.json --as-built third.json --quiet | tail -2
ls third.json
grep -o '"revisions": .*' day/0003-visit.json | cut -c1-100
sed -n '/"revisions"/,$p' day/0003-visit.json | head -14
linewalk roster --on sim:$DATA/cell --draft-plan a --as-built b; echo $?
linewalk roster --on sim:$DATA/cell --reason why; echo $?
