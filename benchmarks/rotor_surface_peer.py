#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The equations of physics::rotor_surface once more, in numpy: all elements at once.

Started by rotor_surface_benchmark. Reads the problem from a JSON file, then for every line on standard
input solves it and answers with the CPU seconds taken; at `write FILE` it writes cp as JSON.
"""

import json
import sys
import time

import numpy as np


def load(path):
    with open(path, encoding="utf-8") as file:
        problem = json.load(file)
    return {k: np.array(v) if isinstance(v, list) else v for k, v in problem.items()}


class Polar:
    """Linear between angles and in the logarithm of the Reynolds number."""

    def __init__(self, problem):
        self.alpha = problem["alpha_rad"]
        self.log_reynolds = problem["log_reynolds"]
        tables = len(self.log_reynolds)
        shape = (len(self.alpha), tables)
        self.parts = [problem[k].reshape(shape) for k in ("cl", "cd", "lift_deficit")]

    def at(self, alpha, log_reynolds):
        alpha = alpha - 2.0 * np.pi * np.round(alpha / (2.0 * np.pi))
        node = np.clip(np.searchsorted(self.alpha, alpha, "right") - 1, 0, len(self.alpha) - 2)
        along = (alpha - self.alpha[node]) / (self.alpha[node + 1] - self.alpha[node])
        if len(self.log_reynolds) == 1:
            return [p[node, 0] + along * (p[node + 1, 0] - p[node, 0]) for p in self.parts]
        low = np.clip(np.searchsorted(self.log_reynolds, log_reynolds, "right") - 1, 0,
                      len(self.log_reynolds) - 2)
        span = self.log_reynolds[low + 1] - self.log_reynolds[low]
        weight = np.clip((log_reynolds - self.log_reynolds[low]) / span, 0.0, 1.0)
        answer = []
        for p in self.parts:
            a = p[node, low] + along * (p[node + 1, low] - p[node, low])
            b = p[node, low + 1] + along * (p[node + 1, low + 1] - p[node, low + 1])
            answer.append(a + weight * (b - a))
        return answer


def trial(p, polar, x, speed):
    """Air and turning speed over relative speed, as momentum and blade forces ask."""
    s, c = np.sin(x), np.cos(x)
    cl, cd, deficit = polar.at(x - p["blade_angle_rad"], np.log(p["reynolds_s_m"] * speed))
    a = np.maximum(np.abs(s), 1e-12)
    F = np.maximum(np.arccos(np.exp(-p["tip_ratio"] / a)) * np.arccos(np.exp(-p["root_ratio"] / a))
                   * (4.0 / np.pi**2), 1e-6)
    swirling = 0.25 * p["solidity"] / F
    rotating = c - swirling * cl
    cl = cl + np.minimum(p["augmentation"] * rotating * rotating, 1.0) * deficit
    n = p["solidity"] * (cl * c + cd * s)
    m = np.abs(n)
    r = 0.25 * m / (F * a)
    b = 20.0 / 3.0 - 4.0 * F
    root = np.sqrt(np.maximum(8.0 * m - F * (64.0 / 3.0 - 16.0 * F) * a * a, 0.0))
    brake = np.where(r <= 2.0 / 3.0 * a, a + r, 0.25 * (b * a + root))
    axial = np.where(n < 0.0, np.maximum(a - r, -np.sqrt(0.5 * m)), brake)
    least = np.maximum(4.0 * F, 50.0 / 9.0 - 4.0 * F) * a
    back = np.where(m <= least * a, m / least - a, np.minimum(r - a, 0.25 * (root - b * a)))
    axial = np.where(s <= 0.0, np.where(n < 0.0, -brake, back), axial)
    share = np.where(n < 0.0, 1.0, np.minimum(s / np.maximum(0.6 * axial, 1e-300), 1.0))
    share = np.where(s <= 0.0, 0.0, share)
    turning = c - swirling * cl * share
    across = p["turning_m_s"] * axial - p["axial_m_s"] * turning
    along = p["axial_m_s"] * axial + p["turning_m_s"] * turning
    W = along / (axial * axial + turning * turning)
    return across, np.where(W > 0.0, W, speed), cl, cd


def solve(p, polar):
    undisturbed = np.hypot(p["axial_m_s"], p["turning_m_s"])
    zero = np.zeros_like(undisturbed)
    f, _, _, _ = trial(p, polar, zero, undisturbed)
    low = np.where(f < 0.0, 0.0, -0.5 * np.pi)
    high = np.where(f < 0.0, np.pi, 0.0)
    # One Reynolds number first, then secant steps that carry it along: bisection alone would have to
    # start anew for each.
    f_low, f_high = f, f
    for _ in range(16):
        x = 0.5 * (low + high)
        f, W, _, _ = trial(p, polar, x, undisturbed)
        below = f < 0.0
        low, f_low = np.where(below, x, low), np.where(below, f, f_low)
        high, f_high = np.where(below, high, x), np.where(below, f_high, f)
    before, x = low, 0.5 * (low + high)
    f_before, W, _, _ = trial(p, polar, before, W)
    slope = np.maximum((f_high - f_low) / np.maximum(high - low, 1e-12), 1e-3)
    for _ in range(14):
        f, W, cl, cd = trial(p, polar, x, W)
        moved = x - before
        secant = (f - f_before) / np.where(moved == 0.0, 1.0, moved)
        sound = (moved != 0.0) & (secant > 0.25 * slope) & (secant < 4.0 * slope)
        slope = np.where(sound, secant, slope)
        before, f_before = x, f
        x = x - np.clip(f / slope, -0.02, 0.02)
    f, W, cl, cd = trial(p, polar, x, W)
    tangential = 0.5 * p["density_kg_m3"] * W * W * p["chord_m"] * (cl * np.sin(x) - cd * np.cos(x))
    torque = (tangential * p["torque_weight_m2"]).reshape(p["shape"]).sum(axis=0)
    return torque * p["cp_per_torque"]


def main():
    p = load(sys.argv[1])
    polar = Polar(p)
    p["shape"] = p["shape"].astype(np.int64)
    cp = None
    for line in sys.stdin:
        if line.startswith("write "):
            with open(line.split()[1], "w", encoding="utf-8") as file:
                json.dump(cp.ravel().tolist(), file)
            print("written", flush=True)
            continue
        start = time.process_time()
        cp = solve(p, polar)
        print(time.process_time() - start, flush=True)


main()
