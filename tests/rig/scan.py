# SPDX-License-Identifier: GPL-3.0-or-later
"""A whole command on a real kernel's USB serial driver: scan.py LINEWALK ROOT PLANFOLDER serves the plan's virtual chain
here, scans it inside through /dev/ttyUSB0, and compares the addresses found with the plan's."""
import json
import os
import subprocess
import sys
import tempfile

from machine import Machine, build_initramfs

SCAN = ("cd /tmp; /guest scan --on /dev/ttyUSB0 --plan /plan/plan.json --visit /tmp/visit --controller none "
        "--slowest-reply 500ms --addresses {addresses} --json > found.json; echo exit $?; echo found; cat found.json; echo end")


def console(machine):
    """What stands between "found" and "end" on the console."""
    lines, inside = [], False
    for said in machine.process.stdout:
        said = said.rstrip()
        inside = inside and said != "end"
        if inside:
            lines.append(said)
        else:
            print(said)
        inside = inside or said == "found"
    return "\n".join(lines)


def main():
    linewalk, root, plan_folder = (os.path.abspath(word) for word in sys.argv[1:])
    with open(f"{plan_folder}/plan.json", encoding="utf-8") as file:
        wanted = sorted(entry["address"] for entry in json.load(file)["chain"])
    asked = f"1-{wanted[-1] + 4}"
    with tempfile.TemporaryDirectory() as folder:
        build_initramfs(linewalk, root, folder, SCAN.format(addresses=asked), {plan_folder: "/plan"})
        server = subprocess.Popen([linewalk, "sim", f"{plan_folder}/plan.json", "--pty", f"{folder}/chain"],
                                  stdout=subprocess.PIPE, text=True)
        try:
            print(server.stdout.readline().strip())
            machine = Machine(root, folder, f"serial,path={folder}/chain")
            text = console(machine)
            machine.process.wait(60)
        finally:
            server.terminate()
            server.wait(20)
    record = json.loads(text)
    found = sorted(node["address"] for node in record["result"]["nodes"])
    if found != wanted:
        sys.exit(f"found {found}, wanted {wanted}")
    print(f"right: {len(found)} nodes found of addresses {asked}, none invented; adapter {record['line']}")


main()
