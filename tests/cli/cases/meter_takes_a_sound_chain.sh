# All values of a small chain, with decimal commas, units and OL; they stand beside the record as a file for supply.
linewalk meter --plan "$DATA/cell/plan.json" --visit visit --answers "$DATA/meter-answers.csv" --quiet || exit
cat visit/0001-meter.csv
