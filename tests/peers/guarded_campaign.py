#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""A campaign under a live guard process, on a bench that is served on its own clock: it completes; the guard is killed
in its middle; a trip of stop category 1 comes down under control; a simulated one is interrupted and goes on.

guarded_campaign.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER

Everything waits for conditions; nothing is timed.
"""

import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
import time

from guard_process import PATIENCE_S, Registers
from peer import HASTY_CAMPAIGN, Bench, need


class Laboratory:
    def __init__(self, bench):
        self.bench = bench
        self.processes = []
        self.terminals = []
        bench.run("calibrate", "bench.toml")
        server, told = bench.start("serve-device", "bench.toml", "--modbus-tcp", "0", "--real-time", "--json")
        self.processes.append(server)
        self.registers = Registers(told["modbus_tcp_port"])
        self.fan_address = told["map"]["holding_registers"]["fan_pct"]["address"]
        text = bench.run("serve-device", "bench.toml", "--modbus-tcp", str(told["modbus_tcp_port"]), "--tables")
        text = re.sub(r"\nsample_rate_hz = .*", "", text)
        text = re.sub(r"\nblock_s = .*", "\nsample_rate_hz = 50\nblock_s = 0.02", text, count=1)
        # Nobody lays known inputs on these sensors.
        text = re.sub(r"\n\[channel.check_standard\]\n.*\n.*", "", text)
        text += "\n[guard]\nrequired = true\nsilence_s = 1.0\n"
        self.write("sound", text)
        need("highest = 420\n" in text, "the interlock on the rotor's speed")
        self.write("low", text.replace("highest = 420\n", "highest = 5\nstop_category = 1\n"))

    def write(self, name, text):
        folder = self.bench.folder / name
        folder.mkdir()
        shutil.copy(self.bench.folder / "rotor.toml", folder)
        for part in ("polars", "certificates"):
            shutil.copytree(self.bench.folder / part, folder / part)
        (folder / "bench.toml").write_text(text)
        (folder / "campaign.toml").write_text(HASTY_CAMPAIGN)

    def start(self, *words, stdin=subprocess.DEVNULL):
        process = subprocess.Popen([self.bench.program, *words], cwd=self.bench.folder, text=True, stdin=stdin,
                                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        self.processes.append(process)
        return process

    def guard(self, name):
        process = self.start("guard", f"{name}/bench.toml")
        line = process.stdout.readline()
        need(line.startswith("guarding"), f"a guard: {line}")
        return process

    def conduct(self, name, *more):
        """With a person at the terminal, who says "done" to every change by hand."""
        person, terminal = pty.openpty()
        self.terminals.append(person)
        os.write(person, b"\n" * 20)
        process = self.start("conduct", f"{name}/campaign.toml", "--into", f"{name}/run", "--catalogue", "none", *more,
                             stdin=terminal)
        os.close(terminal)
        return process

    def ended(self, process, codes, words=""):
        out, err = process.communicate(timeout=PATIENCE_S)
        need(process.returncode in codes, f"exit {process.returncode}, not {codes}: {out} {err}")
        need(words in err, f"'{words}' in: {err}")

    def wait_until(self, condition, what):
        until = time.monotonic() + PATIENCE_S
        while not condition():
            need(time.monotonic() < until, what)
            time.sleep(0.01)

    def lines(self, file):
        path = self.bench.folder / file
        return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []

    def events(self, file):
        return [line["event"] for line in self.lines(file)]

    def fan(self):
        return self.registers.read(3, self.fan_address)

    def end(self):
        for process in self.processes:
            process.kill()
            process.wait()


def check_killed_guard(laboratory):
    guard = laboratory.guard("sound")
    run = laboratory.conduct("sound", "--reason", "nobody proves interlocks here")
    laboratory.wait_until(lambda: run.poll() is not None or "point" in laboratory.events("sound/run/logbook.jsonl"),
                          "a test point")
    if run.poll() is not None:
        laboratory.ended(run, [4])
    need(laboratory.fan() > 0, "driven")
    # Who drives holds the lease: others learn who that is, and may look on at most.
    laboratory.ended(laboratory.start("record", "sound/bench.toml", "--seconds", "1", "--set", "fan_pct=10", "--into",
                                      "other.h5"), [3], "is commanded by Bench crew, Saltmarsh College (windwright "
                     "conduct) since ")
    guard.kill()
    guard.wait()
    laboratory.ended(run, [4], "the guard process has ended")
    need(laboratory.fan() == 0, "safe")
    trip = laboratory.lines("sound/run/logbook.jsonl")[-1]
    need(trip["event"] == "trip" and trip["interlock"] == "guard process", f"the last line: {trip}")

    # Not without a guard, not without a reason; then it goes on to its end under the next guard.
    laboratory.ended(laboratory.conduct("sound", "--resume"), [3], "is not running")
    guard = laboratory.guard("sound")
    laboratory.ended(laboratory.conduct("sound", "--resume"), [4], "the trip is latched")
    laboratory.ended(laboratory.conduct("sound", "--resume", "--reason", "guard started again", "--by", "the test"), [0, 1])
    need(laboratory.fan() == 0, "safe at the end")
    events = laboratory.events("sound/run/logbook.jsonl")
    need(events.count("point") == 6 and events.count("trip") == 1, f"six points, one trip: {events}")
    need(events[-1] == "complete" and events.index("trip") < events.index("reset") < events.index("resume"),
         f"the logbook is complete: {events}")
    guard.terminate()
    laboratory.ended(guard, [0])
    need("trip" not in laboratory.events("sound/guard.jsonl"), "the second guard had nothing to trip on")


def check_controlled_stop(laboratory):
    guard = laboratory.guard("low")
    laboratory.ended(laboratory.conduct("low", "--reason", "nobody proves interlocks here"), [4], "rotor overspeed")
    laboratory.wait_until(lambda: "stopped" in laboratory.events("low/guard.jsonl"), "the guard's end of the stop")
    events = laboratory.events("low/guard.jsonl")
    need("consequence" not in events and events.count("trip") == 1, f"no power removed on the way: {events}")
    need(laboratory.lines("low/guard.jsonl")[events.index("stopped")]["text"] == "power is removed", "category 1")
    trips = [line for line in laboratory.lines("low/run/logbook.jsonl") if line["event"] == "trip"]
    need(len(trips) == 1 and trips[0]["stop_category"] == 1, f"one trip of category 1: {trips}")
    # Recorded until the rotor stands, which is what a controlled stop waits for.
    seen = json.loads(laboratory.bench.run("view", "low/run/recording.h5", "--channel", "rotor_speed_rad_s", "--bins",
                                           "1000", "--json"))
    speeds = [each["mean"] for each in seen["bins"] if each["mean"] is not None]
    need(max(speeds) > 5.0 and abs(speeds[-1]) < 1.5, f"from {max(speeds)} rad/s down to {speeds[-1]}")

    # It stays latched, and is reset with the cause gone by somebody with a name.
    laboratory.ended(laboratory.conduct("low", "--resume", "--reason", "again"), [3], "does not let the bench be driven")
    laboratory.bench.run("guard", "low/bench.toml", "--reset", "looked at", "--by", "the test")
    need(laboratory.lines("low/guard.jsonl")[-2]["text"] == "looked at (by the test)"
         or laboratory.lines("low/guard.jsonl")[-1]["text"] == "looked at (by the test)", "who and why")
    guard.terminate()
    laboratory.ended(guard, [0])


def check_resumed_simulation(laboratory):
    """A simulated bench is brought back as it ran, and the guard has to see it before it consents."""
    laboratory.write("simulated", (laboratory.bench.folder / "bench.toml").read_text() + "\n[guard]\nrequired = true\nsilence_s = 1.0\n")
    guard = laboratory.guard("simulated")
    points = lambda: laboratory.events("simulated/run/logbook.jsonl").count("point")
    for wanted, words in ((1, ("--reason", "nobody proves interlocks here")), (2, ("--resume", "--reason", "goes on"))):
        run = laboratory.conduct("simulated", "--real-time", *words)
        laboratory.wait_until(lambda: run.poll() is not None or points() >= wanted, f"test point {wanted}")
        if run.poll() is not None:
            laboratory.ended(run, [1])
        run.send_signal(signal.SIGINT)
        laboratory.ended(run, [1], "go on with --resume")
    guard.terminate()
    laboratory.ended(guard, [0])
    need("trip" not in laboratory.events("simulated/guard.jsonl"), "nothing to trip on")


def main():
    laboratory = Laboratory(Bench(*sys.argv[1:4]))
    try:
        check_controlled_stop(laboratory)  # first: the rotor stands at its beginning
        check_killed_guard(laboratory)
        check_resumed_simulation(laboratory)
    finally:
        laboratory.end()
    for line in laboratory.lines("sound/run/logbook.jsonl") + laboratory.lines("low/guard.jsonl"):
        print(line["event"], line.get("text", ""))


main()
