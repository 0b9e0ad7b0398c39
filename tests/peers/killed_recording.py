#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Kills recordings at random moments; each file has to open here and in h5py, with all but its last second, and the
catalogue of the bench's folder has to agree with the files.

killed_recording.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER [KILLS]     needs python3-h5py

Every second recording is compressed. The bench has a channel that counts its samples: every one that is there has to
have its own number.

The bench is recorded at the pace of a real one, so that the clock tells how much there was to record when the kill
came. A machine that lets this script wait, too, made the recorder wait: that much more may be missing.
"""

import json
import os
import random
import re
import signal
import subprocess
import sys
import time
import tomllib

from peer import Bench, need, skip

try:
    import h5py
except ImportError:
    skip("python3-h5py is not installed")

AT_ONCE = 5
LONGEST_S = 3.0
LAST_S = 1.0


class Victim:
    def __init__(self, bench, name, lives_s, compression):
        self.file = bench.folder / f"{name}.h5"
        self.file.unlink(missing_ok=True)
        self.dies_at = time.monotonic() + lives_s
        self.seen_at = None
        self.lag_s = 0.0
        self.process = subprocess.Popen(
            [bench.program, "record", "bench.toml", "--seconds", "60", "--real-time",
             "--compression", compression, "--into", self.file.name], cwd=bench.folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)

    def look(self, late_s):
        """True once it is dead."""
        self.lag_s = max(self.lag_s, late_s)
        if self.seen_at is None and self.file.exists():
            self.seen_at = time.monotonic()
        if time.monotonic() < self.dies_at:
            return False
        self.process.send_signal(signal.SIGKILL)
        self.died_at = time.monotonic()
        need(self.process.wait() == -signal.SIGKILL, f"a recording that runs: {self.process.stderr.read()}")
        self.process.stderr.close()
        return True


def judge(bench, victim, rate):
    """Seconds missing at the end; None where it died before there was a recording."""
    if not victim.file.exists():
        return None
    lengths = {}
    with h5py.File(victim.file, "r", swmr=True) as file:
        for group in file["streams"].values():
            for name, data in group.items():
                lengths[name] = len(data)
                if len(data):
                    need(len(data[...]) == len(data), f"{name} read whole by h5py")
            counter = group["sample_counter"][...].astype(int)
            wrong = sum((n - counter[0] - i) % 65536 != 0 for i, n in enumerate(counter))
            need(wrong == 0, f"{wrong} of {len(counter)} samples with another number than their place in {victim.file.name}")
    samples = min(lengths.values())
    channel = next(iter(lengths))
    if samples:
        view = json.loads(bench.run("view", victim.file.name, "--channel", channel, "--bins", "1", "--json"))
        need(view["window"]["count"] == samples, f"{samples} samples here too, not {view['window']}")
    else:
        bench.run("view", victim.file.name, "--channel", channel, exit_code=2)
    if victim.seen_at is None:
        return None
    missing = (victim.died_at - victim.seen_at) - samples / rate
    need(missing <= LAST_S + victim.lag_s, f"{missing:.2f} s are missing, {victim.lag_s:.2f} s of it the machine's")
    return missing


def check_catalogue(bench, names):
    """What was killed is not entered, or as it is; it can be entered."""
    for wanted in ([], names):
        for name in wanted:
            bench.run("catalogue", "add", name)
        told = json.loads(bench.run("catalogue", "check", "--json"))
        need(told["disagreements"] == [], f"agreement: {told}")
    need(not any(path.endswith(name) for path in told["not_entered"] for name in names), f"entered by hand: {told}")


def kill_while_it_enters(bench, moments, kills):
    """Recordings so short that the kill meets the catalogue too. Gives how many had come to be entered."""
    for i in range(kills):
        process = subprocess.Popen([bench.program, "record", "bench.toml", "--reason", "a test", "--seconds", "0.2", "--into", f"short-{i}.h5"],
                                   cwd=bench.folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(moments.uniform(0.0, 0.4))
        process.kill()
        process.wait()
    told = json.loads(bench.run("catalogue", "check", "--json"))
    need(told["disagreements"] == [], f"agreement after kills while it was written: {told}")
    return told["looked_at"]


def main():
    bench = Bench(*sys.argv[1:4])
    kills = int(sys.argv[4]) if len(sys.argv) > 4 else 10
    text = (bench.folder / "bench.toml").read_text()
    last = text[text.rindex("[[channel]]"):text.index("[[derived]]")]
    counter = re.sub('name = ".*"', 'name = "sample_counter"', last, count=1)
    (bench.folder / "bench.toml").write_text(text.replace("[[derived]]", counter + "[[derived]]", 1))
    rate = tomllib.loads((bench.folder / "bench.toml").read_text())["bench"]["sample_rate_hz"]
    moments = random.Random(20260302)
    bench.run("record", "bench.toml", "--reason", "a test", "--seconds", "1", "--into", "whole.h5", "--catalogue", "catalogue.sqlite")
    entered = kill_while_it_enters(bench, moments, kills)
    missing, none, done = [], 0, 0
    while done < kills:
        lot = min(AT_ONCE, kills - done)
        living = [Victim(bench, f"killed-{done + i}", moments.uniform(0.0, LONGEST_S),
                         ("none", "deflate")[(done + i) % 2]) for i in range(lot)]
        dead = []
        while living:
            before = time.monotonic()
            time.sleep(0.005)
            late = time.monotonic() - before - 0.005
            for victim in list(living):
                if victim.look(late):
                    living.remove(victim)
                    dead.append(victim)
        for victim in dead:
            lost = judge(bench, victim, rate)
            if lost is None:
                none += 1
            else:
                missing.append(lost)
        check_catalogue(bench, [v.file.name for v in dead if v.file.exists()])
        for victim in dead:
            for left in bench.folder.glob(victim.file.name + "*"):
                os.unlink(left)
        (bench.folder / "catalogue.sqlite").unlink()
        bench.run("catalogue", "add", "whole.h5", "--catalogue", "catalogue.sqlite")
        done += lot
    need(missing, "a recording that had begun")
    print(f"{kills} kills: {none} before there was a recording, else at most {max(missing):.3f} s missing; "
          f"of {kills} short ones {entered - 1} were entered; the catalogue agrees")


main()
