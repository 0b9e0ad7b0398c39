#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The counts of the simulated bench's channels once more, in numpy, at one operating point.

Started by waveforms_benchmark with a file of doubles: samples, channels, points of a period, samples of whole
periods, angle from sample to sample; then for each channel noise, lower and upper end of the converter, its
bits, and the period in volts. For every line on standard input it makes a block and answers with the CPU
seconds taken, and mean and mean square of each channel's counts over the whole periods.
"""

import sys
import time

import numpy as np


def main():
    data = np.fromfile(sys.argv[1])
    samples, channels, points, whole = (int(x) for x in data[:4])
    step = data[4]
    per_channel = data[5:].reshape(channels, 4 + points)
    grid = np.linspace(0.0, 2.0 * np.pi, points)
    random = np.random.Generator(np.random.SFC64(1))
    for _ in sys.stdin:
        start = time.process_time()
        angle = np.mod(step * np.arange(samples), 2.0 * np.pi)
        counts = np.empty((channels, samples), np.int32)
        for c in range(channels):
            noise, lower, upper, bits = per_channel[c, :4]
            volts = np.interp(angle, grid, per_channel[c, 4:])
            volts += noise * random.standard_normal(samples)
            steps = 2.0 ** bits
            counts[c] = np.clip(np.floor((volts - lower) / (upper - lower) * steps), 0.0, steps - 1.0)
        taken = time.process_time() - start
        means = counts[:, :whole].mean(axis=1)
        squares = (counts[:, :whole].astype(float) ** 2).mean(axis=1)
        print(taken, *means, *squares, flush=True)


main()
