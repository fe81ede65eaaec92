# SPDX-License-Identifier: GPL-3.0-or-later
"""A visit signed, its paper brought back, and each kind of file changed: whatever is changed is found and named. The visit is
made on a server that is no part of linewalk, since what is simulated cannot be signed."""
import csv
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import zipfile
from made_pictures import jpeg

linewalk, server, plan = map(os.path.abspath, sys.argv[1:])
kept = tempfile.TemporaryDirectory(prefix="signature-")
folder = pathlib.Path(kept.name)
PHRASE = "seven quiet probes"


def run(*arguments, phrase=None, cwd=folder, program=linewalk):
    """Exit status and all that was said; a pass phrase goes through a pipe."""
    reader, writer = os.pipe()
    os.write(writer, ((phrase or "") + "\n").encode())
    os.close(writer)
    options = ["--pass-fd", str(reader)] if phrase is not None else []
    done = subprocess.run([program, *arguments, *options], cwd=cwd, pass_fds=[reader], capture_output=True, text=True)
    os.close(reader)
    return done.returncode, done.stdout + done.stderr


def must(wanted, *arguments, **how):
    status, said = run(*arguments, **how)
    assert status == wanted, (wanted, status, arguments, said)
    return said


def make_visit():
    """Scan over TCP (a capture), supply from the plan (inputs), readings from a file, a photo."""
    must(0, "visit", "walk", "--engineer", "E. Example", "--machine-serial", "EX-77")
    unit = subprocess.Popen([server, "tcp"], stdout=subprocess.PIPE, text=True)
    port = unit.stdout.readline().split()[-1]
    scan = run("scan", "--on", f"tcp://127.0.0.1:{port}", "--addresses", "1-3", "--controller", "none", "--visit", "walk")
    unit.kill()
    unit.wait()
    assert scan[0] in (0, 1), scan
    status, said = run("supply", "--plan", plan, "--visit", "walk", "--quiet")
    assert status in (0, 1), said
    rows = "".join(f"{i * 0.1:.1f},P01,{1 + (i * 7919 % 13) * 1e-5:.6f}\n" for i in range(200))
    (folder / "rest.csv").write_text("# unit: mm\ntime_s,node,value\n" + rows)
    status, said = run("noise", "--from", "rest.csv", "--limit", "0.01", "--visit", "walk", "--quiet")
    assert status in (0, 1), said
    (folder / "photo.jpg").write_bytes(jpeg(320, 240))
    must(0, "note", "the clamp is tight", "--photo", "photo.jpg", "--visit", "walk")


def files_of(visit):
    return sorted(path for path in visit.rglob("*") if path.is_file() and path.name not in ("report.html", "report.pdf"))


def changed_copy(change):
    """What verifying says of a copy of the visit that `change` was done to, by itself and by the report."""
    copy = folder / "copy"
    shutil.copytree(folder / "walk", copy)
    change(copy)
    answers = run("report", "--verify", "copy"), run("report", "--verify", "copy/report.pdf")
    shutil.rmtree(copy)
    return answers


def flip(path):
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def unpack(bundle, to):
    with zipfile.ZipFile(folder / bundle) as packed:
        assert packed.testzip() is None
        assert all(name.startswith("walk/") and ".." not in name for name in packed.namelist()), packed.namelist()
        packed.extractall(folder / to)
    return folder / to / "walk"


make_visit()
must(0, "report", "--new-key", "key.json", "--owner", "E. Example", phrase=PHRASE)
must(0, "report", "--new-key", "other.json", "--owner", "O. Other", phrase=PHRASE)
must(2, "report", "--new-key", "key.json", "--owner", "E. Example", phrase=PHRASE)
must(2, "report", "--new-key", "short.json", "--owner", "E. Example", phrase="short")
assert (folder / "key.json").stat().st_mode & 0o077 == 0
assert PHRASE not in (folder / "key.json").read_text()

said = must(2, "report", "--sign", "key.json", "--visit", "walk", phrase="seven loud probes")
assert "wrong pass phrase" in said, said
flip(folder / "other.json")
must(2, "report", "--sign", "other.json", "--visit", "walk", phrase=PHRASE)
said = must(0, "report", "--sign", "key.json", "--visit", "walk", phrase=PHRASE)
fingerprint = next(line for line in said.splitlines() if line.startswith("key "))[4:43]
status, said = run("report", "--visit", "walk")
assert status in (0, 1) and "report.pdf" in said, said
for command in (["note", "late"], ["supply", "--plan", plan], ["visit", "--company", "X"]):
    said = must(2, *command, "--visit", "walk")
    assert "is signed (record" in said and "open a follow-up with linewalk visit" in said, said

said = must(0, "report", "--verify", "walk")
assert "nothing was changed" in said and "good, key " + fingerprint in said and "proves no time" in said, said
must(0, "report", "--verify", "walk", "--signer", fingerprint)
must(0, "report", "--verify", "walk", "--signer", fingerprint.replace(" ", ""))
must(1, "report", "--verify", "walk", "--signer", "0" * 32)
must(0, "report", "--verify", "walk/report.pdf")
must(0, "report", "--verify", "walk/report.html")
digest = next(line for line in said.splitlines() if line.startswith("digest "))[7:]
text = subprocess.run(["pdftotext", "-f", "1", "-l", "1", folder / "walk/report.pdf", "-"], check=True, capture_output=True,
                      text=True).stdout
for start in (0, 4, 8, 12):
    assert digest[start:start + 4] in text, text
assert fingerprint in text, text
print("good: said by the visit, the page and the PDF, with the key named")

kinds = set()
for path in files_of(folder / "walk"):
    name = path.relative_to(folder / "walk")
    own, by_report = changed_copy(lambda copy: flip(copy / name))
    if name.name.endswith("signature.json"):
        assert own[0] == 1 and "signature of record" in own[1], (name, own)
    else:
        for status, said in (own, by_report):
            assert status == 1 and name.name in said, (name, status, said)
    kinds.add(name.suffix)
assert kinds == {".json", ".pcapng", ".csv", ".jpg"}, kinds
print(f"one bit changed in each of {len(files_of(folder / 'walk'))} files: each found and named")

for path in files_of(folder / "walk"):
    name = path.relative_to(folder / "walk")
    own, by_report = changed_copy(lambda copy: (copy / name).unlink())
    if name.name == "visit.json":
        assert own[0] == 2 and by_report[0] == 2, own
    elif name.name.endswith("signature.json"):
        assert own[0] == 0 and "Nothing here is signed by a key" in own[1], own
        assert by_report[0] == 1 and "no signature here is of that key" in by_report[1], by_report
    else:
        assert own[0] == 1 and name.name in own[1], (name, own)
print("each file removed: found and named; a removed signature is told by the report that names its key")


def swap(copy):
    (copy / "0002-supply.json").rename(copy / "x")
    (copy / "0003-noise.json").rename(copy / "0002-noise.json")
    (copy / "x").rename(copy / "0003-supply.json")


for status, said in changed_copy(swap):
    assert status == 1 and "0002-noise.json" in said, said
print("records in another order: found")

(folder / "scan.pdf").write_bytes(b"%PDF-1.4 a scan of ink")
said = must(2, "report", "--verify", "scan.pdf", "--visit", "walk")
assert "carries no digest that can be read" in said, said
said = must(2, "report", "--attach", "scan.pdf", "--digest", "0123 4567", "--visit", "walk")
assert "another digest" in said, said
must(0, "report", "--attach", "scan.pdf", "--digest", digest[:4] + " " + digest[4:16].upper(), "--visit", "walk")
must(0, "report", "--verify", "walk")
must(0, "report", "--verify", "walk/report.pdf")
assert must(0, "report", "--verify", "walk").splitlines()[1] == "digest " + digest
own, by_report = changed_copy(lambda copy: flip(next(copy.glob("*-paper.pdf"))))
assert own[0] == 1 and "paper.pdf" in own[1], own
print("signed paper: compared, kept, and found when changed; the digest stays the one that was signed")

status, said = run("report", "--bundle", "hand-over.zip", "--visit", "walk")
assert status == 0 and "bundle: hand-over.zip" in said, said
subprocess.run(["sha256sum", "-c", "--quiet", "SHA256SUMS"], cwd=unpack("hand-over.zip", "elsewhere"), check=True)
there = folder / "elsewhere/walk"
assert {path.relative_to(there) for path in files_of(there)} == \
    {path.relative_to(folder / "walk") for path in files_of(folder / "walk")} | \
    {pathlib.Path("SHA256SUMS"), pathlib.Path("HOW-TO-VERIFY.txt")}
assert digest in (there / "HOW-TO-VERIFY.txt").read_text()
for place in (".", "report.pdf", "report.html"):
    said = must(0, "report", "--verify", place, cwd=there)
    assert "nothing was changed" in said, said
flip(there / "0001-scan.json")
assert "0001-scan.json" in must(1, "report", "--verify", ".", cwd=there)
assert subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=there, capture_output=True).returncode == 1
print("unpacked elsewhere: verified by linewalk and by sha256sum, and a changed bit found by both")

must(0, "report", "--export", "lists", "--visit", "walk", "--plan", plan)
wanted = json.loads(pathlib.Path(plan).read_text())["chain"]
nodes, labels, parts = (list(csv.DictReader((folder / "lists" / name).open(encoding="utf-8", newline="")))
                        for name in ("nodes.csv", "labels.csv", "parts.csv"))
assert [row["node"] for row in nodes] == [row["node"] for row in labels] == [entry["node"] for entry in wanted]
assert [row["address"] for row in nodes] == [str(entry["address"]) for entry in wanted]
assert {row["state"] for row in nodes} == {"not read"}
assert sum(int(row["in_use"]) for row in parts if row["part"] == "node") == len(wanted)
print(f"lists of {len(nodes)} nodes, their labels and {len(parts)} parts, as the plan has them")

must(0, "visit", "play")
run("scan", "--on", "sim:" + str(pathlib.Path(plan).parent), "--addresses", "1", "--visit", "play", "--quiet")
for act in (["--sign", "key.json"], ["--attach", "scan.pdf"]):
    said = must(2, "report", *act, "--visit", "play", phrase=PHRASE)
    assert "simulated" in said, said
print("a simulated visit is neither signed nor takes a signed paper")
