# SPDX-License-Identifier: Apache-2.0
"""The demo's bench with more to record: what several benchmarks measure with."""

import re


def sixteen_channels(text, rate):
    """bench.toml at this sample rate, with another phase's voltage and the converter's count of its samples besides."""
    voltage = re.search(r"\[\[channel\]\]\nname = \"ac_voltage_V\".*?(?=\n\[\[)", text, re.S).group(0)
    more = "\n".join(voltage.replace("ac_voltage_V", name) for name in ("ac_voltage_b_V", "sample_counter"))
    text = re.sub(r"sample_rate_hz = \d+", f"sample_rate_hz = {rate}", text) + "\n" + more + "\n"
    assert text.count("[[channel]]") == 16, text.count("[[channel]]")
    return text
