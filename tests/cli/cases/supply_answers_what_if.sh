# A question to the plan: the whole answer once, of the others what changes.
short() { grep -E '^(what if|carries|load factor|advice|supply:)' -A1 | grep -v '^--'; }
linewalk supply --plan $DATA/cell/plan.json --add 30 --draws 0 | short
linewalk supply --plan $DATA/cell/plan.json --feed P03:PS1 --ambient 45 --draws 0 | short
linewalk supply --plan $DATA/cell/plan.json --without P02-P03 --draws 0 | short
linewalk supply --plan $DATA/cell/plan.json --add 60 --advise --draws 0 | short
linewalk supply --plan $DATA/cell/plan.json --feed 9; echo exit $?
linewalk supply --plan $DATA/cell/plan.json --add 2:nothing; echo exit $?
mkdir visit && linewalk supply --plan $DATA/cell/plan.json --visit visit --add 2 --draws 0 >all; ls visit | grep -c supply || true
