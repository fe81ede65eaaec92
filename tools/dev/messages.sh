#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Brings tools/po/de.po in line with the sources: new strings are added without a translation, old ones
# go. Then names what is not translated, as --check does without writing. Sentences of findings are
# strings too: of lw_findings_add() and lw_finding_because() the format is taken.
set -eu
cd "$(dirname "$0")/../.."

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
pot() { xgettext -C --from-code=UTF-8 --no-location --sort-output -o "$@"; }
pot "$work/words.pot" -k_ -kN_ -klw_findings_add:4 -klw_finding_because:3 \
    lib/report/*.c lib/site/*.c lib/check/*.c tools/*.c tools/cli/*.c
# In the checks, lw_print() puts together what sentences are made of; a dialog says what is no good answer.
pot "$work/parts.pot" -k -klw_print:3 -kfound:5 -klw_assign_say:2 lib/check/*.c
pot "$work/answers.pot" -k -klw_fail:3 lib/check/*dialog.c lib/check/noise_switch.c lib/check/assign_compose.c
msgcat --use-first --sort-output -o "$work/all.pot" "$work/words.pot" "$work/parts.pot" "$work/answers.pot"
# "95 % of" is no conversion, though it looks like one.
sed -i '/^#, c-format$/d' "$work/all.pot"
msgmerge -q --no-fuzzy-matching --sort-output --no-location -o "$work/de.po" tools/po/de.po "$work/all.pot"
msgattrib --no-obsolete --no-location "$work/de.po" | sed "/^.POT-Creation-Date/d; /^.Report-Msgid-Bugs-To/d" >"$work/clean.po"
if [ "${1:-}" != --check ]; then cp "$work/clean.po" tools/po/de.po; fi
msgattrib --untranslated --no-obsolete -o "$work/missing.po" "$work/clean.po"
if [ -s "$work/missing.po" ]; then
    cat "$work/missing.po"
    echo "German is not complete" >&2
    exit 1
fi
echo "German is complete: $(grep -c '^msgid ' "$work/clean.po") texts"
