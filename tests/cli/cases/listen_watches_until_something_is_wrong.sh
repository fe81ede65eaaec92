linewalk listen --on sim:$DATA/watched.json --profiles $DATA/cell/profiles --visit v --until-fault \
    --seconds 600 --cap 500kB
cat v/0001-listen/events.csv
ls v v/0001-listen
linewalk listen --on sim:$DATA/watched.json --profiles $DATA/cell/profiles --until-fault --seconds 70 --quiet \
    --output w --within P01=5..5.1 >/dev/null
grep -c value w/events.csv
