#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Opens what `windwright export` writes with readers that nobody here wrote: netCDF4, SciPy and Python's csv.

exports.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER netcdf|matlab     needs python3-netcdf4, or SciPy

Samples with a gap go in through `windwright import`, so that the right values are those of a file and not ours.
"""

import csv
import json
import math
import sys

from peer import Bench, need, skip

ROWS = [(k, k / 1000.0, round(3.0 + 2.0 * math.sin(0.1 * math.pi * k), 4), round(0.5 * math.cos(0.1 * math.pi * k), 3))
        for k in range(5000) if not 2000 <= k < 2600]
NAMES = ("time_s", "dc_voltage_V", "dc_current_A")
START = "2026-03-02T09:00:00.000Z"


def same(found, column, what, within=1e-12):
    wanted = [row[column] for row in ROWS]
    need(len(found) == len(wanted), f"{what}: {len(found)} values")
    worst = max(abs(a - b) for a, b in zip(found, wanted))
    need(worst < within, f"{what}: {worst} off")


def check_netcdf(folder):
    import netCDF4

    with netCDF4.Dataset(folder / "all.nc") as file:
        need(file.Conventions == "CF-1.8", "conventions")
        for column, name in enumerate(("time",) + NAMES[1:], 1):
            same(file[name][:].tolist(), column, name)
            need(file[name].dimensions == ("time",), f"the dimension of {name}")
        need(file["dc_voltage_V"].units == "V" and file["dc_current_A"].units == "A", "units")
        last = netCDF4.num2date(file["time"][-1], file["time"].units, file["time"].calendar)
        need(str(last).startswith("2026-03-02 09:00:04.999"), f"a time of the day, not {last}")
        need(file["gap"][:].tolist() == [2600 / 1000.0], "when the gap ends")
        need(file["missed_samples"][:].tolist() == [600.0], "what it holds")
    with netCDF4.Dataset(folder / "bins.nc") as file:
        need(file["mean_dc_voltage_V"].cell_methods == "time: mean", "a cell method")
        need(file["samples"][:].sum() == len(ROWS), "every sample in one bin")
        need(file["min_dc_voltage_V"][:].min() == min(row[2] for row in ROWS), "the lowest value")


def check_matlab(folder):
    import scipy.io

    file = scipy.io.loadmat(folder / "all.mat")
    for column, name in enumerate(NAMES, 1):
        need(file[name].shape == (len(ROWS), 1), f"{name}: a column, not {file[name].shape}")
        same(file[name][:, 0].tolist(), column, name)
        need(file["units"][name][0, 0][0] == ("s", "V", "A")[column - 1], f"the unit of {name}")
    need(file["start_utc"][0] == START and file["sample_rate_hz"][0, 0] == 1000.0, "a start, a rate")
    need(file["gap_at_s"][0, 0] == 2600 / 1000.0 and file["gap_missed_samples"][0, 0] == 600.0, "the gap")


def check_csv(folder):
    lines = (folder / "all.csv").read_text().splitlines()
    need("# gap: 600 samples are missing before 2.6 s" in lines, "the gap")
    table = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    for column, name in enumerate(NAMES, 1):
        same([float(row[name]) for row in table], column, name)


def main():
    bench = Bench(*sys.argv[2:5])
    wanted = sys.argv[1]
    try:
        __import__({"netcdf": "netCDF4", "matlab": "scipy.io"}[wanted])
    except ImportError as missing:
        skip(f"{missing.name} is not installed")
    lines = [f"# start_utc: {START}", ",".join(NAMES)] + [f"{t!r},{v},{i}" for _, t, v, i in ROWS]
    (bench.folder / "samples.csv").write_text("\n".join(lines) + "\n")
    told = json.loads(bench.run("import", "samples.csv", "--into", "all.h5", "--json"))
    need(told["gaps"] == 1 and told["sample_rate_hz"] == 1000.0, f"what came in: {told}")
    for ending in ("nc", "mat", "csv"):
        bench.run("export", "all.h5", "--into", f"all.{ending}")
    bench.run("export", "all.h5", "--bins", "100", "--channel", "dc_voltage_V", "--into", "bins.nc")
    check_csv(bench.folder)
    {"netcdf": check_netcdf, "matlab": check_matlab}[wanted](bench.folder)

    # What else reads recordings takes it as it takes the file itself; of a CSV file only where it has no gap.
    (bench.folder / "before.csv").write_text("\n".join(lines[:2002]) + "\n")
    words = ("--voltage", "dc_voltage_V", "--current", "dc_current_A", "--json", "--to", "2")
    power = [json.loads(bench.run("power", file, *words)) for file in ("before.csv", "all.h5")]
    for key in ("voltage_rms_V", "current_rms_A", "active_power_W"):
        need(abs(power[0][key] - power[1][key]) < 1e-9, f"{key}: {power[0][key]} and {power[1][key]}")
    print(f"{len(ROWS)} rows of 3 columns with units and a gap, in {wanted} and CSV; the same AC power")


main()
