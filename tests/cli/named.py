#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Every command and option that a finding names is one that there is.

    named.py LINEWALK docs/findings.md tools/po/de.po

The table of findings is read as the documentation has it, which is made from the code and held to it by a test of its
own. `linewalk WORD` must be a command; an option behind it must be that command's, and an option alone that of the
finding's check, or of every command where the check is no command. All further sentences of the program are read from
the catalogue: there a command counts that is named in brackets, after "run" or "use"."""
import re
import subprocess
import sys

linewalk, findings, catalogue = sys.argv[1:]
DONE_BY = {"resend": "replay"}  # checks that are not called as their command
WORD = re.compile(r"linewalk ([a-z]+)|(--[a-z][a-z-]*)")
ADVICE = re.compile(r"(?:\(|\b(?:run|use|with|or|and|then) )(linewalk [a-z]+(?: --[a-z-]+)?)")


def run(*arguments):
    return subprocess.run([linewalk, *arguments], capture_output=True, text=True, check=True).stdout


def options_of(command):
    return set(re.findall(r"^ +(?:-\w, )?(--[a-z-]+)", run(command, "--help"), re.M))


COMMANDS = {name: options_of(name) for name in re.findall(r"^  ([a-z]+)  +\S", run("--help"), re.M)}
COMMON = set.intersection(*COMMANDS.values())


def wrong_in(text, check):
    """What a sentence names that there is not; `check` None: options alone are not judged."""
    command = DONE_BY.get(check, check)
    command = command if command in COMMANDS else None
    for word, option in WORD.findall(text):
        if word:
            command = word
            if word not in COMMANDS:
                yield f"no command '{word}'"
        elif command in COMMANDS and option not in COMMANDS[command]:
            yield f"'{command}' has no {option}"
        elif command is None and check is not None and option not in COMMON:
            yield f"no command named for {option}"


def rows():
    check = None
    for line in open(findings, encoding="utf-8"):
        if line.startswith("## "):
            check = line[3:].strip()
        elif line.startswith("| `"):
            yield check, line


def sentences():
    text = subprocess.run(["msgcat", "--no-wrap", catalogue], capture_output=True, text=True, check=True).stdout
    return [msgid for msgid in re.findall(r'^msgid "(.+)"$', text, re.M)]


def main():
    assert {"scan", "roster", "supply"} <= set(COMMANDS) and "--plan" in COMMON, COMMANDS
    found = [(line, wrong) for check, line in rows() for wrong in wrong_in(line, check)]
    found += [(text, wrong) for text in sentences() for part in ADVICE.findall(text) for wrong in wrong_in(part, None)]
    named = sum(len(WORD.findall(line)) for _, line in rows())
    assert named > 50, "the table of findings was not read"
    for text, wrong in found:
        print(f"{wrong}: {text.strip()}")
    print(f"{named} commands and options named in findings, {len(found)} of all wrong")
    return 1 if found else 0


sys.exit(main())
