# SPDX-License-Identifier: GPL-3.0-or-later
"""The report's page under axe-core (rules of WCAG 2.1 A and AA, and best practices) in Chromium: light and dark, on a telephone and
on a desk. axe-core comes through npm into a folder of the build; without npm or a network the test is skipped."""
import json
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
from page_pictures import make_album

SKIPPED = 77
page_maker, modules = sys.argv[1:]
axe = pathlib.Path(modules) / "node_modules/axe-core/axe.min.js"
if not axe.exists():
    if not shutil.which("npm"):
        print("no npm")
        sys.exit(SKIPPED)
    fetched = subprocess.run(["npm", "install", "--no-audit", "--no-fund", "--prefix", modules, "axe-core@4"],
                             capture_output=True, text=True)
    if fetched.returncode != 0:
        print(fetched.stderr)
        sys.exit(SKIPPED)

kept = tempfile.TemporaryDirectory(prefix="axe-", ignore_cleanup_errors=True)
folder = pathlib.Path(kept.name)
RUN = """<script>%s</script><script>var dark = matchMedia('(prefers-color-scheme: dark)').matches; axe.run().then(function (found) {
  document.documentElement.innerHTML = '<head></head><body><pre id="found"></pre></body>';
  document.getElementById('found').textContent = JSON.stringify({
    dark: dark, passes: found.passes.map(function (rule) { return rule.id; }),
    violations: found.violations.map(function (rule) {
      return [rule.id, rule.impact, rule.nodes.slice(0, 3).map(function (node) { return node.html.slice(0, 120); })]; })});
});</script>"""


def looked_at(page, *options):
    """What axe says of a page. Its policy forbids scripts, so it is taken out of the copy that is looked at."""
    body = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    path = folder / "page.html"
    path.write_text(body.replace("</body>", RUN % axe.read_text(encoding="utf-8") + "</body>"), encoding="utf-8")
    dom = subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu",
                          f"--user-data-dir={folder}/profile", "--virtual-time-budget=60000", *options, "--dump-dom",
                          path.as_uri()], check=True, capture_output=True, text=True, timeout=280).stdout
    found = re.search(r'<pre id="found">(.*?)</pre>', dom, re.S)
    assert found, dom[-500:]
    return json.loads(found.group(1).replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&"))


bad = looked_at('<!DOCTYPE html><html><head><title>x</title></head><body><main><h1>x</h1><img src="data:,">'
                '<p style="color:#bbb">pale</p></main></body></html>')
album = folder / "album"
make_album(album)
assert {"image-alt", "color-contrast", "html-has-lang"} <= {rule for rule, *_ in bad["violations"]}, bad
for name, arguments, options in (
        ("light, desk", ["6", "faulty"], ["--window-size=1280,900"]),
        ("dark, desk", ["6", "faulty"], ["--window-size=1280,900", "--blink-settings=preferredColorScheme=0"]),
        ("telephone", ["6", "faulty"], ["--window-size=390,844"]),
        ("simulated", ["4", "simulated"], ["--window-size=1280,900"]),
        ("pictures, desk", ["4", "photos", album], ["--window-size=1280,900"]),
        ("pictures, telephone", ["4", "photos", album], ["--window-size=390,844"])):
    page = subprocess.run([page_maker, *arguments], check=True, capture_output=True, text=True).stdout
    found = looked_at(page, *options)
    assert found["dark"] == name.startswith("dark"), name
    assert not found["violations"], (name, found["violations"])
    assert {"color-contrast", "heading-order", "svg-img-alt", "html-has-lang"} <= set(found["passes"]), found["passes"]
    assert ("image-alt" in found["passes"]) == ("photos" in arguments), found["passes"]
    print(f"{name}: {len(found['passes'])} rules pass, none is broken")
