#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The weighted polynomial fit of metrology::fit_polynomial once more, by numpy.polyfit.

Started by fit_benchmark. Reads references, readings and weights (1 / u), as doubles one after the other from a
file, then for every line on standard input fits them and answers with the CPU seconds taken, the coefficients
and their standard uncertainties, rising powers.
"""

import sys
import time

import numpy as np


def main():
    x, y, w = np.fromfile(sys.argv[1]).reshape(3, -1)
    degree = int(sys.argv[2])
    for _ in sys.stdin:
        before = time.process_time()
        c, covariance = np.polyfit(x, y, degree, w=w, cov="unscaled")
        taken = time.process_time() - before
        u = np.sqrt(np.diag(covariance))
        print(taken, *map(repr, map(float, [*c[::-1], *u[::-1]])), flush=True)


main()
