#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What an ohm meter is to show on a data pair, against ngspice.

Usage: test_meter.py METER_DECKS COUNT PLAN. Prints the largest relative difference; fails above 1e-6.
"""
import subprocess
import sys
import tempfile

from test_supply import operating_point

GOAL = 1e-6


def main():
    out = subprocess.run(sys.argv[1:4], capture_output=True, text=True, check=True).stdout
    blocks = [block for block in out.split("* end\n") if block.strip()]
    assert len(blocks) == int(sys.argv[2]) + 2
    worst = (0.0, "")
    with tempfile.TemporaryDirectory() as folder:
        for block in blocks:
            deck, ours = block.split("* ohm ")
            theirs = operating_point(deck, folder)["red"]
            difference = abs(float(ours) - theirs) / theirs
            worst = max(worst, (difference, deck.split("\n", 1)[0]))
    print(f"{len(blocks)} pairs: largest relative difference {worst[0]:.3g} ({worst[1]})")
    return 0 if worst[0] <= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
