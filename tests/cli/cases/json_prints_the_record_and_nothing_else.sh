linewalk scan --on sim:$DATA/cell --addresses 1 --json
