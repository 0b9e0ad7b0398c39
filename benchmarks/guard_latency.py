#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How long it takes from a sample that violates an interlock to the commanded safe state, in real time.

The simulated bench runs in a process of its own (guard_latency_bench, Modbus TCP, a sample every 5 ms), `windwright
record` drives it, `windwright guard` guards it. At a random moment the rotor-speed channel jumps to the end of its
converter. Both moments are read by the bench's process from one clock, CLOCK_MONOTONIC: when it took the first sample
that violates, and when the command "fan off" came. Three ways:
  acquisition  the acquisition process alone judges; no guard process           p99 below 20 ms
  stopped      the acquisition gets SIGSTOP just before that sample is taken    p99 below 100 ms
  killed       the same with SIGKILL                                            p99 below 100 ms
Nothing else may have stopped the bench: its watchdog is an hour, and the cause in the guard's logbook or the recording's
end has to fit the way. A trip before the violation (a machine so busy that somebody was silent for too long) is counted
apart and done again. Exit code 1 where a limit is not held or a bench was not stopped.

Use: benchmarks/guard_latency.py [--trips N] [--ways WAY,WAY] [--limits-ms ACQUISITION,GUARD]
                                 [--silence-s S] [--build FOLDER] [--folder FOLDER]
"""

import argparse
import json
import os
import pathlib
import queue
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time

ROOT = pathlib.Path(__file__).resolve().parent.parent
PATIENCE_S = 20.0
FAN_PCT = "30"
EARLY = "early"
MOST_EARLY = 0.02  # of the trips, on any machine


def need(condition, what):
    if not condition:
        sys.exit(f"failed: {what}")


class Bench:
    """The bench's process; what it tells, in order."""

    def __init__(self, program, toml):
        self.process = subprocess.Popen([program, toml], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.port = int(self.process.stdout.readline())
        self.told = queue.Queue()
        threading.Thread(target=self.follow, daemon=True).start()

    def follow(self):
        for line in self.process.stdout:
            *what, ns = line.split()
            self.told.put((" ".join(what), int(ns)))

    def order(self, *words):
        self.process.stdin.write(" ".join(map(str, words)) + "\n")
        self.process.stdin.flush()

    def wait_for(self, *wanted):
        """The next of these that it tells, and when; None: not within the patience. Others are passed over."""
        until = time.monotonic() + PATIENCE_S
        while (left := until - time.monotonic()) > 0:
            try:
                what, ns = self.told.get(timeout=left)
            except queue.Empty:
                break
            need(what != "watchdog", "the watchdog does not stop the bench in an hour's measurement")
            if what in wanted:
                return what, ns
        return None

    def end(self):
        self.process.stdin.close()
        self.process.wait(PATIENCE_S)


class Laboratory:
    def __init__(self, build, folder, silence_s):
        self.windwright = build / "bin/windwright"
        self.folder = folder / "bench"
        shutil.copytree(ROOT / "examples/saltmarsh-college", self.folder)
        self.run("calibrate", "bench.toml")
        self.bench = Bench(build / "benchmarks/guard_latency_bench", self.folder / "bench.toml")
        text = self.run("serve-device", "bench.toml", "--modbus-tcp", str(self.bench.port), "--tables")
        text = re.sub(r"\nsample_rate_hz = .*", "", text)
        text = re.sub(r"\nblock_s = .*", "\nsample_rate_hz = 200\nblock_s = 0.005", text, count=1)
        (self.folder / "client.toml").write_text(text + f"\n[guard]\nsilence_s = {silence_s}\n")
        self.guard = None

    def run(self, *words):
        ended = subprocess.run([self.windwright, *words], cwd=self.folder, text=True, stdin=subprocess.DEVNULL,
                               capture_output=True, timeout=120)
        need(ended.returncode == 0, f"{words}: exit {ended.returncode}: {ended.stderr}")
        return ended.stdout

    def start_guard(self):
        self.guard = subprocess.Popen([self.windwright, "guard", "client.toml", "--json"], cwd=self.folder, text=True,
                                      stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        need("{" in self.guard.stdout.readline(), "the guard begins")

    def end_guard(self):
        self.guard.terminate()
        self.guard.wait(PATIENCE_S)
        self.guard = None

    def trip(self, way, delay_s):
        """One trip. Gives the latency in ms; None where the bench was not stopped, EARLY where it was before the violation."""
        recording = self.folder / "trip.h5"
        recording.unlink(missing_ok=True)
        acquisition = subprocess.Popen(
            [self.windwright, "record", "client.toml", "--reason", "a test", "--seconds", "60", "--set", "load_selector=rheostat", "--set",
             f"fan_pct={FAN_PCT}", "--into", recording, "--catalogue", "none"],
            cwd=self.folder, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        told = ""
        try:
            need(self.bench.wait_for(f"fan {FAN_PCT}"), f"{way}: the acquisition drives the bench")
            time.sleep(delay_s)
            need(acquisition.poll() is None, f"{way}: the acquisition still runs: {self.last_words()}")
            signals = {"stopped": signal.SIGSTOP, "killed": signal.SIGKILL}
            self.bench.order("violate", *([acquisition.pid, int(signals[way])] if way in signals else []))
            first = self.bench.wait_for("violated", "fan 0")
            early = first and first[0] == "fan 0"
            safe = None if early else self.bench.wait_for("fan 0")
            if way == "acquisition" and not early:
                _, told = acquisition.communicate(timeout=PATIENCE_S)
                need(acquisition.returncode == 4, "exit code of a trip")
        finally:
            acquisition.kill()
            acquisition.wait()
            self.bench.order("clear")
        need(self.bench.wait_for("cleared"), "the bench goes on")
        if not early:
            self.need_cause(way, told)
        if early:  # by either side: only the guard's own trip is there to be reset
            subprocess.run([self.windwright, "guard", "client.toml", "--reset", "measured"], cwd=self.folder,
                           stdin=subprocess.DEVNULL, capture_output=True, timeout=120)
            return EARLY
        self.run("guard", "client.toml", "--reset", "measured")
        return None if safe is None else (safe[1] - first[1]) / 1e6

    def need_cause(self, way, told):
        """The overspeed that was made, or for the guard that the acquisition was silent or has ended."""
        if way == "acquisition":
            cause, wanted = told, r"rotor_speed_rad_s"
        else:
            trips = [json.loads(line) for line in (self.folder / "guard.jsonl").read_text().splitlines()]
            cause = [line["text"] for line in trips if line["event"] == "trip"][-1]
            wanted = r"rotor_speed_rad_s|silent|died|ended"
        need(re.search(wanted, cause), f"{way}: stopped by something else: {cause}")

    def last_words(self):
        log = self.folder / "guard.jsonl"
        return log.read_text().splitlines()[-1] if log.exists() else ""

    def end(self):
        if self.guard:
            self.end_guard()
        self.bench.end()


def quantile(values, share):
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--trips", type=int, default=1000)
    options.add_argument("--ways", default="acquisition,stopped,killed")
    options.add_argument("--limits-ms", default="20,100")
    options.add_argument("--silence-s", type=float, default=0.05, help="of the guard's table; longer where a "
                         "busy machine is not to decide")
    options.add_argument("--build", type=pathlib.Path, default=ROOT / "build/release")
    options.add_argument("--folder", type=pathlib.Path, help="scratch folder; else a temporary one")
    given = options.parse_args()
    limits = [float(limit) for limit in given.limits_ms.split(",")]
    folder = given.folder or pathlib.Path(tempfile.mkdtemp(prefix="guard_latency."))
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    moments = random.Random(20260302)
    held = True
    laboratory = Laboratory(given.build.resolve(), folder, given.silence_s)
    try:
        for way in given.ways.split(","):
            if way != "acquisition":
                laboratory.start_guard()
            before = os.getloadavg()
            latencies, early = [], 0
            while len(latencies) < given.trips:
                latency = laboratory.trip(way, moments.uniform(0.05, 0.1))
                early += latency == EARLY
                if latency != EARLY:
                    latencies.append(latency)
                need(early <= 5 + MOST_EARLY * given.trips, f"{way}: {early} trips before anything was violated")
            if way != "acquisition":
                laboratory.end_guard()
            stopped = [latency for latency in latencies if latency is not None]
            need(stopped, f"{way}: a bench that was stopped")
            limit = limits[0] if way == "acquisition" else limits[1]
            p50, p99, most = quantile(stopped, 0.5), quantile(stopped, 0.99), max(stopped)
            held = held and p99 < limit and len(stopped) == len(latencies)
            print(f"{way:<12} {len(stopped)} of {len(latencies)} trips: p50 {p50:.1f} ms, p99 {p99:.1f} ms "
                  f"(below {limit:g}), max {most:.1f} ms; {early} tripped before; load {before[0]:.1f} to {os.getloadavg()[0]:.1f} on "
                  f"{os.cpu_count()} cores", flush=True)
    finally:
        laboratory.end()
        if not given.folder:
            shutil.rmtree(folder)
    print("held" if held else "NOT held")
    return 0 if held else 1


sys.exit(main())
