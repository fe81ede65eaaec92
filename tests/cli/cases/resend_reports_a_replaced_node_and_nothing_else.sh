cp -r "$DATA/cell" other
sed 's/"100003"/"100773"/' "$DATA/cell/plan.json" >other/plan.json
linewalk roster --on "sim:$DATA/cell" --visit day --quiet >/dev/null
linewalk link --on "sim:$DATA/cell" --visit day --seconds 10 --quiet >/dev/null
linewalk replay day --resend --on "sim:$DATA/cell" --visit same --sim-at 0 --quiet
echo "exit $?"
linewalk replay day --resend --on sim:other --visit today --sim-at 0 --quiet >today.txt
echo "exit $?"
grep -v "calibrated_on" today.txt # a date that follows the serial and today
