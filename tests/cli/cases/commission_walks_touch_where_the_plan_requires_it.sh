cp -r $DATA/walk cell
sed -i 's|"line":|"required_checks": ["touch"], "line":|' cell/plan.json
others='scan:later,roster:later,link:later,supply:later,noise:later'
linewalk commission --visit a --on sim:cell --quiet --skip "$others,touch:nobody at the machine" | grep -A3 '^touch'
linewalk commission --visit b --on sim:cell --quiet --skip "$others" | grep -A3 '^touch'
linewalk commission --visit c --on sim:$DATA/walk --quiet --skip "$others" | grep -c '^touch'
