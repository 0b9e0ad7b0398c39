#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Opens a recording with h5py and with netCDF4: units, names, counts, and the values that docs/files.md makes of them.

recording_readers.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER     needs python3-h5py and python3-netcdf4
"""

import json
import pathlib
import re
import sys

from peer import Bench, need, skip

try:
    import h5py
    import netCDF4
except ImportError as missing:
    skip(f"{missing.name} is not installed")

# CF standard name table, with canonical units (from memory).
STANDARD_NAMES = {"air_temperature_C": "air_temperature", "air_pressure_hPa": "air_pressure",
                  "air_humidity_pct": "relative_humidity", "air_speed_m_s": "wind_speed"}
UNITS = {"air_temperature_C": "degC", "air_pressure_hPa": "hPa", "air_humidity_pct": "percent", "air_speed_m_s": "m s-1",
         "rotor_speed_rad_s": "rad s-1", "dc_voltage_V": "V", "dc_current_A": "A", "ac_voltage_V": "V",
         "ac_current_A": "A", "winding_temperature_C": "degC", "vibration_m_s2": "m s-2",
         "emergency_stop_loop_V": "V", "cover_loop_V": "V", "fuse_loop_V": "V"}


def documented_values(source, recording):
    """What the page's own lines make of a recording's dc_voltage_V."""
    page = (source / "docs/files.md").read_text()
    lines = re.search(r"```python\n(.*?)```", page, re.S).group(1).replace('"recording.h5"', repr(str(recording)))
    found = {}
    exec(compile(lines, "docs/files.md", "exec"), found)
    return found["values"]


def main():
    bench = Bench(*sys.argv[1:4])
    source = pathlib.Path(sys.argv[2])
    bench.run("calibrate", "bench.toml")
    bench.run("ready", "bench.toml", "--prove-interlocks")
    bench.run("record", "bench.toml", "--reason", "a test", "--seconds", "6", "--set", "load_selector=rheostat", "--set", "fan_pct=80", "--into",
              "all.h5")
    file = bench.folder / "all.h5"

    with h5py.File(file, "r", swmr=True) as recording:
        device = next(iter(recording["streams"].values()))
        need(list(device) and set(device) == set(UNITS), f"the bench's channels, not {list(device)}")
        need(device.attrs["start_utc"].decode().endswith("Z") and device.attrs["sample_rate_hz"] == 1000.0, "a start, a rate")
        counts = {name: data[...] for name, data in device.items()}
        for name, data in device.items():
            attributes = {k: v.decode() if isinstance(v, bytes) else v for k, v in data.attrs.items()}
            need(attributes["units"] == UNITS[name], f"{name} in {attributes['units']}")
            need(attributes.get("standard_name") == STANDARD_NAMES.get(name), f"the standard name of {name}")
            need(data.shape == (6000,) and data.dims[0][0].name == "/sample", f"{name}: {data.shape}")
        for name, levels in next(iter(recording["pyramid"].values())).items():
            for level, rows in levels.items():
                need(len(rows) == 6000 // int(level), f"a row of each {level} samples of {name}, not {len(rows)}")
            first = counts[name][:256].astype(float)
            need(abs(levels["256"][0] - [first.min(), first.max(), first.mean(), first.std()]).max() < 0.05, f"what the pyramid says of {name}")

    bench.run("record", "bench.toml", "--reason", "a test", "--seconds", "6", "--set", "load_selector=rheostat", "--set", "fan_pct=80",
              "--compression", "deflate", "--into", "packed.h5")
    with h5py.File(bench.folder / "packed.h5", "r", swmr=True) as recording:
        for name, data in next(iter(recording["streams"].values())).items():
            need(data.compression == "gzip" and data.shuffle and data.fletcher32, f"the filters of {name}")
            need((data[...] == counts[name]).all(), f"{name}: the same counts, compressed")
    with netCDF4.Dataset(bench.folder / "packed.h5") as recording:
        recording.set_auto_mask(False)
        for name, variable in next(iter(recording["streams"].groups.values())).variables.items():
            need((variable[:] == counts[name]).all(), f"{name}: the same counts, compressed, in netCDF4")

    with netCDF4.Dataset(file) as recording:
        recording.set_auto_mask(False)
        device = next(iter(recording["streams"].groups.values()))
        need(recording.dimensions["sample"].size == 6000, "the dimension 'sample'")
        for name, unit in UNITS.items():
            variable = device.variables[name]
            need(variable.dimensions == ("sample",) and variable.units == unit, f"{name}: {variable}")
            need((variable[:] == counts[name]).all(), f"{name}: the same counts")
            need(variable.sample_rate_hz == 1000.0, "a rate")

    view = json.loads(bench.run("view", "all.h5", "--channel", "dc_voltage_V", "--bins", "6000", "--json"))
    need(view["calibrated"] and len(view["bins"]) == 6000, "values of single samples")
    values = documented_values(source, file)
    worst = max(abs(b["mean"] - v) for b, v in zip(view["bins"], values))
    need(values.max() > 1.0 and worst < 1e-9, f"the page's lines give the program's values: {worst} V apart")
    print(f"9 channels with units in h5py and netCDF4; values {worst:.1e} V apart at most")


main()
