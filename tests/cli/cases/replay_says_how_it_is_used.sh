capture="$DATA/../../../captures/clean-cycle.pcapng"
linewalk replay
linewalk replay "$capture"
linewalk replay "$capture" --pty a --tcp 0
linewalk replay "$capture" --resend --pty a
linewalk replay "$capture" --pty a --tolerance 1
linewalk replay nowhere.pcapng --pty a
linewalk replay . --pty a
linewalk replay "$DATA/readings.csv" --pty a
linewalk replay "$DATA/../../../captures/wrong-rate.pcapng" --pty a
linewalk replay "$capture" --pty no/such/folder/a
echo "exit $?"
