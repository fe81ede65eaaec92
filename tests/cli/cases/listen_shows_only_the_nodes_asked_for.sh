linewalk listen --on sim:$DATA/controller.json --profiles $DATA/cell/profiles --seconds 20 --nodes P02 --quiet
linewalk listen --on sim:$DATA/controller.json --profiles $DATA/cell/profiles --seconds 20 --nodes P02 --against-plan
