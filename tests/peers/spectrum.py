# SPDX-License-Identifier: Apache-2.0
"""The spectrum of a recording's window as NumPy makes it of the counts that h5py reads.

spectrum.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import importlib.util
import json
import sys

from peer import Bench, need, skip

for wanted in ("numpy", "h5py"):
    if importlib.util.find_spec(wanted) is None:
        skip(f"python3-{wanted} is not installed")
import h5py
import numpy

CHANNEL = "dc_voltage_V"
RATE = 1000


def tapers(segment):
    """Name, weights, step. numpy.hanning is symmetric; one longer, its last left out, is periodic."""
    yield "hann", numpy.hanning(segment + 1)[:-1], (segment + 1) // 2
    yield "none", numpy.ones(segment), segment


def density(samples, weights, step):
    """One-sided, after Welch (1967): each segment's own mean off, periodograms averaged."""
    segment = len(weights)
    sums, number = numpy.zeros(segment // 2 + 1), 0
    for at in range(0, len(samples) - segment + 1, step):
        part = samples[at:at + segment]
        sums += numpy.abs(numpy.fft.rfft(weights * (part - part.mean())))**2
        number += 1
    sums[1:-1 if segment % 2 == 0 else None] *= 2
    return sums / number / (RATE * (weights**2).sum()), number


def main():
    bench = Bench(*sys.argv[1:])
    bench.run("record", "bench.toml", "--reason", "a test", "--seconds", "12", "--set", "load_selector=rheostat", "--set",
              "fan_pct=60", "--into", "all.h5", "--json")
    with h5py.File(bench.folder / "all.h5") as file:
        counts = numpy.concatenate(
            [stream[CHANNEL][...].ravel() for stream in file["streams"].values()])
    lower, upper, bits = dict(bench.channels())[CHANNEL]
    samples = (lower + (counts + 0.5) * (upper - lower) / 2**bits)[2000:11000]
    for segment in (1000, 625):  # an even and an odd number of samples
        for name, weights, step in tapers(segment):
            told = json.loads(bench.run(
                "view", "all.h5", "--channel", CHANNEL, "--from", "2", "--to", "11", "--spectrum",
                "density", "--resolution-Hz", str(RATE / segment), "--taper", name, "--json"))
            expected, number = density(samples, weights, step)
            need(told["segment"] == segment and told["segments"] == number, f"segments of {name}")
            seen = numpy.array([line["density"] for line in told["lines"]])
            need(numpy.allclose(seen, expected, rtol=1e-9, atol=1e-12 * expected.max()),
                 f"{name}, {segment}: {numpy.abs(seen / expected - 1).max()} apart")
            frequency = [line["frequency_Hz"] for line in told["lines"]]
            need(numpy.allclose(frequency, numpy.fft.rfftfreq(segment, 1 / RATE)), "frequencies")


main()
