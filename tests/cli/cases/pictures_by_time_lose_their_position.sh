# Of a folder only pictures taken since the opening, by their own date; what cannot be taken is said; no position goes along.
linewalk visit visit >/dev/null || exit
linewalk note "end clamp" --photos "$DATA/photos" --visit visit
grep -c Owner "$DATA/photos/new.jpg" visit/0001-note.jpg
linewalk note "from the phone" --photo "$DATA/photos/phone.heic" --visit visit
linewalk note --photos "$DATA/photos" --photo "$DATA/photos/new.jpg" --visit visit
