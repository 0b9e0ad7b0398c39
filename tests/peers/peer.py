# SPDX-License-Identifier: Apache-2.0
"""What the tests with other people's programs share: the program, a scratch folder, skipping."""

import json
import pathlib
import shutil
import subprocess
import sys

SKIPPED = 77

# A run of six points, a minute of bench time.
CAMPAIGN = """schema = 1
title = "Which pitch for three blades?"
bench = "bench.toml"
operator = "Bench crew, Saltmarsh College"
seed = 11
repeats = 1
[question]
text = "Which pitch turns the largest part of the wind into electricity?"
response = "maximum_cp"
factors = ["pitch_deg"]
level_pct = 95
[[factor]]
actuator = "pitch_deg"
levels = [5, 10]
hard_to_change = true
[[factor]]
actuator = "rheostat_ohm"
levels = [8, 15, 30]
[constants]
fan_pct = 70
load_selector = "rheostat"
blade_count = 3
[pace]
settle_window_s = 1
settle_drift_pct = 5
longest_settle_s = 8
shortest_dwell_s = 1
longest_dwell_s = 2
target_u_pct = 2
"""

# The same six points in a few seconds of bench time.
HASTY_CAMPAIGN = CAMPAIGN[:CAMPAIGN.index("[pace]")] + """[pace]
settle_window_s = 0.6
settle_drift_pct = 50
longest_settle_s = 1
shortest_dwell_s = 0.4
longest_dwell_s = 0.8
target_u_pct = 20
"""


def skip(why):
    print("skipped:", why)
    sys.exit(SKIPPED)


def need(condition, what):
    if not condition:
        sys.exit(f"failed: {what}")


class Bench:
    """A copy of the demo's bench in a scratch folder, and the program run there."""

    def __init__(self, program, source, scratch):
        self.program = program
        self.folder = pathlib.Path(scratch)
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(pathlib.Path(source) / "examples/saltmarsh-college", self.folder)

    def run(self, *words, exit_code=0):
        ended = subprocess.run([self.program, *words], cwd=self.folder, capture_output=True,
                               text=True, stdin=subprocess.DEVNULL, timeout=120)
        need(ended.returncode == exit_code, f"{words}: exit {ended.returncode}: {ended.stderr}")
        return ended.stdout

    def start(self, *words):
        """Starts it and reads the JSON document that it begins with."""
        process = subprocess.Popen([self.program, *words], cwd=self.folder, text=True,
                                   stdout=subprocess.PIPE, stdin=subprocess.DEVNULL)
        text = ""
        for line in process.stdout:
            text += line
            try:
                return process, json.loads(text)
            except json.JSONDecodeError:
                continue
        sys.exit(f"failed: {words} ended with {process.wait()} and said {text!r}")

    def without_chain_and_tower(self):
        """Takes away what the instruments of docs/devices.md do not have, with the interlocks on it."""
        text = (self.folder / "bench.toml").read_text()
        for channel in ("winding_temperature_C", "vibration_m_s2", "emergency_stop_loop_V", "cover_loop_V",
                        "fuse_loop_V"):
            for key in ("name", "channel"):
                at = text.index(f'\n{key} = "{channel}"')
                table = text.rindex("[[", 0, at)
                text = text[:table] + text[text.index("\n\n", at) + 2:]
        (self.folder / "bench.toml").write_text(text)

    def channels(self):
        """Names and converters (lower, upper, bits), in the bench's order."""
        import tomllib

        described = tomllib.loads((self.folder / "bench.toml").read_text())
        return [(c["name"], (*c["range_V"], c["bits"])) for c in described["channel"]]

    def counts(self, recording, samples):
        """The counts of a recording without certificates, one list a channel."""
        found = []
        for name, (lower, upper, bits) in self.channels():
            view = json.loads(self.run("view", recording, "--channel", name, "--bins",
                                       str(samples), "--json"))
            need(view["unit"] == "V", "volts")
            step = (upper - lower) / 2**bits
            found.append([round((b["mean"] - lower) / step - 0.5) for b in view["bins"]])
        return found
