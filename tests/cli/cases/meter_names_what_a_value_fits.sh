# A terminator that is missing, a reversed pair, a fuse too small, the protective conductor left; then a slip of the finger in the file.
sed -e 's/^off.pair.*/off.pair.P01,119/; s/^off.fuse.PS1.*/off.fuse.PS1,0.1/; s/^on.idle.P01.*/on.idle.P01,"-0,25"/' \
    -e 's/^off.earth,.*/off.earth,left/; /^off.earth[.]/d; s/^instrument.due.*/instrument.due,skip/' "$DATA/meter-answers.csv" >answers.csv
sed '0,/off.pair.P01/! s/off.pair.P01/off.pair.P04/' answers.csv >faults.csv
linewalk meter --plan "$DATA/cell/plan.json" --visit visit --answers faults.csv --quiet
echo "exit $?"
sed 's/^off.d1_zero.P01.*/off.d1_zero.P01,5o0/' "$DATA/meter-answers.csv" >slip.csv
linewalk meter --plan "$DATA/cell/plan.json" --visit slip --answers slip.csv 2>&1 | tail -1
sed 's/^off.dead.P01.*/off.dead.P01,24.0/' "$DATA/meter-answers.csv" >live.csv
linewalk meter --plan "$DATA/cell/plan.json" --visit live --answers live.csv 2>&1 | tail -1
linewalk meter --plan "$DATA/cell/plan.json" --only sideways
