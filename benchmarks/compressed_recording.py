#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Size and CPU of the same samples recorded plain and compressed, and of h5py's own gzip of them.

The demo's bench at its 1000 samples a second for ten minutes, and 16 channels at 250 000 for ten seconds, both as
fast as they can be simulated; what compressing costs is the difference of the whole program's CPU seconds, the
smallest of REPEATS each, in turns. h5py writes the same counts from memory with shuffle, gzip 1 and Fletcher's
checksum, in chunks of the same size: the peer. Every sample of both has to come back through h5py.
Limits, at the bench's own pace: below a tenth of a core for 16 channels, and less CPU than the peer takes; below a
hundredth for the demo's bench, whose chunks of 256 samples (a quarter second) cost more to write than to deflate.
Use: benchmarks/compressed_recording.py [REPEATS]     needs python3-h5py
"""

import pathlib
import resource
import shutil
import subprocess
import sys
import tempfile
import time

import h5py

from sixteen_channels import sixteen_channels

PROGRAM = pathlib.Path(__file__).resolve().parent.parent / "build/release/bin/windwright"
EXAMPLE = PROGRAM.parents[3] / "examples/saltmarsh-college"
DRIVEN = ["--reason", "a benchmark", "--set", "load_selector=rheostat", "--set", "rheostat_ohm=20", "--set", "fan_pct=60", "--catalogue", "none"]


def children_s():
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


def recorded(bench, seconds, compression):
    """CPU seconds of it, and the file."""
    file = bench.parent / f"{compression}.h5"
    file.unlink(missing_ok=True)
    before = children_s()
    subprocess.run([PROGRAM, "record", bench, "--seconds", str(seconds), *DRIVEN, "--compression", compression, "--into",
                    file], check=True, stdout=subprocess.DEVNULL)
    return children_s() - before, file


def streams_of(file):
    return next(iter(file["streams"].values()))


def h5py_s(counts, chunks, folder, packed):
    """CPU seconds, and bytes of the counts in the file."""
    options = {"shuffle": True, "compression": "gzip", "compression_opts": 1} if packed else {}
    name = folder / "peer.h5"
    begun = time.process_time()
    with h5py.File(name, "w", libver="latest") as file:
        for channel, values in counts.items():
            chunk = chunks[channel]
            data = file.create_dataset(channel, (0,), values.dtype, maxshape=(None,), chunks=chunk, fletcher32=True, **options)
            for at in range(0, len(values), chunk[0]):
                some = values[at:at + chunk[0]]
                data.resize((at + len(some),))
                data[at:] = some
        size = sum(data.id.get_storage_size() for data in file.values())
    return time.process_time() - begun, size


def case(name, bench, seconds, repeats, longest_share, faster):
    cpu, sizes, peer = {"none": [], "deflate": []}, {}, {"none": [], "deflate": []}
    for _ in range(repeats):
        for compression in cpu:
            spent, file = recorded(bench, seconds, compression)
            cpu[compression].append(spent)
    with h5py.File(bench.parent / "none.h5") as plain, h5py.File(bench.parent / "deflate.h5") as packed:
        counts = {channel: data[...] for channel, data in streams_of(plain).items()}
        chunks = {channel: data.chunks for channel, data in streams_of(packed).items()}
        same = all((data[...] == counts[channel]).all() for channel, data in streams_of(packed).items())
        for key, file in (("none", plain), ("deflate", packed)):
            sizes[key] = sum(data.id.get_storage_size() for data in streams_of(file).values())
    for _ in range(repeats):
        for compression in peer:
            spent, size = h5py_s(counts, chunks, bench.parent, compression == "deflate")
            peer[compression].append(spent)
            sizes["peer " + compression] = size
    samples = sum(len(values) for values in counts.values())
    costs = min(cpu["deflate"]) - min(cpu["none"])
    peer_costs = min(peer["deflate"]) - min(peer["none"])
    files = {c: (bench.parent / f"{c}.h5").stat().st_size for c in cpu}
    print(f"{name}: {samples / 1e6:.1f} million samples, {'the same' if same else 'NOT the same'} both ways")
    print(f"  counts: {sizes['none'] / 1e6:.2f} MB plain, {sizes['deflate'] / 1e6:.2f} MB deflated "
          f"({sizes['deflate'] / sizes['none']:.3f}); h5py gzip 1 {sizes['peer deflate'] / 1e6:.2f} MB "
          f"({sizes['peer deflate'] / sizes['none']:.3f}); whole files {files['none'] / 1e6:.2f} and "
          f"{files['deflate'] / 1e6:.2f} MB")
    print(f"  CPU for compressing: {costs:.3f} s, {samples / max(costs, 1e-9) / 1e6:.0f} million samples/s, "
          f"{100 * costs / seconds:.2f} % of a core at the bench's own pace; h5py: {peer_costs:.3f} s, "
          f"{samples / peer_costs / 1e6:.0f} million/s")
    return same and costs / seconds < longest_share and (costs < peer_costs or not faster)


def main():
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    folder = pathlib.Path(tempfile.mkdtemp(prefix="compressed_recording."))
    try:
        shutil.copytree(EXAMPLE, folder / "bench")
        bench = folder / "bench/bench.toml"
        held = [case("demo bench", bench, 600, repeats, 0.01, False)]
        bench.write_text(sixteen_channels(bench.read_text(), 250_000))
        held.append(case("16 channels at 250 kS/s", bench, 10, repeats, 0.1, True))
        print("held" if all(held) else "NOT held")
    finally:
        shutil.rmtree(folder)
    return 0 if all(held) else 1


sys.exit(main())
