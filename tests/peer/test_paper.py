# SPDX-License-Identifier: GPL-3.0-or-later
"""The report's PDF before other readers (poppler, qpdf): sound, fonts embedded, bookmarks, page x / y, heads repeated,
no words over each other, the same numbers as the page, and the visit's pictures bit by bit."""
import hashlib
import html
import json
import re
import shutil
import subprocess
import sys
import tempfile
import pathlib
from page_pictures import check_pictures, make_album
from page_words import words_that_overlap

paper_maker, page_maker = sys.argv[1:]
kept = tempfile.TemporaryDirectory(prefix="paper-")
folder = pathlib.Path(kept.name)


def make(name, *arguments):
    path = folder / f"{name}.pdf"
    path.write_bytes(subprocess.run([paper_maker, *arguments], check=True, capture_output=True).stdout)
    return path


def run(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True, errors="replace").stdout


def pages_of(path):
    return run("pdftotext", "-layout", path, "-").split("\f")[:-1]


def numbers(text):
    return set(re.findall(r"\d+(?:\.\d+)?", text))


def check_sound(path):
    run("qpdf", "--check", path)
    fonts = [line.split() for line in run("pdffonts", path).splitlines()[2:]]
    assert fonts and all(line[-5] == "yes" for line in fonts), fonts


def bookmarks(path):
    outlines = json.loads(run("qpdf", "--json=2", "--json-key=outlines", path))["outlines"]
    return [(one["title"], one["destpageposfrom1"], [kid["title"] for kid in one["kids"]]) for one in outlines]


for nodes in ("4", "24", "200"):
    path = make(f"plain{nodes}", nodes, "faulty")
    pages = pages_of(path)
    check_sound(path)
    assert "Carried out by" in pages[0] and "Carried out by" not in "".join(pages[1:]), "front page"
    for number, page in enumerate(pages, 1):
        assert re.search(rf"\b{number} ?/ ?{len(pages)}$", page.rstrip()), f"page number {number}"
        if re.search(r"^ *P\d+ +\d+ +station", page, re.M):
            assert re.search(r"Node +Tap +Place", page), page
    overlaps = words_that_overlap(path, folder)
    assert not overlaps, overlaps[:10]
    if shutil.which("zbarimg"):
        run("pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-singlefile", "-png", path, folder / "front")
        code = run("zbarimg", "-q", "--raw", folder / "front.png").strip()
        assert re.fullmatch("LINEWALK SHA-256 9D4E5B6A7978.*3F2A9C10", code) and len(code) == 81, code
    marks = bookmarks(path)
    titles = [title for title, _, _ in marks]
    assert titles[1] == "What was checked, and what was not" and titles[-1] == "Annex: every value", titles
    assert "Fails" in next(kids for title, _, kids in marks if title == "Findings and next steps")
    for title, page, _ in marks[1:]:
        assert title in pages[page - 1], f"'{title}' is not on page {page}"
    source = subprocess.run([page_maker, nodes, "faulty"], check=True, capture_output=True, text=True).stdout
    body = re.sub(r"<desc.*?</desc>", "", source[source.index("<body"):])
    shown = html.unescape(re.sub(r"<[^>]*>", " ", body))
    text = re.sub(r"\b\d+ ?/ ?%d\n" % len(pages), "\n", "\n".join(pages))
    missing, added = numbers(shown) - numbers(text), numbers(text) - numbers(shown)
    assert not missing and not added, (missing, added)
    print(f"{nodes} nodes: {len(pages)} pages, {path.stat().st_size} bytes, {len(numbers(text))} numbers as on the page")
    if nodes == "200":
        assert path.stat().st_size < 2_000_000

def digests(paths):
    return [hashlib.sha256(path.read_bytes()).hexdigest() for path in paths]


files, wanted = make_album(folder / "album")
for paper, column_mm in (("", (180 - 14 * 25.4 / 72) / 2), ("letter", (8.5 * 25.4 - 30 - 14 * 25.4 / 72) / 2)):
    path = make("pictures" + paper, "4", *([paper] if paper else []), "photos", folder / "album")
    check_sound(path)
    check_pictures(path, folder, wanted, column_mm)
    assert not words_that_overlap(path, folder)
    run("pdfimages", "-all", path, folder / "taken")
    taken = sorted(folder.glob("taken-*.jpg"))
    assert digests(taken) == digests(one for one in files if one.suffix == ".jpg"), "a JPEG is not the recorded one"
    text = "".join(pages_of(path))
    assert all(one.name in text for one in files)
    print(f"{len(wanted)} pictures {paper}: whole, upright, in their bounds; {len(taken)} JPEG files bit by bit")

path = make("simulated", "24", "faulty", "simulated")
pages = pages_of(path)
assert all("SIMULATED" in page for page in pages) and "cannot be signed off" in pages[0]
path = make("letter", "24", "letter")
assert "612 x 792" in run("pdfinfo", path)
for number, text in enumerate(["<b>&amp;</b>" * 20, "W" * 3000, "a" + "\u0301" * 50, "\u05e9\u05dc\u05d5\u05dd (1) \u0633",
                               "%s%n", "\u202egnirts", "\U0001f600\u6e2c\u5b9a"]):
    path = make(f"hostile{number}", "6", "faulty", "hostile", text)
    check_sound(path)
    assert "Annex: every value" in "".join(pages_of(path))
    box = [float(side) for side in re.search(r"Page size: +([\d.]+) x ([\d.]+)", run("pdfinfo", path)).groups()]
    boxes = run("pdftotext", "-bbox", path, "-")
    for x, y, word in re.findall(r'xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)', boxes):
        assert float(x) <= box[0] and float(y) <= box[1], f"text {number}: '{word}' runs off the sheet at {x}, {y}"
print("simulated, Letter and hostile texts as they must be")
