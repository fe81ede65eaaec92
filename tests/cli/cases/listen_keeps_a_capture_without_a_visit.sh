# A capture holds the name of its line: a short one, the same everywhere.
cp $DATA/controller.json .
on="--on sim:controller.json --profiles $DATA/cell/profiles --quiet"
linewalk listen $on --seconds 2 --output heard.pcapng >/dev/null
wc -c heard.pcapng
linewalk listen $on --size 20kB --output sized.pcapng >/dev/null
wc -c sized.pcapng
linewalk listen $on --size 20kB
linewalk listen $on --until-fault
linewalk listen --on tcp://127.0.0.1:1 --seconds 1 --size 20XB
