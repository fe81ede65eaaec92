# Three nodes as delivered, plugged one after the other; the third one's inrush resets the first.
linewalk assign --walk --on sim:$DATA/newcomers --profiles $DATA/cell/profiles --allow-writes --wait 60 --answers $DATA/newcomers/answers.csv --visit v
echo "exit $?"
linewalk decode --values v/0001-assign.pcapng 2>/dev/null | grep " 06 " || linewalk decode v/0001-assign.pcapng | grep " 06 "
cat v/0001-assign.answers.csv
