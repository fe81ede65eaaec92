# SPDX-License-Identifier: GPL-3.0-or-later
"""Holds the documentation against the program.

In ```console blocks every line that begins with "$ " is run, in the order of the page and in one empty
folder a page, and must print exactly what stands below it. Each command and each option of linewalk
that a page gives to type must exist, and whatever a page links to within the project; each page
of docs/ is linked to by another.

  tour.py LINEWALK PAGE ...           compares
  tour.py LINEWALK --write PAGE ...   writes what the commands print now: read the diff
"""

import os
import re
import shlex
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
# What differs from run to run: a page keeps what it has.
CHANGING = [r"20\d\d-[01]\d-[0-3]\dT[0-9:.]*Z", r"\b[0-9a-f]{64}\b"]


def environment(linewalk):
    beside = os.path.dirname(os.path.abspath(linewalk))
    return {**os.environ, "PATH": beside + ":" + os.environ["PATH"], "COLUMNS": "80", "TERM": "dumb",
            "LC_ALL": "C.UTF-8", "TZ": "UTC", "NO_COLOR": "1"}


def alike(text):
    for pattern in CHANGING:
        text = re.sub(pattern, "CHANGES", text)
    return text


def run(command, folder, env):
    done = subprocess.run(["sh", "-c", command], cwd=folder, env=env, stdin=subprocess.DEVNULL,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=120)
    return [line.rstrip() for line in done.stdout.decode().splitlines()]


def steps(lines):
    """Of a console block: pairs of a command line and the lines below it."""
    found = []
    for line in lines:
        if line.startswith("$ "):
            found.append((line, []))
        elif found:
            found[-1][1].append(line)
    return found


def tour(page, linewalk, write):
    """Runs a page's console blocks; returns what is wrong."""
    env, wrong, kept, block = environment(linewalk), [], [], None
    with open(page, encoding="utf-8") as file:
        lines = file.read().splitlines()
    with tempfile.TemporaryDirectory() as folder:
        os.symlink(os.path.join(ROOT, "captures"), os.path.join(folder, "captures"))
        for line in lines:
            if block is None:
                kept.append(line)
                block = [] if line == "```console" else None
            elif line != "```":
                block.append(line)
            else:
                for command, shown in steps(block):
                    now = run(command[2:], folder, env)
                    same = alike("\n".join(now)) == alike("\n".join(shown))
                    if not same and not write:
                        wrong.append(f"{page}: {command}\n  shown:\n    " + "\n    ".join(shown) +
                                     "\n  now:\n    " + "\n    ".join(now))
                    kept += [command] + (shown if same else now)
                kept.append(line)
                block = None
    if write:
        with open(page, "w", encoding="utf-8") as file:
            file.write("\n".join(kept) + "\n")
    return wrong


def named(page):
    """The linewalk command lines that a page gives to type, as lists of words."""
    with open(page, encoding="utf-8") as file:
        text = file.read()
    lines = re.findall(r"^\$ (.+)$", text, re.M) + re.findall(r"^    (.+)$", text, re.M)
    for block in lines + re.findall(r"^```sh\n(.*?)^```", text, re.M | re.S):
        for match in re.finditer(r"(?:^|[\s/$(;&])linewalk (\w[^\n|;>&]*)", block):
            yield shlex.split(match.group(1), comments=True)


def unknown(page, linewalk):
    env, helps, wrong = environment(linewalk), {}, []
    listed = run("linewalk --help", ".", env)
    commands = {line.split()[0] for line in listed if line.startswith("  ")}
    for words in named(page):
        if words[0] not in commands:
            wrong.append(f"{page}: there is no command 'linewalk {words[0]}'")
            continue
        if words[0] not in helps:
            helps[words[0]] = set(re.findall(r"--[a-z-]+", "\n".join(run(f"linewalk {words[0]} --help", ".", env))))
        wrong += [f"{page}: linewalk {words[0]} has no option {word}" for word in words
                  if word.startswith("--") and word.split("=")[0] not in helps[words[0]]]
    return wrong


def links(page):
    """Paths within the project that a page links to."""
    with open(page, encoding="utf-8") as file:
        found = re.findall(r"\]\(([^)\s]+)\)", file.read())
    paths = [link.split("#")[0] for link in found if "://" not in link]
    return [os.path.realpath(os.path.join(os.path.dirname(page), path)) for path in paths if path]


def dead_links(page):
    return [f"{page}: links to '{path}', which is not there" for path in links(page) if not os.path.exists(path)]


def orphans(pages):
    linked = {path for page in pages for path in links(page)}
    return [f"{page}: no other page links to it" for page in pages
            if "/docs/" in page and os.path.realpath(page) not in linked]


def main():
    linewalk, pages = sys.argv[1], sys.argv[2:]
    write = pages[:1] == ["--write"]
    wrong = []
    for page in pages[write:]:
        wrong += tour(page, linewalk, write) + unknown(page, linewalk) + dead_links(page)
    wrong += [] if write else orphans(pages)
    print("\n".join(wrong) if wrong else f"{len(pages) - write} pages hold")
    if any("\n  now:" in each for each in wrong):
        print(f"to take over what is printed now: {sys.argv[0]} {linewalk} --write PAGE ..., then read the diff")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
