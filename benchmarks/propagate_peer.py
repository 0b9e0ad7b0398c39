#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Monte Carlo of the electrical power coefficient in numpy: the peer of propagate_benchmark.

usage: propagate_peer.py TRIALS, with one line `name value u` an input on standard input, then a correlation
coefficient common to all pairs. Then for every line: `trials` draws, computes and takes the intervals; `equation`
computes alone, from arrays that are there. Answers with the CPU seconds taken and the results.
"""

import sys
import time

import numpy as np


def cp(U, I, dp, voltage_gain, current_gain, pitot_factor, R, temperature, pressure, humidity):
    density = ((0.34848 * pressure - 0.009 * humidity * np.exp(0.061 * temperature))
               / (273.15 + temperature))
    speed = np.sqrt(2 * pitot_factor * dp / density)
    return voltage_gain * U * current_gain * I / (density / 2 * np.pi * R**2 * speed**3)


def intervals(y, level=0.95):
    """Symmetric and shortest, after JCGM 101:2008, 7.7; only the tails are sorted."""
    n = len(y)
    inside = round(level * n)
    outside = n - inside
    parted = np.partition(y, [outside - 1, inside])
    low, high = np.sort(parted[:outside]), np.sort(parted[inside:])
    r = (outside + 1) // 2
    k = np.argmin(high - low)
    return low[r - 1], high[r - 1], low[k], high[k]


def main():
    trials = int(sys.argv[1])
    values, uncertainties = [], []
    for _ in range(10):
        _, value, u = sys.stdin.readline().split()
        values.append(float(value))
        uncertainties.append(float(u))
    r = float(sys.stdin.readline())
    u = np.array(uncertainties)
    factor = np.linalg.cholesky((np.full((10, 10), r) + (1 - r) * np.eye(10)) * np.outer(u, u))
    mean = np.array(values)[:, None]
    rng = np.random.default_rng(1)
    x = mean + factor @ rng.standard_normal((10, trials))
    for line in sys.stdin:
        start = time.process_time()
        if line.startswith("trials"):
            y = cp(*(mean + factor @ rng.standard_normal((10, trials))))
            result = (np.mean(y), np.std(y, ddof=1), *intervals(y))
        else:
            result = (cp(*x)[-1],)
        taken = time.process_time() - start
        print(taken, *(repr(float(v)) for v in result), flush=True)


main()
