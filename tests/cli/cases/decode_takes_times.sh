# A real line: sigrok-dumps, uart/modbus_rtu/brainchild_io_16do, public domain.
awk '!/^#/ { printf "%.6f,%s\n", $1 / 1e6, $2 }' "$DATA/../../data/lines/io-module.bytes.tsv" >timed.csv
linewalk decode --timed timed.csv --framing 19200/8E1
