sed 's/"limit_a": 2.5/"limit_a": 0.15/' $DATA/cell/plan.json >plan.json
cp -r $DATA/cell/profiles .
printf 'yes\nE. Example\nyes\nyes\n' >once.txt
go() { linewalk restart --on sim:plan.json --visit day --warm-up 20s "$@" 2>&1 | grep -v '^Switching\|^it\. A\|^qualified'; }
echo "- a healthy chain"
linewalk restart --on sim:$DATA/cell --cycles 1 --warm-up 20s --answers once.txt --visit day --quiet 2>/dev/null
echo "- a supply that cannot start them all"
go --cycles 1 --answers once.txt
echo "- a typing mistake"
printf 'yes\nE. Example\nperhaps\n' >wrong.txt
go --cycles 1 --answers wrong.txt
echo "- cut short after the first cycle, and gone on with"
printf 'yes\nE. Example\nyes\nyes\nstop\n' >stopped.txt
go --cycles 2 --answers stopped.txt | tail -4
cat day/*-restart.answers.csv | tail -5
go --cycles 1 --answers once.txt --resume | tail -2
echo "- nothing on the answers' list is left over, and no file ends too early"
head -2 once.txt >short.txt
go --cycles 1 --answers short.txt | tail -1
