# Stopped in the middle, with a value taken back; resumed, what holds is not asked again, whether it is dead now is.
{
    sed -n '1,/^off.rails/p' "$DATA/meter-answers.csv"
    printf 'off.lead.PS1,30\noff.pair.P01,back\noff.lead.PS1,0.3\noff.pair.P01,stop\n'
} >first.csv
linewalk meter --plan "$DATA/cell/plan.json" --visit visit --answers first.csv --quiet
echo "exit $?"
{
    printf 'question,answer\nsafety.off,yes\nsafety.who,A. Sample\noff,yes\noff.dead.P01,0.00\n'
    sed -n '/^off.pair.P01/,$p' "$DATA/meter-answers.csv"
} >second.csv
linewalk meter --visit visit --answers second.csv --resume 2>asked.txt
echo "exit $?"
grep -c "as answered before" asked.txt
