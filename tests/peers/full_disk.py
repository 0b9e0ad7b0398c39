#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Records onto a file system of 8 MB until it is full: a clean end, and every sample before it.

full_disk.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER     needs python3-h5py, and root to mount a tmpfs
"""

import json
import os
import pathlib
import subprocess
import sys
import tempfile

from peer import Bench, need, skip

try:
    import h5py
except ImportError:
    skip("python3-h5py is not installed")


def fill(bench, disk, compression):
    """How many samples were kept."""
    ended = subprocess.run([bench.program, "record", "bench.toml", "--seconds", "60", "--compression", compression,
                            "--into", disk / "all.h5", "--json"],
                           cwd=bench.folder, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=120)
    need(ended.returncode == 3, f"exit code 3, not {ended.returncode}: {ended.stderr}")
    need(ended.stderr.count("\n") == 1 and "(No space left on device): make room" in ended.stderr, ended.stderr)
    told = json.loads(ended.stdout)
    need(told["samples"] >= 100_000 and told["exit"] == 3, f"what was kept: {told}")
    need(sorted(os.listdir(disk)) == ["all.h5"], "nothing else left")
    # It could be closed: no reader needs to know that its writer was stopped.
    with h5py.File(disk / "all.h5", "r") as file:
        for group in file["streams"].values():
            for name, data in group.items():
                need(len(data[...]) == told["samples"], f"{name}: {len(data)} of {told['samples']} samples")
    view = json.loads(bench.run("view", disk / "all.h5", "--channel", "dc_voltage_V", "--bins", "1", "--json"))
    need(view["window"]["count"] == told["samples"], "the same here")
    again = subprocess.run([bench.program, "record", "bench.toml", "--seconds", "1", "--into", disk / "more.h5"],
                           cwd=bench.folder, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=120)
    need(again.returncode == 3 and "more.h5: " in again.stderr, f"no room for another: {again.stderr}")
    for left in disk.iterdir():
        left.unlink()
    return told["samples"]


def main():
    bench = Bench(*sys.argv[1:4])
    text = (bench.folder / "bench.toml").read_text()
    (bench.folder / "bench.toml").write_text(text.replace("sample_rate_hz = 1000\n", "sample_rate_hz = 100000\n"))
    disk = pathlib.Path(tempfile.mkdtemp(prefix="windwright-disk."))
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", disk], capture_output=True).returncode != 0:
        disk.rmdir()
        skip("a small file system cannot be mounted here: that needs root")
    try:
        plain, compressed = (fill(bench, disk, compression) for compression in ("none", "deflate"))
        need(compressed > 1.2 * plain, f"more of compressed samples: {compressed} than {plain}")
        print(f"{plain} samples kept whole, {compressed} compressed ones")
    finally:
        subprocess.run(["umount", disk], check=True)
        disk.rmdir()


main()
