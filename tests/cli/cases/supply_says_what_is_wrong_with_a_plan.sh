# One thing wrong each: one clear line, or a finding.
cp -r $DATA/cell/profiles .
tr -d '\n' <$DATA/cell/plan.json | sed 's/  */ /g' >plan.json
wrong() { # what, sed expression
    echo "--- $1"
    sed "$2" plan.json >wrong.json
    cmp -s plan.json wrong.json && echo "nothing was changed"
    linewalk supply --plan wrong.json --draws 0 2>&1 | grep -E '^linewalk|^fail|^attention|^not tested|^supply:'
}
wrong "a name twice" 's/"node": "P02"/"node": "P01"/'
wrong "an address twice" 's/"address": 2/"address": 1/'
wrong "a supply that feeds no tap" 's/"feeds_tap": 1/"feeds_tap": 9/'
wrong "a tap without a path" 's/"feeds_tap": 1, "cuts_before": "none"/"feeds_tap": 3, "cuts_before": "v_plus"/'
wrong "no supply" 's/"supplies": \[.*\], "span_default"/"supplies": [], "span_default"/'
wrong "a span over its rating" 's/"rated_a": 3.0/"rated_a": 0.05/'
wrong "a length below zero" 's/"length_m": 0.5/"length_m": -0.5/'
wrong "no length" 's/"length_m": 0.5, //'
wrong "two kinds of conductor" 's/"conductor": { "area_mm2": 0.5 }/"conductor": { "area_mm2": 0.5, "awg": 20 }/'
wrong "an AWG that there is not" 's/"conductor": { "area_mm2": 0.5 }/"conductor": { "awg": 99 }/'
wrong "too hot" 's/"ambient_c": 30/"ambient_c": 900/'
wrong "a derating that runs backwards" 's/"air_c": 60/"air_c": 30/'
wrong "a bond where no tap is" 's/"zero_v_bonds": \[\]/"zero_v_bonds": [{"at": 99}]/'
wrong "a supply of 0 V" 's/"nominal_v": 24.0/"nominal_v": 0/'
echo "--- loads of nothing"
for file in profiles/*.json; do sed -i '/"load": {/s/"load": {[^}]*}/"load": {"type": "constant_power"}/' $file; done
linewalk supply --plan plan.json --draws 0 | grep -E '^fail|^not tested|^supply:' -A1
