linewalk supply --plan $DATA/cell/plan.json
