#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""A recording of one channel in 2000 bins without its pyramid: read raw with h5py, in pieces that fit the memory.

Started by view_benchmark with the file. For every line on standard input it answers with the CPU seconds taken.
"""

import sys
import time

import h5py
import numpy as np

BINS = 2000


def main():
    with h5py.File(sys.argv[1], "r", swmr=True) as file:
        data = next(iter(next(iter(file["streams"].values())).values()))
        for _ in sys.stdin:
            start = time.process_time()
            width = data.shape[0] // BINS
            for k in range(0, BINS, 20):
                piece = data[k * width:(k + 20) * width].reshape(20, width)
                piece.min(axis=1), piece.max(axis=1), piece.mean(axis=1, dtype=np.float32)
            print(time.process_time() - start, flush=True)


main()
