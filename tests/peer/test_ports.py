# SPDX-License-Identifier: GPL-3.0-or-later
"""The list of ports under a made device tree (umockdev): two ports of one adapter, in the order of their numbers, and
an adapter whose name carries control bytes."""
import subprocess
import sys

ports, tree = sys.argv[1:]
text = subprocess.run(["umockdev-run", "-d", tree, "--", ports], check=True, capture_output=True, text=True).stdout
rows = [line.split("|")[:2] for line in text.splitlines()]
wanted = [["/dev/ttyACM0", "odd?[31m adapter"], ["/dev/ttyUSB2", "RS-485 adapter - EX0001"],
          ["/dev/ttyUSB10", "RS-485 adapter - EX0001"]]
if rows != wanted:
    sys.exit(f"got {rows}, wanted {wanted}")
print(f"{len(rows)} ports the same")
