# A list of one's own: a no with a remark and a picture, an item that does not apply, one left open; stopped, resumed; a list that is wrong.
cat >list.json <<'END'
{"format": "linewalk/checklist/1", "title": "Cell 7",
 "items": [{"id": "clamps", "text": "Are both ends clamped?"},
           {"id": "magnets", "text": "Are magnets kept away?", "help": "Indicator stands, too."},
           {"id": "labels", "text": "Are labels on?", "required": false},
           {"id": "routing", "text": "Are cables apart?"}]}
END
printf 'question,answer\nsafety.off,yes\nsafety.who,A. Sample\nclamps,no\nclamps.remark,loose at station 2\nclamps.photo,%s\nmagnets,stop\n' \
    "$DATA/photos/new.jpg" >first.csv
linewalk checklist --list list.json --visit visit --answers first.csv --quiet
echo "exit $?"
printf 'question,answer\nsafety.off,yes\nsafety.who,A. Sample\nmagnets,3\nmagnets.remark,none here\nlabels,yes\nlabels,skip\nrouting,skip\n' >second.csv
sed -i '/^labels,yes/d' second.csv
linewalk checklist --list list.json --visit visit --answers second.csv --resume --quiet
echo "exit $?"
ls visit | grep jpg
printf 'question,answer\nsafety.off,yes\nsafety.who,A. Sample\nfixing,perhaps\n' >wrong.csv
linewalk checklist --visit other --answers wrong.csv 2>&1 | tail -1
sed 's/"magnets"/"clamps"/' list.json >twice.json
linewalk checklist --list twice.json --visit other --answers second.csv
