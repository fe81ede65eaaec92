COLUMNS=60 linewalk roster --on sim:$DATA/cell --quiet
