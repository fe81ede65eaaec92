linewalk scan --on sim:$DATA/cell --quiet
