#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Our operating points against ngspice's, voltage by voltage.

Usage: test_supply.py SUPPLY_DECKS [COUNT [SEED]]. Prints the largest difference; fails above
1e-9 V.
"""
import os
import re
import subprocess
import sys
import tempfile

GOAL_V = 1e-9


def operating_point(deck, folder):
    """Node voltages by ngspice, from an ASCII raw file."""
    path = os.path.join(folder, "deck.cir")
    raw = os.path.join(folder, "out.raw")
    control = f".control\nset filetype=ascii\nop\nwrite {raw} all\n.endc\n.end\n"
    with open(path, "w", encoding="ascii") as file:
        file.write(deck + control)
    if os.path.exists(raw):
        os.remove(raw)
    run = subprocess.run(["ngspice", "-b", path], capture_output=True, text=True, check=False)
    if not os.path.exists(raw):
        raise RuntimeError("ngspice found no operating point:\n" + run.stdout + run.stderr)
    with open(raw, encoding="ascii") as file:
        head, values = file.read().split("Values:\n")
    names = re.findall(r"^\s*\d+\s+(\S+)\s+(?:voltage|current)", head, re.MULTILINE)
    numbers = [float(word) for word in values.split()[1:]]
    return {re.sub(r"^v\((.*)\)$", r"\1", name): number for name, number in zip(names, numbers)}


def mode_fits(line, theirs):
    """Whether a supply's mode holds at ngspice's voltage; 1e-6 V of grace at the corners."""
    tap, mode, volts, ohm, limit = line.split()
    under = float(volts) - (theirs[f"p{tap}"] - theirs[f"z{tap}"])
    past = under - float(limit) * float(ohm)
    return {
        "voltage": -1e-6 <= under and past <= 1e-6,
        "limited": past >= -1e-6,
        "blocking": under <= 1e-6,
        "sinking": under <= 1e-6,
    }[mode]


def compare(block, folder):
    """Largest difference of one chain in volts, and how many supplies were not in plain voltage."""
    deck, rest = block.split("* modes\n")
    modes, volts = rest.split("* volts\n")
    theirs = operating_point(deck, folder)
    title = deck.split("\n", 1)[0]
    for line in modes.strip().splitlines():
        assert mode_fits(line, theirs), f"{title}: mode of '{line}' does not hold"
    largest = 0.0
    for tap, line in enumerate(volts.strip().splitlines()):
        plus, zero = (float(word) for word in line.split())
        largest = max(largest, abs(theirs[f"p{tap}"] - plus), abs(theirs[f"z{tap}"] - zero))
    return largest, title, [modes.count(word) for word in ("limited", "blocking", "sinking")]


def main():
    helper = sys.argv[1]
    count = sys.argv[2] if len(sys.argv) > 2 else "200"
    seed = sys.argv[3] if len(sys.argv) > 3 else "1"
    out = subprocess.run([helper, count, seed], capture_output=True, text=True, check=True).stdout
    blocks = [block for block in out.split("* end\n") if block.strip()]
    assert len(blocks) == int(count)
    with tempfile.TemporaryDirectory() as folder:
        results = [compare(block, folder) for block in blocks]
    worst = max(results)
    limited, blocking, sinking = (sum(column) for column in zip(*(r[2] for r in results)))
    print(f"{len(blocks)} chains ({limited} supplies limited, {blocking} blocking, {sinking} sinking): "
          f"largest difference {worst[0]:.3g} V ({worst[1]})")
    return 0 if worst[0] <= GOAL_V else 1


if __name__ == "__main__":
    sys.exit(main())
