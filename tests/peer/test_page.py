# SPDX-License-Identifier: GPL-3.0-or-later
"""The report's page in a browser (Chromium): nothing is asked of the network, nothing is complained of, printed pages
carry what they must, and no two words cover each other with the browser's own fonts."""
import pathlib
import re
import socketserver
import subprocess
import sys
import tempfile
import threading
from page_pictures import check_pictures, make_album
from page_words import words_that_overlap

page_maker = sys.argv[1]
kept = tempfile.TemporaryDirectory(prefix="page-", ignore_cleanup_errors=True)
folder = pathlib.Path(kept.name)
asked = []


class Proxy(socketserver.StreamRequestHandler):
    """Notes the first line of whatever the browser asks for, and answers nothing."""

    def handle(self):
        asked.append(self.rfile.readline(4096).decode("latin-1"))


proxy = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Proxy)
proxy.daemon_threads = True
threading.Thread(target=proxy.serve_forever, daemon=True).start()


def make(name, *arguments):
    path = folder / f"{name}.html"
    path.write_bytes(subprocess.run([page_maker, *arguments], check=True, capture_output=True).stdout)
    return path


def browse(path, *options):
    run = subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu",
         "--disable-background-networking", "--disable-component-update", "--enable-logging=stderr",
         f"--user-data-dir={folder}/profile", f"--proxy-server=http://127.0.0.1:{proxy.server_address[1]}",
         *options, path.as_uri()], check=True, capture_output=True, text=True, timeout=120)
    return [line for line in run.stderr.splitlines() if "CONSOLE" in line]


def printed(path):
    pdf = path.with_suffix(".pdf")
    complaints = browse(path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    assert not complaints, complaints
    text = subprocess.run(["pdftotext", "-layout", pdf, "-"], check=True, capture_output=True, text=True).stdout
    return pdf, text.split("\f")[:-1]


def host_asked(host):
    return [line for line in asked if host in line]


# A page that does ask is heard: else silence would prove nothing.
control = folder / "control.html"
control.write_text('<img src="http://control.example.invalid/x.png"><script>console.error("heard")</script>')
complaints = browse(control, f"--screenshot={folder}/control.png")
assert host_asked("control.example.invalid"), "the proxy hears nothing"
assert complaints, "the console is not heard"

for nodes in ("4", "24", "200"):
    pdf, pages = printed(make(f"plain{nodes}", nodes, "faulty"))
    assert "Carried out by" in pages[0] and "Carried out by" not in "".join(pages[1:]), "front page"
    for number, page in enumerate(pages, 1):
        assert re.search(rf"\b{number} ?/ ?{len(pages)}$", page.rstrip()), f"page number {number}"
    assert "SIMULATED" not in "".join(pages)
    overlaps = words_that_overlap(pdf, folder)
    assert not overlaps, overlaps[:10]
    # a table that goes on names its columns again
    for page in pages:
        if re.search(r"^ *P\d+ +\d+ +station", page, re.M):
            assert re.search(r"Node +Tap +Place", page), page
    print(f"{nodes} nodes: {len(pages)} pages, no words overlap")

files, wanted = make_album(folder / "album")
pdf, pages = printed(make("pictures", "4", "photos", folder / "album"))
check_pictures(pdf, folder, wanted, (182 - 4) / 2, shrunk=0.9)
assert not words_that_overlap(pdf, folder)
print(f"{len(wanted)} pictures: whole, upright, in their bounds")

pdf, pages = printed(make("simulated", "24", "faulty", "simulated"))
assert all("SIMULATED" in page for page in pages), "SIMULATED on every page"
assert "cannot be signed off" in pages[0] and "Carried out by" not in "".join(pages)
print(f"SIMULATED on each of {len(pages)} pages")

corpus = [
    '<script>console.error("executed")</script><img src="http://h0.example.invalid/">',
    '"><svg onload=console.error(1)><image href="http://h1.example.invalid/"/></svg>',
    '</style><style>@import "http://h2.example.invalid/";*{background:url(http://h3.example.invalid/)}</style>',
    '"}@page{@top-left{content:url(http://h4.example.invalid/)}}',
    "</title><link rel=stylesheet href=http://h5.example.invalid/>",
    "' style='background:url(http://h6.example.invalid/)",
    "javascript:console.error(1)",
    "\u202eright to left \u05e9\u05dc\u05d5\u05dd \u0633\u0644\u0627\u0645",
    "W" * 3000,
    "a" + "\u0301" * 50,
]
for number, text in enumerate(corpus):
    pdf, pages = printed(make(f"hostile{number}", "6", "faulty", "hostile", text))
    assert "Annex: every value" in "".join(pages)
assert not host_asked("example.invalid")[len(host_asked("control.example.invalid")):], asked
print(f"{len(corpus)} hostile texts: nothing ran, nothing was asked")
