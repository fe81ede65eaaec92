# SPDX-License-Identifier: GPL-3.0-or-later
"""What was recorded decodes to what was seen: polls a virtual chain with faults, decodes the capture, and
holds the counts of each node against the record of the day; judged from the capture alone, the line
comes out as it did on the day.

  decode_agrees.py LINEWALK CELL_FOLDER DEMO_PLAN
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile

linewalk, cell, demo = (os.path.abspath(path) for path in sys.argv[1:4])
noisy = {"kind": "noisy_span", "span": 3, "bit_error_rate": 1e-3}
late = {"kind": "late_replies", "tap": 2, "late_ms": 150, "share": 0.2}
disturbed = {
    "noisy": [noisy],
    "late": [late],
    "noisy, late and dead": [noisy, late, {"kind": "dead_node", "tap": 4}],
    "noisy through an echoing adapter": [noisy, {"kind": "echoing_adapter"}],
    "doubled": [{"kind": "double_address", "tap": 3, "address": 2}],
}


def run(*arguments):
    done = subprocess.run([linewalk, *arguments], stdout=subprocess.PIPE, text=True)
    if done.returncode not in (0, 1):
        sys.exit("linewalk %s: exit status %d" % (" ".join(arguments), done.returncode))
    return done.stdout


def agree(name, plan):
    with tempfile.TemporaryDirectory() as folder:
        visit = os.path.join(folder, "visit")
        seen = json.loads(run("link", "--on", "sim:" + plan, "--visit", visit, "--seconds", "30", "-q", "--json"))
        capture = os.path.join(visit, "0001-link.pcapng")
        decoded = json.loads(run("decode", capture, "--json"))["result"]
        again = json.loads(run("link", "--from", capture, "--plan", plan, "-q", "--json"))
    nodes = {node["address"]: node for node in decoded["nodes"]}
    polls = errors = 0
    for node in seen["result"]["nodes"]:
        heard = nodes.pop(node["address"])
        wrong = node["no_answer"] + node["crc_error"] + node["wrong_answer"]
        assert heard["requests"] == node["polls"], (heard, node)
        assert heard["unanswered"] == wrong, (heard, node)
        assert heard["exceptions"] == node["exception"], (heard, node)
        polls += node["polls"]
        errors += wrong
    assert not any(node["requests"] for node in nodes.values()), nodes
    assert decoded["exchanges"] == polls > 0
    counts = ("address", "polls", "no_answer", "crc_error", "wrong_answer", "exception")
    assert [[n[k] for k in counts] for n in seen["result"]["nodes"]] == [
        [n[k] for k in counts] for n in again["result"]["nodes"]]
    assert seen["verdict"] == again["verdict"] and again["line"]["simulated"]
    print("%s: %d exchanges, %d of them without a right reply: as on the day" % (name, polls, errors))
    return errors


def main():
    agree("demo", demo)
    with tempfile.TemporaryDirectory() as folder:
        here = shutil.copytree(cell, os.path.join(folder, "cell"))
        plan = json.load(open(os.path.join(here, "plan.json")))
        for name, faults in disturbed.items():
            plan.setdefault("virtual", {})["faults"] = faults
            with open(os.path.join(here, "plan.json"), "w") as file:
                json.dump(plan, file)
            assert agree(name, os.path.join(here, "plan.json")) > 100


main()
