printf '# unit: mm\ntime_s,node,value\n0,P01,1.0\n1,P01,oops\n' >bad.csv
linewalk noise --from bad.csv --limit 0.001
