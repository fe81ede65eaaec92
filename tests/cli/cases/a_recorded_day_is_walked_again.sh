demo="$DATA/../../../captures/demo-faulty"
linewalk commission --on "sim:$demo" --visit day --state "drives on" --quiet | grep -v '^report: ' >day.txt
linewalk commission --on replay:day --plan "$demo/plan.json" --visit again --state "drives on" --quiet |
    grep -v '^report: ' >again.txt
diff day.txt again.txt && grep -E '^(scan|roster|link|supply|noise): ' again.txt
cmp day/0005-noise.csv again/0005-noise.csv
# The answers are the recording's: from the scan alone, reads of readings are refused as the nodes
# refused what they did not know.
mkdir part && cp day/0001-scan.pcapng part
linewalk link --on replay:part --plan "$demo/plan.json" --seconds 5 --quiet | grep '^P01 '
