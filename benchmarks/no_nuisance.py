#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Campaigns without a fault, on benches whose sensors are three times as noisy: does any interlock trip?

The demo's campaign, one bench of other sensor errors after the other, until 24 hours of the benches' time or the
hours given are over; every interlock of the demo judges blocks of 0.02 s. Exit code 1 where one has tripped.
Use: benchmarks/no_nuisance.py [HOURS] [FOLDER] [AT_ONCE]     needs python3-h5py, and 200 MB in FOLDER
"""

import concurrent.futures
import json
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

import h5py

ROOT = pathlib.Path(__file__).resolve().parent.parent
PROGRAM = ROOT / "build/release/bin/windwright"
NOISE = 3.0
BLOCK_S = 0.02


def run(folder, *words):
    return subprocess.run([PROGRAM, *words], cwd=folder, capture_output=True, text=True, stdin=subprocess.DEVNULL)


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
    if ended.returncode not in (0, 4):
        sys.exit(f"conduct ended with {ended.returncode}: {ended.stderr}")
    logbook = [json.loads(line) for line in (folder / "run/logbook.jsonl").read_text().splitlines()]
    trips = [entry["text"] for entry in logbook if entry.get("event") == "trip"]
    with h5py.File(folder / "run/recording.h5", "r") as recording:
        device = next(iter(recording["streams"].values()))
        seconds = max(data.shape[0] for data in device.values()) / float(device.attrs["sample_rate_hz"])
    shutil.rmtree(folder)
    return seconds, trips


def main():
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
