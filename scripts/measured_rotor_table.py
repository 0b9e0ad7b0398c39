#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Writes the table of measured and predicted loads into docs/theory/measured_rotor.md.

    scripts/measured_rotor_table.py build/release/bin/windwright [--check]

The measured figures come from examples/two-bladed-rotor/points.csv, the predicted ones from the
program, one set of options a column for all points. With --check nothing is written: the exit code
is 1 when the page shows another table than the program computes now.
"""
import csv
import json
import math
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs/theory/measured_rotor.md"
EXAMPLE = ROOT / "examples/two-bladed-rotor"
BEGIN = "<!-- table: scripts/measured_rotor_table.py writes from here -->"
END = "<!-- to here -->"
SECTION_M2 = 24.4 * 36.6
# Blind comparison of 2001, 19 codes, power as a share of the measured (NREL/TP-500-29494).
SPREAD_PCT = {"attached": (25, 175), "stalled": (30, 275)}
STATES = {7: ("attached", "attached"), 13: ("stalling", "stalled"), 20: ("deep stall", "stalled")}
VARIANTS = [
    ("two-dimensional polar", ["--rotational-augmentation", "off"]),
    ("with augmentation", []),
    ("and the walls", ["--tunnel-area", repr(SECTION_M2)]),
]
QUANTITIES = [("torque", "torque_N_m", "torque_N_m", "N m"), ("power", "shaft_power_W", "power_W", "W"),
              ("thrust", "thrust_N", "thrust_N", "N")]


def measured_points():
    lines = (EXAMPLE / "points.csv").read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def predicted(program, point, options):
    rpm = float(point["rotor_speed_rad_s"]) * 30.0 / math.pi
    words = [program, "rotor", str(EXAMPLE / "rotor.toml"), "--rotor-speed-rpm", repr(rpm), "--air-speeds",
             point["air_speed_m_s"], "--pitch", point["pitch_deg"], "--blades", point["blade_count"], "--density",
             point["air_density_kg_m3"], "--json", *options]
    ended = subprocess.run(words, capture_output=True, text=True, check=True)
    return json.loads(ended.stdout)["points"][0]


def signed(value):
    return f"{value:+.1f}".replace("-0.0", "0.0").replace("+0.0", "0.0")


def table(program):
    heads = ["air speed, m/s", "tip-speed ratio", "flow", "quantity", "measured"]
    for name, _ in VARIANTS:
        heads += [name, "error, %"]
    heads.append("19 others, %")
    rows = [heads, ["---"] * len(heads)]
    for point in measured_points():
        speed = float(point["air_speed_m_s"])
        state, spread = STATES[round(speed)]
        loads = [predicted(program, point, options) for _, options in VARIANTS]
        for name, measured_key, key, unit in QUANTITIES:
            measured = float(point[measured_key])
            row = [f"{speed:g}", f"{loads[0]['tip_speed_ratio']:.2f}", state, f"{name}, {unit}", f"{measured:.0f}"]
            for load in loads:
                row += [f"{load[key]:.0f}", signed(100.0 * (load[key] / measured - 1.0))]
            low, high = SPREAD_PCT[spread]
            row.append("" if name == "thrust" else f"{low - 100:+d} to {high - 100:+d}")
            rows.append(row)
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


def main():
    program = sys.argv[1]
    page = PAGE.read_text()
    before, rest = page.split(BEGIN)
    shown, after = rest.split(END)
    new = table(program)
    if "--check" in sys.argv[2:]:
        if shown.strip() != new.strip():
            print(f"{PAGE}: the table is not what the program computes; run scripts/measured_rotor_table.py")
            print(new)
            return 1
        return 0
    PAGE.write_text(f"{before}{BEGIN}\n\n{new}\n\n{END}{after}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
