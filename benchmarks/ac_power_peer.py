#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The quantities of signal::pair_power once more, in numpy, for a frequency whose ten cycles are a whole
number of samples.

Started by ac_power_benchmark. Reads voltage, then current, as doubles from a file, then for every line on
standard input analyses them and answers with the CPU seconds taken and the results it is checked by.
"""

import sys
import time

import numpy as np

ORDERS = 50
CYCLES = 10


def frequency(v, rate):
    """From the phase of the fundamental in two Hann-weighted halves of a window."""
    half = len(v) // 2
    hann = np.hanning(half + 1)[:half]
    turn = np.exp(-2j * np.pi * CYCLES / len(v) * np.arange(len(v)))
    early = np.sum(hann * v[:half] * turn[:half])
    late = np.sum(hann * v[half:] * turn[half:])
    return rate / len(v) * CYCLES + np.angle(late / early) / (2 * np.pi * half / rate)


def groups(squares):
    k = CYCLES * np.arange(1, ORDERS + 1)
    lines = squares[:, None] if squares.ndim == 1 else squares
    at = lambda offset: lines[k + offset, 0]
    half = CYCLES // 2
    group = sum(at(o) for o in range(-half + 1, half)) + 0.5 * (at(-half) + at(half))
    subgroup = at(-1) + at(0) + at(1)
    between = sum(at(o) for o in range(2, CYCLES - 1))
    return np.sqrt(at(0)), np.sqrt(group), np.sqrt(subgroup), np.sqrt(between)


def analyse(v, i, rate):
    size = int(round(CYCLES * rate / 50.0))
    windows = len(v) // size
    squares = [0.0, 0.0]
    sums = np.zeros(7)
    first = 0.0 + 0.0j
    found = []
    extremes = []
    phasors = np.zeros((2, ORDERS + 1), complex)
    for w in range(windows):
        x, y = v[w * size:(w + 1) * size], i[w * size:(w + 1) * size]
        found.append(frequency(x, rate))
        sums += (np.mean(x), np.mean(y), np.dot(x, x) / size, np.dot(y, y) / size,
                 np.dot(x, y) / size, np.mean(np.abs(x)), np.mean(np.abs(y)))
        extremes.append((x.min(), x.max(), y.min(), y.max()))
        lines = [np.fft.rfft(z)[:CYCLES * (ORDERS + 1)] * (np.sqrt(2.0) / size) for z in (x, y)]
        for c in range(2):
            lines[c][0] /= np.sqrt(2.0)
            squares[c] = squares[c] + np.abs(lines[c]) ** 2
        one = lines[0][CYCLES]
        first += one * np.conj(lines[1][CYCLES])
        turn = (np.conj(one) / np.abs(one)) ** np.arange(ORDERS + 1)
        for c in range(2):
            phasors[c] += lines[c][::CYCLES][:ORDERS + 1] * turn
    sums /= windows
    rms_v, rms_i, power = np.sqrt(sums[2]), np.sqrt(sums[3]), sums[4]
    of_v, of_i = groups(squares[0] / windows), groups(squares[1] / windows)
    thd = [[np.sqrt(np.sum(g[1:] ** 2)) / g[0] for g in of[:3]] for of in (of_v, of_i)]
    apparent, apparent_1 = rms_v * rms_i, of_v[0][0] * of_i[0][0]
    harmonic_v = np.sqrt(rms_v ** 2 - of_v[0][0] ** 2)
    harmonic_i = np.sqrt(rms_i ** 2 - of_i[0][0] ** 2)
    terms = (np.sqrt(apparent ** 2 - apparent_1 ** 2), of_v[0][0] * harmonic_i,
             harmonic_v * of_i[0][0], harmonic_v * harmonic_i, power / apparent,
             first.real / windows / apparent_1)
    largest = np.max(np.abs(extremes), axis=0)
    crest = max(largest[0], largest[1]) / rms_v, max(largest[2], largest[3]) / rms_i
    angles = np.angle(phasors)
    del crest, angles
    return np.mean(found), rms_v, rms_i, power, thd[0][0], thd[1][0], thd[1][1], terms[0]


def main():
    rate = float(sys.argv[2])
    both = np.fromfile(sys.argv[1])
    v, i = both[:len(both) // 2].copy(), both[len(both) // 2:].copy()
    for _ in sys.stdin:
        start = time.process_time()
        result = analyse(v, i, rate)
        taken = time.process_time() - start
        print(taken, *(repr(float(x)) for x in result), flush=True)


main()
