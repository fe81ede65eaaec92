# The picture that the report shows is the file in the visit, bit by bit; one that was changed or is gone is said, and one that no report could show is not taken.
linewalk note "the clamp is loose" --photo "$DATA/photos/new.jpg" --visit visit --quiet
linewalk note "a screen" --photo "$DATA/photos/nodate.png" --visit visit --quiet
shown() { grep -o 'src="data:[^"]*"' visit/report.html | sed "s|.*$1;base64,||;t;d" | tr -d '"' | base64 -d; }
linewalk report --visit visit >said.txt
shown image/jpeg | cmp - visit/0001-note.jpg && shown image/png | cmp - visit/0002-note.png && echo "bit by bit"
printf x >>visit/0001-note.jpg
rm visit/0002-note.png
linewalk report --visit visit --language de >said.txt
echo "exit $?"
grep -o "<p>Bild [^<]*" visit/report.html
grep -c "<img" visit/report.html
head -c 60 "$DATA/photos/new.jpg" >cut.jpg
printf '\377\330\377\332\0\3\1no frame\377\331' >frameless.jpg
linewalk note "cut" --photo cut.jpg --visit other
linewalk note "frameless" --photo frameless.jpg --visit other
