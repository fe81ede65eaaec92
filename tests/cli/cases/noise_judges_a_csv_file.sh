linewalk noise --from $DATA/readings.csv --limit 0.0005
