linewalk link --on sim:$DATA/cell/plan.json --visit walk --seconds 2 -q | grep ^P >on_the_day
linewalk link --from walk/0001-link.pcapng --plan $DATA/cell/plan.json | tee afterwards
grep ^P afterwards | diff on_the_day - && echo as on the day
linewalk noise --on sim:$DATA/cell/plan.json --visit walk --seconds 4 -q | grep ^P >on_the_day
linewalk noise --from walk/0002-noise.pcapng --plan $DATA/cell/plan.json -q >afterwards
grep ^P afterwards | diff on_the_day - && echo as on the day
mkdir elsewhere && cd elsewhere
linewalk noise --from ../walk/0002-noise.pcapng; echo $?
linewalk link --from ../walk/0002-noise.pcapng --addresses 99; echo $?
