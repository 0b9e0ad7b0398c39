#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Two processes and a bench, and hostile beginnings: who starts first, twice, anew, or not at all.

guard_process.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER

The bench is served on its own clock by `windwright serve-device --real-time`. Everything waits for conditions; how fast
it is, benchmarks/guard_latency.py measures. `silence_s` is long here, so that a busy machine does not decide.
"""

import json
import re
import signal
import socket
import struct
import subprocess
import sys
import time

from peer import Bench, need

PATIENCE_S = 60.0


class Registers:
    """Modbus TCP as the standard has it (MODBUS Application Protocol V1.1b3, 6.3 and 6.4), to look at the bench."""

    def __init__(self, port):
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)

    def read(self, function, address):
        self.socket.sendall(struct.pack(">HHHBBHH", 1, 0, 6, 255, function, address, 1))
        answer = b""
        while len(answer) < 11:
            answer += self.socket.recv(64)
        return struct.unpack(">H", answer[9:11])[0]


class Laboratory:
    def __init__(self, bench):
        self.bench = bench
        bench.run("calibrate", "bench.toml")
        self.processes = []
        self.recordings = 0
        self.known_trips = 0
        self.serve("true")

    def serve(self, required):
        """A bench that no guard has fed yet."""
        bench = self.bench
        self.server, told = bench.start("serve-device", "bench.toml", "--modbus-tcp", "0", "--real-time", "--json")
        self.processes.append(self.server)
        self.map = told["map"]
        self.registers = Registers(told["modbus_tcp_port"])
        text = bench.run("serve-device", "bench.toml", "--modbus-tcp", str(told["modbus_tcp_port"]), "--tables")
        text = re.sub(r"\nsample_rate_hz = .*", "", text)
        text = re.sub(r"\nblock_s = .*", "\nsample_rate_hz = 50\nblock_s = 0.02", text, count=1)
        self.text = text + f"\n[guard]\nrequired = {required}\nsilence_s = 1.0\n"
        self.write_bench(self.text)

    def write_bench(self, text):
        (self.bench.folder / "client.toml").write_text(text)

    def start(self, *words):
        process = subprocess.Popen([self.bench.program, *words], cwd=self.bench.folder, text=True,
                                   stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        self.processes.append(process)
        return process

    def guard(self):
        process = self.start("guard", "client.toml")
        line = process.stdout.readline()
        need(line.startswith("guarding"), f"a guard: {line}")
        return process

    def acquisition(self, seconds="600"):
        self.recordings += 1
        return self.start("record", "client.toml", "--reason", "a test", "--seconds", seconds, "--set", "load_selector=rheostat", "--set",
                          "fan_pct=30", "--into", f"recording-{self.recordings}.h5", "--catalogue", "none")

    def wait_until(self, condition, what):
        until = time.monotonic() + PATIENCE_S
        while not condition():
            need(time.monotonic() < until, f"{what}: {self.log()[-3:]}")
            time.sleep(0.01)

    def fan(self):
        return self.registers.read(3, self.map["holding_registers"]["fan_pct"]["address"])

    def tripped(self):
        return self.registers.read(4, self.map["tripped_address"])

    def fed_by_guard(self):
        return self.registers.read(3, self.map["guard_heartbeat_address"])

    def log(self):
        file = self.bench.folder / "guard.jsonl"
        return [json.loads(line) for line in file.read_text().splitlines()] if file.exists() else []

    def trips(self):
        return [line["text"] for line in self.log() if line["event"] == "trip"]

    def next_trip(self):
        """Its cause, of a trip since the bench was driven. What is told with it may stand behind it."""
        self.wait_until(lambda: len(self.trips()) > self.known_trips, "a trip in the logbook")
        return self.trips()[-1]

    def driven(self):
        self.known_trips = len(self.trips())
        for _ in range(2):  # the first may have been on its way already, of a guard that has only begun
            fed = self.fed_by_guard()
            self.wait_until(lambda: self.fan() > 0 and self.fed_by_guard() != fed, "driven, and fed by both")

    def ended(self, process, code, words=""):
        out, err = process.communicate(timeout=PATIENCE_S)
        need(process.returncode == code, f"exit {process.returncode}, not {code}: {out} {err}")
        need(words in err, f"'{words}' in: {err}")

    def refused(self, words):
        self.ended(self.acquisition(), 3, words)
        need(self.fan() == 0, "nothing was driven")

    def reset(self, code=0):
        self.bench.run("guard", "client.toml", "--reset", "the test has looked", exit_code=code)

    def end(self):
        for process in self.processes:
            process.kill()
            process.wait()


def check(laboratory):
    # Nobody drives without a guard that is required, and not under one that trusts other files.
    laboratory.refused("is not running, and this bench is not driven without it")
    guard = laboratory.guard()
    laboratory.write_bench(laboratory.text + "# changed\n")
    laboratory.refused("works by another bench.toml")
    second = laboratory.start("guard", "client.toml")
    laboratory.ended(second, 2, "is guarded by another process already")
    laboratory.write_bench(laboratory.text)

    # In order: both content, both feed, and both end.
    acquisition = laboratory.acquisition()
    laboratory.driven()
    laboratory.ended(laboratory.start("record", "client.toml", "--reason", "a test", "--seconds", "1", "--into", "second.h5"), 3,
                     "watches another process that drives this bench")
    laboratory.ended(laboratory.start("ready", "client.toml", "--prove-interlocks", "--by", "the test"), 3, "is commanded by")
    need(laboratory.fan() > 0, "nobody else's proof stops it")
    acquisition.terminate()
    laboratory.ended(acquisition, 1)
    need(laboratory.fan() == 0, "safe at the end")

    # Killed: the guard stops the bench, and lets nobody drive it until somebody resets.
    acquisition = laboratory.acquisition()
    laboratory.driven()
    acquisition.kill()
    laboratory.wait_until(lambda: laboratory.fan() == 0, "stopped by the guard")
    trip = laboratory.next_trip()
    need(trip == "the acquisition process died", f"the cause: {trip}")
    need(laboratory.tripped() == 0, "before the device's watchdog")
    laboratory.refused("does not let the bench be driven")

    # The trip outlives the guard.
    guard.kill()
    guard.wait()
    guard = laboratory.guard()
    laboratory.refused("does not let the bench be driven")
    laboratory.reset()
    laboratory.reset(code=1)  # nothing has tripped any more

    # Frozen: the same; awake again, it finds that it may not go on.
    acquisition = laboratory.acquisition()
    laboratory.driven()
    acquisition.send_signal(signal.SIGSTOP)
    laboratory.wait_until(lambda: laboratory.fan() == 0, "stopped by the guard")
    trip = laboratory.next_trip()
    need("has been silent for" in trip, f"the cause: {trip}")
    laboratory.reset(code=1)  # while it is still there
    acquisition.send_signal(signal.SIGCONT)
    laboratory.ended(acquisition, 4, "the guard process: the acquisition process has been silent")
    laboratory.reset()

    # The guard killed, then frozen: the acquisition stops the bench.
    acquisition = laboratory.acquisition()
    laboratory.driven()
    guard.kill()
    guard.wait()
    laboratory.ended(acquisition, 4, "the guard process has ended")
    need(laboratory.fan() == 0, "safe")
    guard = laboratory.guard()
    laboratory.refused("the guard process has ended")  # kept by the acquisition, for want of a guard
    laboratory.reset()
    acquisition = laboratory.acquisition()
    laboratory.driven()
    guard.send_signal(signal.SIGSTOP)
    laboratory.ended(acquisition, 4, "the guard process has been silent")
    need(laboratory.fan() == 0, "safe")
    guard.send_signal(signal.SIGCONT)
    trip = laboratory.next_trip()
    laboratory.reset()

    # Both frozen: the device's watchdog.
    acquisition = laboratory.acquisition()
    laboratory.driven()
    for process in (acquisition, guard):
        process.send_signal(signal.SIGSTOP)
    laboratory.wait_until(lambda: laboratory.tripped() == 1, "the watchdog")
    need(laboratory.fan() == 0, "safe")

    # The guard last, where it is not required, and ended: then the bench stops.
    for process in (acquisition, guard, laboratory.server):
        process.kill()
        process.wait()
    laboratory.serve("false")
    acquisition = laboratory.acquisition()
    laboratory.wait_until(lambda: laboratory.fan() > 0, "driven without a guard")
    guard = laboratory.guard()
    laboratory.driven()
    guard.terminate()
    laboratory.ended(acquisition, 4, "the guard process")
    need(laboratory.fan() == 0, "safe")
    laboratory.wait_until(lambda: guard.poll() is not None, "the guard's end")

    # Without a guard, while another program has the bench: nobody could look, so nothing is reset.
    with (laboratory.bench.folder / "guard.jsonl").open("a") as log:
        log.write('{"time": "2030-01-01T00:00:00Z", "event": "trip", "text": "overspeed"}\n')
    watching = laboratory.start("record", "client.toml", "--seconds", "600", "--into", "watching.h5", "--catalogue", "none")
    laboratory.wait_until((laboratory.bench.folder / "watching.h5").exists, "another program that has the bench")
    laboratory.reset(code=1)
    need(laboratory.log()[-1]["event"] == "trip", "not reset")
    watching.terminate()
    laboratory.ended(watching, 1)
    laboratory.reset()
    need(laboratory.log()[-1]["event"] == "reset", "reset")


def main():
    laboratory = Laboratory(Bench(*sys.argv[1:4]))
    try:
        check(laboratory)
    finally:
        laboratory.end()
    for line in laboratory.log():
        print(line["event"], line["text"])


if __name__ == "__main__":
    main()
