on="--on sim:$DATA/controller.json --profiles $DATA/cell/profiles --quiet"
linewalk listen $on --seconds 2 --output heard.pcapng >/dev/null
wc -c heard.pcapng
linewalk listen $on --size 20kB --output sized.pcapng >/dev/null
wc -c sized.pcapng
linewalk listen $on --size 20kB
linewalk listen $on --until-fault
linewalk listen --on tcp://127.0.0.1:1 --seconds 1 --size 20XB
