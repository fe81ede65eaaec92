linewalk link --on sim:$DATA/cell
