for check in scan roster link supply noise; do
    linewalk $check --visit today --on sim:$DATA/cell --nodes P01-P02 --quiet | grep "^$check: "
done
linewalk visit today | sed -n '3,$p'
linewalk commission --visit today --on sim:$DATA/cell --quiet | grep -c 'done before'
linewalk visit today | grep 'so far'
