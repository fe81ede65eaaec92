captures="$DATA/../../../captures"
linewalk replay "$captures/write-and-answer.pcapng" --resend --on "sim:$captures/bench" --quiet
echo "exit $?"
linewalk replay "$captures/write-and-answer.pcapng" --resend --on "sim:$captures/bench" --allow-writes
echo "exit $?"
