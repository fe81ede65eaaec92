linewalk commission --visit walk --on sim:$DATA/cell --quiet --skip "noise:drives not ready" >first
echo "exit $?"
tail -6 first
linewalk commission --visit walk --on sim:$DATA/cell --quiet >second
echo "exit $?"
grep -c "done before" second
tail -5 second
