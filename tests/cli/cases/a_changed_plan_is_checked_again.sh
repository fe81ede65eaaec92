# What was judged by a plan that has changed since counts no more.
cp -r $DATA/cell cell
linewalk commission --visit today --on sim:cell --quiet | grep -c 'done before'
linewalk visit today | sed -n '3,$p'
sed 's/"place": "station 1, top"/"place": "station 1, front"/; s/"revision": "[^"]*"/"revision": "B"/' $DATA/cell/plan.json >cell/plan.json
linewalk roster --visit today --on sim:cell --plan cell/plan.json --quiet | tail -1
linewalk visit today | sed -n '3,$p'
linewalk commission --visit today --on sim:cell --plan cell/plan.json --quiet | grep 'done before'
linewalk visit today | sed -n '3,$p'
