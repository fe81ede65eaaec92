# One joint that has gained 0.36 ohm since sign-off: today's voltmeters alone are too far off to show it.
healthy=$DATA/../../../captures/demo-healthy
cp -r $healthy/profiles .
sed 's/"virtual": {/"virtual": {"faults": [{"kind": "weak_span", "span": 11, "extra_ohm": 0.18}],/' $healthy/plan.json >now.json
for check in roster supply; do
    linewalk $check --on sim:$healthy --visit before --quiet >/dev/null
    linewalk $check --on sim:now.json --visit now --quiet >/dev/null
done
ask() { linewalk supply --visit now --on "$1" --against before --draws 0 --quiet | sed -n '/^against/,/^supply:/p'; }
linewalk supply --on sim:now.json --visit now --draws 0 --quiet | grep ^supply:
ask sim:now.json
linewalk supply --visit now --on sim:now.json --against nowhere; echo exit $?
linewalk supply --plan now.json --against before; echo exit $?
linewalk supply --on sim:now.json --visit fresh --against before; echo exit $?
