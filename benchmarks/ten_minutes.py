#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""16 channels at 250 000 samples a second each from the simulated bench into a recording, in real time.

For ten minutes or the minutes given. One channel is the converter's own count of its samples, and every one of these
is looked at in the file. Every channel has its certificate and a terminal shows the values, so that calibration, derived
channels, AC power, statistics and interlocks run as well. Limits: no gap, every sample there with its number, the whole
program, the simulation included, below half a core, memory growing by less than 1 MB after the first minute. Exit code 1
below one.
Use: benchmarks/ten_minutes.py [MINUTES] [FOLDER] [none|deflate]     needs 5.2 GB in FOLDER, and python3-h5py
"""

import json
import os
import pathlib
import pty
import shutil
import subprocess
import sys
import tempfile
import threading
import time

import h5py
import numpy as np

from sixteen_channels import sixteen_channels

ROOT = pathlib.Path(__file__).resolve().parent.parent
RATE = 250_000
TICKS = os.sysconf("SC_CLK_TCK")


def thread_seconds(pid):
    seconds = {}
    for task in pathlib.Path(f"/proc/{pid}/task").iterdir():
        text = (task / "stat").read_text()
        name = text[text.index("(") + 1:text.rindex(")")]
        fields = text[text.rindex(")") + 2:].split()
        seconds[name] = seconds.get(name, 0.0) + (int(fields[11]) + int(fields[12])) / TICKS
    return seconds


def swallow(screen):
    try:
        while os.read(screen, 65536):
            pass
    except OSError:
        pass  # the other side is closed


def resident_bytes(pid):
    """Of the process alone: pages of the file in the cache do not count."""
    for line in pathlib.Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("RssAnon:"):
            return int(line.split()[1]) * 1024
    return 0


def main():
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    folder = pathlib.Path(tempfile.mkdtemp(prefix="ten_minutes.", dir=sys.argv[2] if len(sys.argv) > 2 else None))
    compression = sys.argv[3] if len(sys.argv) > 3 else "none"
    held = True
    try:
        shutil.copytree(ROOT / "examples/saltmarsh-college", folder / "bench")
        bench = folder / "bench/bench.toml"
        bench.write_text(sixteen_channels(bench.read_text(), RATE))
        program = ROOT / "build/release/bin/windwright"
        subprocess.run([program, "calibrate", bench], check=True, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL)
        command = [program, "record", bench, "--seconds", str(60 * minutes), "--real-time",
                   "--reason", "a test", "--set", "load_selector=rheostat", "--set", "rheostat_ohm=20", "--set", "fan_pct=60",
                   "--compression", compression, "--into", folder / "all.h5", "--json"]
        start = time.monotonic()
        screen, side = pty.openpty()  # the line of live values is worked out for a terminal only
        threading.Thread(target=swallow, args=(screen,), daemon=True).start()
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=side, text=True) as recorder:
            seconds, memory = {}, []
            while recorder.poll() is None:
                time.sleep(1.0)
                try:
                    for name, spent in thread_seconds(recorder.pid).items():
                        seconds[name] = max(spent, seconds.get(name, 0.0))  # at the end threads go one by one
                    memory.append((time.monotonic() - start, resident_bytes(recorder.pid)))
                except (FileNotFoundError, ValueError):
                    break
            told = json.loads(recorder.stdout.read())
        took = memory[-1][0]
        after = [size for at, size in memory if at > min(60.0, took / 2) and size > 0]
        growth = (max(after) - after[0]) / 1e6
        share = sum(seconds.values()) / took
        print(f"{minutes:g} min took {took:.1f} s; CPU seconds by thread: "
              + ", ".join(f"{name} {spent:.1f}" for name, spent in seconds.items()))
        print(f"all of it: {100 * share:.1f} % of a core (below 50)")
        print(f"memory after the first minute: {after[0] / 1e6:.1f} MB, then {growth:+.2f} MB (below 1)")
        wanted = round(60 * minutes * RATE)
        print(f"{(folder / 'all.h5').stat().st_size / (16 * wanted):.2f} bytes a sample, compression {compression}")
        with h5py.File(folder / "all.h5", "r") as file:
            lengths = {name: data.shape[0] for group in file["streams"].values() for name, data in group.items()}
            gaps = sum(len(data) for data in file["gaps"].values())
            counter, miscounted = next(group["sample_counter"] for group in file["streams"].values()), 0
            numbers_seen = counter.shape[0]
            for first in range(0, numbers_seen, 1 << 22):
                counted = counter[first:first + (1 << 22)].astype(np.int64) - int(counter[0])
                miscounted += np.count_nonzero((counted - np.arange(first, first + len(counted))) % (1 << 16))
        print(f"{len(lengths)} channels of {min(lengths.values())} to {max(lengths.values())} samples "
              f"({wanted} wanted), {gaps} gaps; at most {told['most_blocks_waiting']} of 64 blocks waited")
        print(f"{numbers_seen} sample numbers looked at, {miscounted} wrong")
        held = (set(lengths.values()) == {wanted} and len(lengths) == 16 and gaps == 0 and miscounted == 0 and share < 0.5
                and growth < 1.0 and took < 60 * minutes * 1.02 + 5)
        print("held" if held else "NOT held")
    finally:
        shutil.rmtree(folder)
    return 0 if held else 1


sys.exit(main())
