linewalk visit monday --engineer "E. Example" --machine-serial EX-77
linewalk scan --visit monday --on sim:$DATA/cell --quiet >/dev/null
linewalk note --visit monday "clamp at station 2 is loose" --node P02 --open
linewalk visit monday
ls monday
