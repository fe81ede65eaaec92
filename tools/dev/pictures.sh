#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Makes docs/pictures: pages of the demo scenarios' reports as they are printed, in both languages.
# `pictures.sh BUILD` takes the programs from that build folder.
set -eu
cd "$(dirname "$0")/../.."
build=$(cd "${1:-build}" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

for scenario in healthy faulty; do
    "$build/tools/linewalk" visit "$work/$scenario" --engineer 'E. Example' --contact 'A. Sample' \
        --machine-serial EX-77 >/dev/null
    "$build/tools/linewalk" commission --on "sim:captures/demo-$scenario" --visit "$work/$scenario" \
        --state 'drives on' --quiet >/dev/null || [ $? -eq 1 ]
done

# The page that a heading stands on.
page_with() {
    pdftotext -layout "$1" - | awk -v RS='\f' -v wanted="$2" 'index($0, wanted) && NR > 1 { print NR; exit }'
}

# picture SCENARIO LANGUAGE HEADING NAME; an empty heading is the first page
picture() {
    pdf="$work/$1/report.pdf"
    "$build/tools/linewalk" report --visit "$work/$1" --language "$2" >/dev/null || [ $? -eq 1 ]
    page=1
    if [ -n "$3" ]; then page=$(page_with "$pdf" "$3"); fi
    pdftoppm -r 55 -f "$page" -l "$page" -singlefile -png "$pdf" "docs/pictures/$4"
}

mkdir -p docs/pictures
picture healthy en '' healthy-front
picture faulty en '' faulty-front
picture faulty en 'Supply voltage along the chain' faulty-supply
picture faulty de '' faulty-front-german
picture faulty de 'Rauschen der Messwerte in Ruhe' faulty-noise-german
du -bc docs/pictures/*.png | tail -1
