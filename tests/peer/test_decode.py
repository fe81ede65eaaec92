# SPDX-License-Identifier: GPL-3.0-or-later
"""Frames against tshark: of captures in which every frame is a packet, both must say the same number of
frames, and of each the same time, address and function.

  test_decode.py LINEWALK CAPTURE ...
"""

import csv
import io
import subprocess
import sys

DISSECT = 'uat:user_dlts:"User 0 (DLT=147)","mbrtu","0","","0",""'


def output(*command):
    return subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, check=True).stdout


def ours(linewalk, capture):
    rows = csv.DictReader(io.StringIO(output(linewalk, "decode", "--frames", "--csv", capture)))
    return [(float(row["time_s"]), int(row["address"]), int(row["function"], 16) & 0x7F)
            for row in rows if row["what"] != "noise"]


def theirs(capture):
    rows = output("tshark", "-n", "-r", capture, "-o", DISSECT, "-T", "fields", "-e", "frame.time_relative",
                  "-e", "mbrtu.unit_id", "-e", "modbus.func_code").splitlines()
    fields = [row.split("\t") for row in rows]
    return [(float(time), int(address), int(function)) for time, address, function in fields]


def main():
    linewalk = sys.argv[1]
    for capture in sys.argv[2:]:
        a, b = ours(linewalk, capture), theirs(capture)
        assert len(a) == len(b) > 0, (capture, len(a), len(b))
        for one, other in zip(a, b):
            assert abs(one[0] - other[0]) <= 1.1e-6 and one[1:] == other[1:], (capture, one, other)
        print("%s: %d frames alike" % (capture.rsplit("/", 1)[-1], len(a)))


main()
