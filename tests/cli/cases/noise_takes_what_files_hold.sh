head='# unit: mm\ntime_s,value\n'
printf "${head}0,1\n1,nan\n" >nan.csv
printf "${head}0,1\n1,5 mm\n" >text.csv
printf "${head}0,5.1\n" >one.csv
printf "${head}" >none.csv
awk 'BEGIN { print "# unit: mm\ntime_s,value"; for (i = 0; i < 60; i++) print i ",5" }' >equal.csv
# the same readings in time order, backwards, and all at one time
awk 'BEGIN { print "# unit: mm\ntime_s,value"; for (i = 0; i < 60; i++) print i "," 5 + (i * 37 % 101) / 1e6 }' >forth.csv
awk 'BEGIN { print "# unit: mm\ntime_s,value"; for (i = 59; i >= 0; i--) print i "," 5 + (i * 37 % 101) / 1e6 }' >back.csv
awk 'BEGIN { print "# unit: mm\ntime_s,value"; for (i = 0; i < 60; i++) print "7," 5 + (i * 37 % 101) / 1e6 }' >at_once.csv
for file in nan text one none equal forth back at_once; do
    echo "$file: $(linewalk noise --from $file.csv --limit 0.0005 | sed -n '/^sensor .*\(mm\|sensor\)  /p;/^not tested/p' | head -1)"
done
