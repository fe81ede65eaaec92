#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Instructions of one solution of the 200-tap chain, and ngspice beside 100 000 draws of it.

Usage: bench_supply.py BENCH_SUPPLY
"""
import re
import resource
import subprocess
import sys
import tempfile


def processor_s(command):
    """Seconds of processor time a command takes, and what it prints."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    out = subprocess.run(command, capture_output=True, text=True, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime, out.stdout + out.stderr


def main():
    bench = sys.argv[1]
    _, said = processor_s(["valgrind", "--tool=callgrind", "--toggle-collect=lw_ladder_solve",
                           "--callgrind-out-file=/dev/null", bench, "one"])
    count = int(re.search(r"Collected : (\d+)", said).group(1))
    print(f"one solution of 200 taps: {count} instructions (goal 250000)")
    with tempfile.NamedTemporaryFile("w", suffix=".cir") as deck:
        deck.write(subprocess.run([bench, "deck"], capture_output=True, text=True, check=True).stdout)
        deck.flush()
        theirs = min(processor_s(["ngspice", "-b", deck.name])[0] for _ in range(5))
    ours, said = processor_s([bench, "draws"])
    print(f"ngspice, one operating point: {theirs * 1e3:.0f} ms; 100 000 draws: {ours:.2f} s, "
          f"{ours * 10:.1f} us each")
    print(said.strip())
    return 0 if count < 250000 else 1


if __name__ == "__main__":
    sys.exit(main())
