#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Makes docs/pictures: pages of the demo scenarios' reports as they are printed, in both languages, and the
# screen of linewalk watch.
# `pictures.sh BUILD` takes the programs from that build folder.
set -eu
cd "$(dirname "$0")/../.."
build=$(cd "${1:-build}" && pwd)
work=$(mktemp -d)
trap 'tmux -S "$work/tmux" kill-server 2>/dev/null || true; rm -rf "$work"' EXIT

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

# The screen as text, set in type by a browser.
screen() { tmux -f /dev/null -S "$work/tmux" "$@"; }
screen new-session -d -x 80 -y 24 env NO_COLOR=1 LC_ALL=C.UTF-8 "$build/tools/linewalk" watch \
    --on sim:captures/demo-faulty --visit "$work/watched" --seconds 20 --sim-speed 0 --hold
until screen capture-pane -p | grep -q '^OVER'; do :; done
{
    echo '<meta charset="utf-8"><body style="margin:8px;background:#fff"><pre style="margin:0;font:15px/18px DejaVu Sans Mono">'
    screen capture-pane -p | sed 's/&/\&amp;/g; s/</\&lt;/g; s/>/\&gt;/g'
} >"$work/watch.html"
screen kill-server
chromium --headless --no-sandbox --hide-scrollbars --window-size=740,448 --screenshot=docs/pictures/faulty-watch.png \
    "file://$work/watch.html" 2>/dev/null
du -bc docs/pictures/*.png | tail -1
