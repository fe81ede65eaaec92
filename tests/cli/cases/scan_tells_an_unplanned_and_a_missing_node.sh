linewalk scan --on sim:$DATA/cell --plan $DATA/other-plan.json --profiles $DATA/cell/profiles --quiet
