# SPDX-License-Identifier: GPL-3.0-or-later
"""One visit, four reports: page and PDF, English and German. All say the same numbers; the German ones say no sentence of the
English ones; every translation has the conversions of its original."""
import html
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

linewalk, scenario, catalogue = map(os.path.abspath, sys.argv[1:])
kept = tempfile.TemporaryDirectory(prefix="languages-")
folder = pathlib.Path(kept.name)
QUIET = {**os.environ, "LC_ALL": "C.UTF-8", "TZ": "UTC"}


def run(*arguments, env=QUIET):
    done = subprocess.run([linewalk, *arguments], cwd=folder, capture_output=True, text=True, env=env)
    assert done.returncode in (0, 1), done
    return done.stdout


def numbers(text):
    return set(re.findall(r"\d+(?:\.\d+)?", text))


def page_text(path):
    body = path.read_text(encoding="utf-8")
    body = re.sub(r"<desc.*?</desc>", "", body[body.index("<body"):], flags=re.S)
    return html.unescape(re.sub(r"<[^>]*>", " ", body))


def paper_text(path):
    text = subprocess.run(["pdftotext", "-layout", path, "-"], check=True, capture_output=True, text=True).stdout
    fonts = subprocess.run(["pdffonts", path], check=True, capture_output=True, text=True).stdout.splitlines()[2:]
    assert fonts and all(line.split()[-5] == "yes" for line in fonts), fonts
    return re.sub(r"\b\d+ ?/ ?%d\n" % text.count("\f"), "\n", text)


run("commission", "--on", "sim:" + scenario, "--visit", "walk", "--quiet")
run("note", "the clamp at station 2 is loose", "--open", "--visit", "walk")
texts = {}
for language in ("en", "de"):
    said = run("report", "--visit", "walk", "--language", language)
    assert said.startswith({"en": "not accepted", "de": "nicht abgenommen"}[language]), said
    page, paper = page_text(folder / "walk/report.html"), paper_text(folder / "walk/report.pdf")
    texts[language] = page
    assert f'lang="{language}"' in (folder / "walk/report.html").read_text(encoding="utf-8")
    times = r"\d\d:\d\d UTC"  # of making, may be a minute apart
    assert numbers(re.sub(times, "", page)) == numbers(re.sub(times, "", paper)), \
        (language, numbers(page) ^ numbers(paper))
assert numbers(re.sub(r"\d\d:\d\d UTC", "", texts["en"])) == numbers(re.sub(r"\d\d:\d\d UTC", "", texts["de"])), \
    numbers(texts["en"]) ^ numbers(texts["de"])
print(f"page and PDF, English and German: the same {len(numbers(texts['de']))} numbers, all fonts embedded")

run("report", "--visit", "walk", "--units", "inch")
inches, paper = page_text(folder / "walk/report.html"), paper_text(folder / "walk/report.pdf")
assert " mm" in texts["en"] and "inch" not in texts["en"]
assert not re.search(r"\d mm\b", inches) and "inch" in inches, re.findall(r".{60}\d mm\b", inches)
assert numbers(re.sub(times, "", inches)) == numbers(re.sub(times, "", paper)), numbers(inches) ^ numbers(paper)
assert re.search(r"P09 has a standard deviation of 0\.0000\d+ inch, the limit is 0\.0000197 inch", inches), inches
print("in inches: page and PDF say the same, nothing is left in mm")

left = []
findings = [finding for path in sorted((folder / "walk").glob("*.json")) if path.name[0].isdigit() and "note" not in path.name
            for finding in json.loads(path.read_text())["findings"]]
for finding in findings:
    for sentence in [finding["says"], *finding["because"], finding["next"], finding["caution"]]:
        if sentence and " ".join(sentence.split()) in " ".join(texts["de"].split()):
            left.append(sentence)
assert findings and not left, left
assert "the clamp at station 2 is loose" in texts["de"], "what people wrote stays"
print(f"{len(findings)} findings: no sentence of theirs stays English")

env = {**QUIET, "LC_ALL": "", "LC_MESSAGES": "de_DE.UTF-8", "LANG": "C.UTF-8"}
refused = subprocess.run([linewalk, "report", "--language", "fr"], cwd=folder, capture_output=True, text=True, env=env)
assert refused.returncode == 2 and "--language is en or de" in refused.stderr, refused
run("visit", "german", "--language", "de")
run("note", "nur eine Notiz", "--visit", "german")
assert run("report", "--visit", "german").startswith("unvollständig"), "the visit's language"
assert run("report", "--visit", "german", "--language", "en").startswith("incomplete")
print("the language of the visit holds, --language comes first")

CONVERSION = re.compile(r"%(?:%|[-+ #0]*\d*(?:\.\d+)?(?:z|ll?)?[a-zA-Z])")
entries = re.findall(r'^msgid ((?:".*"\n)+)msgstr ((?:".*"\n)+)', pathlib.Path(catalogue).read_text(encoding="utf-8"), re.M)


def joined(block):
    return "".join(json.loads(line) for line in block.splitlines())


def conversions(text):
    # "95 % of" is none, in either language
    return [one[-1] for one in CONVERSION.findall(re.sub(r"(?<!%)%( (?=\w)|-)", "", text)) if one != "%%"]


for english, german in ((joined(a), joined(b)) for a, b in entries[1:]):
    assert conversions(english) == conversions(german), (english, german)
    assert english.endswith("\n") == german.endswith("\n"), (english, german)
print(f"{len(entries) - 1} translations: conversions as in the original")
