linewalk roster --on sim:$DATA/cell --plan $DATA/cell/plan.json --quiet --draft-plan draft.json --profiles $DATA/cell/profiles >/dev/null
cat draft.json
linewalk roster --on sim:$DATA/cell --plan draft.json --profiles $DATA/cell/profiles --quiet | tail -3
