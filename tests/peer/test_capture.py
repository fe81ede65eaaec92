# SPDX-License-Identifier: GPL-3.0-or-later
"""Captures against general packet tools: ours read by tshark and capinfos, theirs (editcap, mergecap, and a
big-endian file made here) read by ours. Times are compared to the nanosecond, bytes and addresses exactly."""
import os
import struct
import subprocess
import sys
import tempfile

CAPTURE = sys.argv[1]
USER0, ETHERNET = 147, 1
# epb_flags, draft-ietf-opsawg-pcapng 4.3.1: CRC error bit 24, too short 26, inter frame gap 27, symbol 31.
DAMAGE_BITS = {1: 1 << 24, 2: 1 << 26, 4: 1 << 27, 8: 1 << 31}


def run(*words):
    return subprocess.run(words, check=True, capture_output=True, text=True, env={**os.environ, "LC_ALL": "C"}).stdout


def packets(text):
    """(ns, direction, damage, hex) of each packet, and the lines that are none."""
    lines = [line.split(" ") for line in text.splitlines()]
    return [(int(w[0]), w[1], int(w[2]), w[3]) for w in lines if len(w) == 4], [w for w in lines if len(w) != 4]


def nanoseconds(epoch):
    seconds, fraction = epoch.split(".")
    return int(seconds) * 10**9 + int(fraction.ljust(9, "0"))


def expect(name, got, wanted):
    if got != wanted:
        at = next((i for i, (a, b) in enumerate(zip(got, wanted)) if a != b), min(len(got), len(wanted)))
        sys.exit(f"{name}: differs at {at} of {len(got)}, {len(wanted)}: {got[at:at + 1]} {wanted[at:at + 1]}")
    print(f"{name}: {len(got)} the same")


def dissect(path, kind):
    dlt, number, protocol, unit = (
        (147, 0, "mbrtu", "mbrtu.unit_id") if kind == "rtu" else (148, 1, "mbtcp", "mbtcp.unit_id"))
    fields = ["frame.time_epoch", "frame.packet_flags", unit, "modbus.func_code", "frame.len"]
    text = run("tshark", "-r", path, "-o", f'uat:user_dlts:"User {number} (DLT={dlt})","{protocol}","0","","0",""',
               "-T", "fields", *[word for field in fields for word in ("-e", field)])
    return [line.split("\t") for line in text.splitlines()]


def ours_read_by_tshark(folder, kind):
    path = f"{folder}/{kind}.pcapng"
    written, _ = packets(run(CAPTURE, "write", kind, path))
    seen, wanted = [], []
    for epoch, flags, unit, function, length in dissect(path, kind):
        seen.append((nanoseconds(epoch), int(flags, 16), int(unit), int(function), int(length)))
    head = 0 if kind == "rtu" else 12
    for ns, direction, damage, data in written:
        flags = (2 if direction == "out" else 1) | sum(bit for i, bit in DAMAGE_BITS.items() if damage & i)
        function = int(data[head + 2:head + 4], 16) & 0x7F
        wanted.append((ns, flags, int(data[head:head + 2], 16), function, len(data) // 2))
    expect(f"{kind} by tshark", seen, wanted)
    return path, written


def ours_read_by_capinfos(path, written):
    row = run("capinfos", "-T", "-M", "-r", "-c", "-d", "-a", "-e", "-S", path).rstrip("\n").split("\t")
    size = sum(len(packet[3]) // 2 for packet in written)
    expect("capinfos", [int(row[1]), int(row[2]), nanoseconds(row[3]), nanoseconds(row[4])],
           [len(written), size, written[0][0], written[-1][0]])


def theirs_read_by_us(folder, path, written):
    """editcap's other formats keep bytes; a direction only pcapng, nanoseconds all but plain pcap."""
    for name, options, unit_ns, directed in (("pcapng", [], 1, True), ("nsecpcap", [], 1, False),
                                             ("pcap", [], 1000, False), ("pcapng", ["-r"], 1, True)):
        other = f"{folder}/other.{name}"
        keep = ["1-250"] if options else []
        run("editcap", "-F", name, *options, path, other, *keep)
        read, rest = packets(run(CAPTURE, "read", other))
        source = written[:250] if options else written
        wanted = [(ns // unit_ns * unit_ns, direction if directed else "-", damage if directed else 0, data)
                  for ns, direction, damage, data in source]
        expect(f"editcap -F {name} {' '.join(options)}", read, wanted)
        expect("nothing foreign", rest, [["foreign", "0"]])


def merged_read_by_us(folder, path, written):
    """Ethernet frames beside ours in one file: skipped and counted."""
    hexdump, ethernet, merged = f"{folder}/frame.txt", f"{folder}/ethernet.pcapng", f"{folder}/merged.pcapng"
    with open(hexdump, "w", encoding="ascii") as file:
        for _ in range(3):
            file.write("000000 " + " ".join(["ff"] * 60) + "\n")
    run("text2pcap", hexdump, ethernet)
    run("mergecap", "-w", merged, path, ethernet)
    read, rest = packets(run(CAPTURE, "read", merged))
    expect("mergecap", read, written)
    expect("foreign counted", rest, [["foreign", "3"]])


def block(kind, body):
    return struct.pack(">II", kind, len(body) + 12) + body + struct.pack(">I", len(body) + 12)


def big_endian_read_by_both(folder):
    """A big-endian capture with an unknown block, made here, read by tshark and by us."""
    path = f"{folder}/big.pcapng"
    section = block(0x0A0D0D0A, struct.pack(">IHHq", 0x1A2B3C4D, 1, 0, -1))
    interface = block(1, struct.pack(">HHIHHBxxxHH", USER0, 0, 0, 9, 1, 9, 0, 0))
    frames = [bytes.fromhex("1103006b00037687"), bytes.fromhex("11030602 2b000000 64c8ba".replace(" ", ""))]
    body = b"".join(
        block(6, struct.pack(">IIIII", 0, (ns := 1764059462118000001 + i) >> 32, ns & 0xFFFFFFFF, len(data), len(data))
              + data + bytes(-len(data) % 4)) for i, data in enumerate(frames))
    with open(path, "wb") as file:
        file.write(section + interface + block(0x7777, b"whatever") + body)
    ours, _ = packets(run(CAPTURE, "read", path))
    expect("big-endian", [(ns, data) for ns, _, _, data in ours],
           [(1764059462118000001 + i, data.hex()) for i, data in enumerate(frames)])
    expect("big-endian by tshark", [nanoseconds(row[0]) for row in dissect(path, "rtu")], [ns for ns, *_ in ours])


def cut_read_by_us(folder, path, written):
    with open(path, "rb") as file:
        content = file.read()
    cut = f"{folder}/cut.pcapng"
    with open(cut, "wb") as file:
        file.write(content[:-10])
    read, rest = packets(run(CAPTURE, "read", cut))
    expect("cut off", read, written[:-1])
    expect("cut said", rest, [["foreign", "0"], ["cut"]])


def main():
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("rtu", "mbap"):
            path, written = ours_read_by_tshark(folder, kind)
            ours_read_by_capinfos(path, written)
            theirs_read_by_us(folder, path, written)
            merged_read_by_us(folder, path, written)
            cut_read_by_us(folder, path, written)
        big_endian_read_by_both(folder)


main()
