# SPDX-License-Identifier: Apache-2.0
"""The demo's bench with more to record: what several benchmarks measure with."""

import re


def sixteen_channels(text, rate):
    """bench.toml at this sample rate, with phases b and c and the line voltages besides."""
    tables = {m.group(1): m.group(0) for m in
              re.finditer(r"\[\[channel\]\]\nname = \"(\w+)\".*?(?=\n\[\[|\n\[simulation|\Z)", text, re.S)}
    more = ""
    for phase in "bc":
        for name in ("ac_voltage_V", "ac_current_A"):
            other = name.replace("_V", f"_{phase}_V").replace("_A", f"_{phase}_A")
            more += "\n" + tables[name].replace(name, other) + "\n"
    for pair in ("ab", "bc", "ca"):
        more += "\n" + tables["ac_voltage_V"].replace("ac_voltage_V", f"ac_line_voltage_{pair}_V") + "\n"
    assert len(tables) + 7 == 16, list(tables)
    return re.sub(r"sample_rate_hz = \d+", f"sample_rate_hz = {rate}", text) + more
