# SPDX-License-Identifier: GPL-3.0-or-later
"""The main job on a real kernel's serial drivers: walk.py ROOT PLANFOLDER TRANSCRIPT LINEWALK LINEWALK-PORTS GUEST LSUSB. The far
ends of both lines are virtual chains served here; what the guest finds is held against their plan, against lsusb, and
against what a pulled adapter must leave."""
import contextlib
import json
import os
import re
import selectors
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time

from machine import Machine, build_initramfs

HERE = os.path.dirname(os.path.abspath(__file__))


class Relay:
    """Between the machine's line and a served chain: counts what the machine sends, and can keep the chain out."""

    def __init__(self, chain_port, through):
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        self.chain_port, self.through = chain_port, through
        self.heard, self.wanted = b"", 0
        self.change = threading.Condition()
        self.machine = None
        threading.Thread(target=self.run, daemon=True).start()

    def take(self, data):
        with self.change:
            self.heard += data
            self.change.notify_all()

    def run(self):
        self.machine, _ = self.listener.accept()
        chain = socket.create_connection(("127.0.0.1", self.chain_port))
        chooser = selectors.DefaultSelector()
        chooser.register(self.machine, selectors.EVENT_READ)
        chooser.register(chain, selectors.EVENT_READ)
        with contextlib.suppress(OSError):
            while True:
                for key, _ in chooser.select():
                    data = key.fileobj.recv(4096)
                    if not data:
                        return
                    if key.fileobj is chain:
                        self.machine.sendall(data)
                    else:
                        self.take(data)
                        if self.through:
                            chain.sendall(data)

    def arm(self, requests):
        """Each request of a check is 8 bytes."""
        with self.change:
            self.wanted = len(self.heard) + 8 * requests

    def reached(self):
        with self.change:
            return self.change.wait_for(lambda: len(self.heard) >= self.wanted, 120)


class Host:
    """Answers what the guest asks, and keeps the transcript."""

    def __init__(self, machine, relay):
        self.machine, self.relay = machine, relay
        self.parts, self.transcript = {}, []

    def do(self, word, *more):
        if word == "bytes":
            self.relay.machine.sendall(bytes(range(256)) * 2)
            return  # the guest's own program asks; it waits for no answer
        if word == "guest_unplug":
            self.machine.unplug()
            self.relay.through = True
            return
        if word == "arm":
            self.relay.arm(int(more[0]))
        elif word == "reached" and not self.relay.reached():
            sys.exit("the guest has stopped asking")
        elif word in ("unplug", "plug_in"):
            getattr(self.machine, word)()
        self.machine.say("done")

    def run(self):
        name, begun = None, time.monotonic()
        for said in self.machine.lines():
            self.transcript.append(f"{time.monotonic() - begun:7.2f} {said}")
            if said.startswith("> "):
                self.do(*said[2:].split())
            elif said == "= end":
                name = None
            elif said.startswith("= "):
                name = said[2:]
                self.parts.setdefault(name, []).append([])
            elif name:
                self.parts[name][-1].append(said)

    def text(self, name, index=0):
        if name not in self.parts or len(self.parts[name]) <= index:
            sys.exit(f"the guest has not come to '{name}'")
        return self.parts[name][index]


class Judge:
    def __init__(self, host, plan):
        self.host, self.wrong = host, 0
        self.addresses = sorted(entry["address"] for entry in plan["chain"] if "node" in entry)
        self.names = [entry["node"] for entry in plan["chain"] if "node" in entry]

    def check(self, right, what, got=""):
        print(f"{'right' if right else 'WRONG'}: {what}{'' if right else f': {got}'}")
        self.wrong += not right

    def json(self, name):
        """The part's JSON and the exit status after it."""
        lines = self.host.text(name)
        text = "\n".join(lines)
        text = text[text.find("{"):text.rfind("}") + 1]
        try:
            return json.loads(text), self.status(name)
        except json.JSONDecodeError:
            sys.exit(f"'{name}' is no JSON: {lines}")

    def status(self, name):
        return next((int(line.split()[1]) for line in self.host.text(name) if re.match(r"(exit|status) \d+$", line)), None)

    def usb(self):
        ports, _ = self.json("ports_json")
        found = {port["port"]: port for port in ports["ports"]}
        adapter = found["/dev/ttyUSB0"]
        usb, lsusb = adapter["usb"], "\n".join(self.host.text("lsusb"))
        devices = {}
        for block in re.split(r"\n(?=Bus \d)", lsusb):
            ids = re.search(r"ID (\w+:\w+)", block)
            if ids:
                devices[ids[1]] = block
        for at in usb["way"]:
            block = devices.get(at["id"], "")
            asks = re.search(r"MaxPower\s+(\d+)mA", block)
            self.check(asks and int(asks[1]) == at["asks_ma"], f"{at['id']} asks what lsusb says, {at['asks_ma']} mA", asks)
            declares = "self" if re.search(r"bmAttributes.*\n\s+(Self Powered|.*\n\s+Self Powered)", block) else "bus"
            self.check(declares == at["declares"], f"{at['id']} declares what lsusb says, {declares}", at["declares"])
        hub = usb["way"][-2]
        now = re.search(r"Device Status:\s+0x(\w+)", devices[hub["id"]])
        wanted = "self" if now and int(now[1], 16) & 1 else "bus"
        self.check(now and hub["is"] == wanted, f"the hub is fed as it says to lsusb, {wanted}", hub["is"])
        self.check(len(usb["way"]) == 3 and usb["place"] == "1-1.2", "the way goes through the hub", usb["place"])
        self.check(adapter["driver"] == "ftdi_sio" and adapter["latency_ms"] == 16, "driver and latency timer", adapter)
        self.check(found["/dev/ttyS1"]["usb"] is None, "the UART is not on USB")
        self.check(found["/dev/ttyUSB0"]["group"] == "dialout", "the group that may open it", adapter["group"])

    def job(self, name):
        scan, status = self.json(f"scan_{name}")
        found = sorted(node["address"] for node in scan["result"]["nodes"])
        self.check(found == self.addresses and status == 0, f"{name}: scan finds {found}", (found, status))
        roster, status = self.json(f"roster_{name}")
        states = {node["node"]: node["state"] for node in roster["result"]["nodes"]}
        self.check(states == dict.fromkeys(self.names, "present"), f"{name}: roster knows each node", states)
        link, _ = self.json(f"link_{name}")
        polls = sum(node["polls"] for node in link["result"]["nodes"])
        damaged = sum(node["crc_error"] + node["wrong_answer"] for node in link["result"]["nodes"])
        missed = sum(node["no_answer"] for node in link["result"]["nodes"])
        self.check(polls >= 20 and damaged == 0 and missed == 0,
                   f"{name}: link polls {polls} times, {missed} without an answer, none damaged", (polls, missed, damaged))
        noise, _ = self.json(f"noise_{name}")
        counts = [node["n"] for node in noise["result"]["nodes"]]
        self.check(len(counts) == len(self.names) and min(counts) > 0 and sum(counts) > 10,
                   f"{name}: noise reads every node, {counts} times", counts)
        self.check(link["line"]["simulated"] is False, f"{name}: a line that is none of ours")
        walked = "\n".join(self.host.text(f"commission_{name}"))
        self.check(self.status(f"commission_{name}") in (0, 1) and "report:" in walked, f"{name}: commission walks to its report",
                   walked[-600:])

    def broken(self, name, status_wanted, code):
        record, status = self.json(name)
        codes = [finding["code"] for finding in record["findings"]]
        self.check(status == status_wanted and record["complete"] is False and code in codes,
                   f"{name}: exit {status}, a record that is not complete, {code}", (status, record["complete"], codes))
        return record

    def all(self):
        guest = self.host.text("guest")
        self.check("done, 0 wrong" in guest, "a line on ttyUSB0 does what lines do", guest)
        self.check(self.host.relay.heard[:8] == bytes.fromhex("1103006b00037687"), "the far end hears what is sent",
                   self.host.relay.heard[:8].hex())
        self.usb()
        self.job("ttyUSB0")
        self.job("ttyS1")
        rts, status = self.json("rts_ttyS1")
        self.check(sorted(node["address"] for node in rts["result"]["nodes"]) == self.addresses and status == 0,
                   "the same where RTS switches the direction", rts["result"]["nodes"])
        for name in ("interrupted", "terminated", "hung_up"):
            self.broken(name, 130, "line_interrupted")
            self.check("on" in self.host.text(name), f"{name}: USB was kept from sleeping meanwhile", self.host.text(name)[:3])
        before, after = self.host.text("settings_before"), self.host.text("settings_after")
        self.check(before == after and "16" in after and "auto" in after, "the port is as it was found", (before, after))
        scan = self.broken("pulled_in_scan", 3, "line_failed")
        self.check(sorted(node["address"] for node in scan["result"]["nodes"]) == self.addresses,
                   "what was found before it was pulled is kept", scan["result"]["nodes"])
        again, status = self.json("scan_again")
        self.check(len(again["result"]["nodes"]) == len(self.addresses) and status == 0, "plugged in again, the scan is whole")
        noise = self.broken("pulled_in_noise", 3, "line_failed")
        self.check(sum(node["n"] for node in noise["result"]["nodes"]) >= 6, "readings from before it was pulled are kept",
                   noise["result"])
        again, _ = self.json("noise_again")
        self.check(all(node["n"] > 5 for node in again["result"]["nodes"]), "plugged in again, the noise run is whole")


def serve(linewalk, plan_folder, stack):
    server = subprocess.Popen([linewalk, "sim", plan_folder, "--rtu", "0"], stdout=subprocess.PIPE, text=True)
    stack.callback(server.wait, 20)
    stack.callback(server.terminate)
    return int(server.stdout.readline().strip().rsplit(":", 1)[1])


def main():
    root, plan_folder, transcript, *programs = (os.path.abspath(word) for word in sys.argv[1:])
    with open(f"{plan_folder}/plan.json", encoding="utf-8") as file:
        plan = json.load(file)
    with contextlib.ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        beside = f"{folder}/plan"
        shutil.copytree(plan_folder, beside)
        given = {**plan.get("limits", {}), "error_rate": 0.02}  # 150 polls prove it, where 3000 would take minutes
        # An emulated processor beside other work answers when it can: link and noise give a node half a second.
        plans = {"plan": ("adapter", {}), "rts": ("rts", {}), "patient": ("adapter", {"reply_ms": 500})}
        for name, (direction, limits) in plans.items():
            plan["line"]["direction"] = direction
            plan["limits"] = {**given, **limits}
            with open(f"{beside}/{name}.json", "w", encoding="utf-8") as file:
                json.dump(plan, file)
        build_initramfs(programs, root, folder, f"{HERE}/walk.sh", {beside: "/plan"})
        usb = Relay(serve(programs[0], plan_folder, stack), False)
        uart = Relay(serve(programs[0], plan_folder, stack), True)
        machine = Machine(root, folder, usb.port, uart.port)
        stack.callback(machine.process.kill)
        host = Host(machine, usb)
        try:
            host.run()
        finally:
            with open(transcript, "w", encoding="utf-8") as file:
                file.write("\n".join(host.transcript) + "\n")
            print(f"transcript: {transcript}")
    judge = Judge(host, plan)
    judge.all()
    sys.exit(judge.wrong != 0)


main()
