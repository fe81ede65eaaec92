# The same cell, before and after a joint has gone bad.
for visit in before now; do
    plan=$DATA/cell/plan.json
    [ $visit = before ] || {
        mkdir bad && cp -r "$DATA/cell/." bad
        sed 's/"faults": *\[/"faults": [{"kind": "weak_span", "span": 3, "extra_ohm": 6}/' "$plan" >bad/plan.json
        plan=bad/plan.json
    }
    for check in roster supply noise; do
        linewalk $check --on "sim:$plan" --visit $visit --quiet >/dev/null
    done
done
linewalk compare before --visit now
linewalk compare nowhere --visit now
