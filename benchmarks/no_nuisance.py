#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Benches without a fault: does anything trip?

Two questions, two ways.
  HOURS              the interlocks of the acquisition: the demo's campaign as fast as the program can, on one bench of
                     other sensor errors after the other, three times as noisy, until HOURS (24) of the benches' time
                     are over; every interlock of the demo judges blocks of 0.02 s. No guard process runs, so nothing
                     here says whether one trips over a silence that was none.
  --served MINUTES   that: a served bench on its own clock, with a guard process beside it (SILENCE_S 0.05 if left
                     out). It stands and is recorded, is driven and recorded, and measures a campaign,
                     in turn, for MINUTES of real time. What a busy computer does to it is part of the answer.
Exit code 1 where anything has tripped.
Use: benchmarks/no_nuisance.py [HOURS] [FOLDER] [AT_ONCE]     needs python3-h5py, and 200 MB in FOLDER
     benchmarks/no_nuisance.py --served MINUTES [FOLDER] [SILENCE_S]
"""

import concurrent.futures
import itertools
import json
import os
import pathlib
import pty
import re
import shutil
import subprocess
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parent.parent
PROGRAM = ROOT / "build/release/bin/windwright"
NOISE = 3.0
BLOCK_S = 0.02

# Nobody turns blades in it; a point takes some ten seconds.
SERVED_CAMPAIGN = """schema = 1
title = "Which fan speed?"
bench = "bench.toml"
operator = "Bench crew, Saltmarsh College"
seed = 7
repeats = 1

[question]
text = "At which fan speed does the rotor turn the largest part of the wind into electricity?"
response = "maximum_cp"
factors = ["fan_pct"]
level_pct = 95

[[factor]]
actuator = "fan_pct"
levels = [60, 75]
hard_to_change = true

[[factor]]
actuator = "rheostat_ohm"
levels = [10, 19, 40]

[constants]
load_selector = "rheostat"
blade_count = 3
pitch_deg = 5

[run_up]
rheostat_ohm = 60

[pace]
settle_window_s = 1
settle_drift_pct = 10
longest_settle_s = 5
shortest_dwell_s = 5
longest_dwell_s = 8
target_u_pct = 5
"""


def run(folder, *words, stdin=subprocess.DEVNULL):
    return subprocess.run([PROGRAM, *words], cwd=folder, capture_output=True, text=True, stdin=stdin)


def run_with_a_person(folder, *words):
    """Who says "done" to every change by hand, at a terminal."""
    person, terminal = pty.openpty()
    os.write(person, b"\n" * 20)
    try:
        return run(folder, *words, stdin=terminal)
    finally:
        os.close(person)
        os.close(terminal)


def campaign(folder, seed):
    """Bench time in seconds, and what tripped in it."""
    shutil.copytree(ROOT / "examples/saltmarsh-college", folder)
    bench = (folder / "bench.toml").read_text()
    bench = re.sub(r"^noise_V = (\S+)", lambda m: f"noise_V = {NOISE * float(m[1]):g}", bench, flags=re.M)
    bench = re.sub(r"^seed = .*", f"seed = {seed}", bench, flags=re.M)
    bench = re.sub(r"^block_s = .*", f"block_s = {BLOCK_S}", bench, flags=re.M)
    (folder / "bench.toml").write_text(bench)
    wanted = (folder / "campaign.toml").read_text()
    (folder / "campaign.toml").write_text(re.sub(r"^seed = .*", f"seed = {seed}", wanted, flags=re.M))
    for words in (("calibrate", "bench.toml"), ("ready", "bench.toml", "--prove-interlocks")):
        ended = run(folder, *words)
        if ended.returncode > 1:
            sys.exit(f"{words}: {ended.stderr}")
    ended = run(folder, "conduct", "campaign.toml", "--into", "run", "--reason", "a noisy bench", "--json")
    # 1 of a complete run: the noise leaves the question open.
    if ended.returncode not in (0, 4) and not (ended.returncode == 1 and "ending" not in json.loads(ended.stdout)):
        sys.exit(f"conduct ended with {ended.returncode}: {ended.stderr}")
    logbook = [json.loads(line) for line in (folder / "run/logbook.jsonl").read_text().splitlines()]
    trips = [entry["text"] for entry in logbook if entry.get("event") == "trip"]
    import h5py  # the served bench does without
    with h5py.File(folder / "run/recording.h5", "r") as recording:
        device = next(iter(recording["streams"].values()))
        seconds = max(data.shape[0] for data in device.values()) / float(device.attrs["sample_rate_hz"])
    shutil.rmtree(folder)
    return seconds, trips


def trips_in(file):
    lines = [json.loads(line) for line in file.read_text().splitlines()] if file.exists() else []
    return [line["text"] for line in lines if line.get("event") == "trip"]


def served(minutes, scratch, silence_s):
    folder = scratch / "served"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(ROOT / "examples/saltmarsh-college", folder)
    run(folder, "calibrate", "bench.toml")
    start = {"cwd": folder, "text": True, "stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE}
    server = subprocess.Popen([PROGRAM, "serve-device", "bench.toml", "--modbus-tcp", "0", "--real-time", "--json"], **start)
    text = ""
    while not text.rstrip().endswith("\n}"):
        text += server.stdout.readline()
    port = str(json.loads(text)["modbus_tcp_port"])
    client = run(folder, "serve-device", "bench.toml", "--modbus-tcp", port, "--tables").stdout
    client = re.sub(r"\nsample_rate_hz = .*", "", client)
    client = re.sub(r"\nblock_s = .*", "\nsample_rate_hz = 50\nblock_s = 0.02", client, count=1)
    client = re.sub(r"\n\[channel.check_standard\]\n.*\n.*", "", client)  # nobody lays known inputs on these
    (folder / "bench.toml").write_text(client + f"\n[guard]\nrequired = true\nsilence_s = {silence_s}\n")
    (folder / "campaign.toml").write_text(SERVED_CAMPAIGN)
    guard = subprocess.Popen([PROGRAM, "guard", "bench.toml"], **start)
    guard.stdout.readline()
    drive = ("--set", "load_selector=rheostat", "--set", "rheostat_ohm=30", "--set", "fan_pct=60", "--reason", "no nuisance")
    begun, counts, trips, codes = time.monotonic(), [0, 0, 0], [], (0, 1, 4)
    try:
        for turn in itertools.count():
            gone_s = time.monotonic() - begun
            if gone_s >= 60.0 * minutes:
                break
            into = folder / f"turn-{turn}"
            seconds = str(min(30.0, 60.0 * minutes - gone_s))
            words = (("record", "bench.toml", "--seconds", seconds, "--into", f"{into}.h5", "--catalogue", "none"),
                     ("record", "bench.toml", "--seconds", seconds, "--into", f"{into}.h5", "--catalogue", "none", *drive),
                     ("conduct", "campaign.toml", "--into", into, "--catalogue", "none", "--reason", "no nuisance"))[turn % 3]
            ended = run_with_a_person(folder, *words)
            if ended.returncode not in codes:
                sys.exit(f"{words}: {ended.returncode}: {ended.stderr}")
            counts[turn % 3] += 1
            tripped = trips_in(folder / "guard.jsonl") + trips_in(into / "logbook.jsonl")
            tripped += [ended.stderr.strip()] if ended.returncode == 4 else []
            if tripped:
                trips = tripped
                break  # it latches
    finally:
        for process in (guard, server):
            process.terminate()
            process.wait()
    print(f"{(time.monotonic() - begun) / 60:.1f} minutes, {counts[0]} recordings at rest, {counts[1]} driven, "
          f"{counts[2]} campaigns under a guard process: {'a trip' if trips else 'no trip'}; load of the computer "
          f"{os.getloadavg()[1]:.1f} on {os.cpu_count()} processors", *trips, sep="\n")
    sys.exit(1 if trips else 0)


def main():
    if sys.argv[1:2] == ["--served"]:
        scratch = pathlib.Path(sys.argv[3] if len(sys.argv) > 3 else tempfile.mkdtemp())
        return served(float(sys.argv[2]), scratch, float(sys.argv[4] if len(sys.argv) > 4 else 0.05))
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    scratch = pathlib.Path(sys.argv[2] if len(sys.argv) > 2 else tempfile.mkdtemp())
    at_once = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    gone_s, campaigns, trips, seed = 0.0, 0, [], 100
    with concurrent.futures.ThreadPoolExecutor(at_once) as pool:
        running = set()
        while gone_s < 3600.0 * hours:
            while len(running) < at_once:
                seed += 1
                running.add(pool.submit(campaign, scratch / f"bench-{seed}", seed))
            done, running = concurrent.futures.wait(running, return_when=concurrent.futures.FIRST_COMPLETED)
            for one in done:
                seconds, tripped = one.result()
                gone_s, campaigns, trips = gone_s + seconds, campaigns + 1, trips + tripped
                print(f"{campaigns} campaigns, {gone_s / 3600:.1f} h, {len(trips)} trips", *tripped, flush=True)
    print(f"{gone_s / 3600:.1f} hours of {campaigns} campaigns: {len(trips)} trips (none)")
    sys.exit(1 if trips else 0)


main()
