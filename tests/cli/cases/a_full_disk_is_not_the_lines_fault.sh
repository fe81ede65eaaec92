# Files may grow to 64 blocks only: the capture of the second check does not fit.
linewalk visit today --engineer 'E. Example' >/dev/null
trap '' XFSZ
ulimit -f 64
linewalk link --visit today --on sim:$DATA/cell --quiet | sed -n '/^[a-z ]*not /,$p'
