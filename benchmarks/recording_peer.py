#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""What recording_benchmark does to 16 channels of counts, in numpy and h5py, without checksums.

Started with the file to write. For every line on standard input, a number of blocks of 16 x 4096 samples, it
makes the file anew and answers with the CPU seconds taken and the samples recorded: calibration into single
precision (12 straight laws, 4 polynomials), four powers, mean, deviation, lowest and highest of each block,
lowest, highest, mean and deviation of every 256 samples, and the counts, into chunked datasets.
"""

import os
import sys
import time

import h5py
import numpy as np

CHANNELS, BLOCK, HELD, CHUNK, PIECE = 16, 4096, 1 << 21, 65536, 256


def main():
    name = sys.argv[1]
    random = np.random.default_rng(1)
    wave = 32768 + 20000 * np.sin(1e-3 * np.arange(HELD))
    memory = np.clip(wave + 200 * random.standard_normal((CHANNELS, HELD)), 0, 65535).astype(np.uint16)
    values = np.empty((CHANNELS, BLOCK), np.float32)
    slope, offset = np.float32(20 / 65536), np.float32(-10)
    for line in sys.stdin:
        blocks = int(line)
        if os.path.exists(name):
            os.remove(name)
        start = time.process_time()
        with h5py.File(name, "w", libver="latest") as file:
            counts = [file.create_dataset(f"c{c}", (0,), np.uint16, maxshape=(None,), chunks=(CHUNK,))
                      for c in range(CHANNELS)]
            rows = [file.create_dataset(f"p{c}", (0, 4), np.float32, maxshape=(None, 4), chunks=(1024, 4))
                    for c in range(CHANNELS)]
            held = np.empty((CHANNELS, CHUNK), np.uint16)
            for k in range(blocks):
                at = k * BLOCK % HELD
                block = memory[:, at:at + BLOCK]
                np.multiply(block, slope, out=values, dtype=np.float32, casting="unsafe")
                values += offset
                x = values[8:12]
                values[8:12] = x * (np.float32(5) - np.float32(0.03) * x)
                power = values[0:8:2] * values[1:8:2]
                for each in (values, power):
                    each.mean(axis=1)
                    each.std(axis=1)
                    each.min(axis=1)
                    each.max(axis=1)
                place = k * BLOCK % CHUNK
                held[:, place:place + BLOCK] = block
                if place + BLOCK < CHUNK:
                    continue
                pieces = held.reshape(CHANNELS, -1, PIECE)
                made = np.stack([pieces.min(axis=2), pieces.max(axis=2), pieces.mean(axis=2, dtype=np.float32),
                                 pieces.std(axis=2, dtype=np.float32)], axis=2)
                done = (k + 1) * BLOCK
                for c in range(CHANNELS):
                    counts[c].resize((done,))
                    counts[c][done - CHUNK:done] = held[c]
                    rows[c].resize((done // PIECE, 4))
                    rows[c][(done - CHUNK) // PIECE:] = made[c]
        taken = time.process_time() - start
        os.remove(name)
        print(taken, CHANNELS * BLOCK * blocks, flush=True)


main()
