# SPDX-License-Identifier: Apache-2.0
"""What `record` and `conduct` publish, seen by a mosquitto broker and its clients.

publishing.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import datetime
import json
import shutil
import signal
import subprocess
import sys

import h5py

from broker import Broker, Listener, free_port, need_mosquitto
from peer import Bench, CAMPAIGN, need

need_mosquitto()

def publish_table(port, bench, more=""):
    return f'\n[publish]\nhost = "127.0.0.1"\nport = {port}\nbench = "{bench}"\ninterval_s = 0.2\n{more}'


def bench_that_publishes(original, name, port):
    """A copy of the calibrated bench, as another bench of the house."""
    copy = Bench.__new__(Bench)
    copy.program, copy.folder = original.program, original.folder.parent / f"{original.folder.name}-{name}"
    shutil.rmtree(copy.folder, ignore_errors=True)
    shutil.copytree(original.folder, copy.folder)
    text = (copy.folder / "bench.toml").read_text()
    (copy.folder / "bench.toml").write_text(text + publish_table(port, name))
    return copy


def started(bench, *words):
    return subprocess.Popen([bench.program, *words], cwd=bench.folder, stdin=subprocess.DEVNULL, text=True,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def ended(process, exit_code=0):
    out, err = process.communicate(timeout=120)
    need(process.returncode == exit_code, f"exit {process.returncode}: {err}")
    return json.loads(out)


RECORD = ("record", "bench.toml", "--reason", "a test", "--real-time", "--set", "fan_pct=60", "--set", "load_selector=rheostat", "--json")


def span_of(bench, name):
    lower, upper, _ = dict(bench.channels())[name]
    certificate = json.loads((bench.folder / f"certificates/{name}.json").read_text())
    return (upper - lower) / abs(certificate["fit"]["coefficients"][1])


def what_is_published_is_what_was_recorded(bench, broker):
    ear = Listener(broker, "windwright/#")
    told = json.loads(bench.run(*RECORD, "--seconds", "10", "--into", "a.h5"))
    heard = ear.end()
    need(told["samples"] == 10000 and told["publish"]["remarks"] == [], f"quietly: {told}")
    names = [name for name, _ in bench.channels()]
    for name in [*names, "dc_power_W"]:
        values = [v for _, topic, v in heard if topic == f"windwright/bench-a/channel/{name}"]
        # Every sample is in one published value, and none in two.
        need(sum(v["samples"] for v in values) == 10000, f"{name}: {[v['samples'] for v in values]}")
        need(all(v["calibrated"] and 0 <= v["age_s"] < 5 for v in values), f"{name}: {values}")
        if name.startswith("ac_"):
            need(all(v["of"] == "rms" and v["u"] is None for v in values), f"{name}: {values}")
            continue
        need(all(v["of"] == "mean" and v["u"] > 0 for v in values), f"{name}: {values}")
        mean = sum(v["samples"] * v["value"] for v in values) / 10000
        if name == "dc_power_W":
            continue
        window = json.loads(bench.run("view", "a.h5", "--channel", name, "--bins", "100", "--json"))
        need(values[0]["unit"] == window["unit"], f"{name}: {values[0]} and {window['unit']}")
        b = window["window"]
        close = 1e-6 * span_of(bench, name)  # of what the converter can show: single precision
        need(abs(mean - b["mean"]) < close, f"{name}: {mean}, recorded {b['mean']}")
        need(abs(min(v["lowest"] for v in values) - b["min"]) < close, f"{name}: lowest")
        need(abs(max(v["highest"] for v in values) - b["max"]) < close, f"{name}: highest")

    here = "windwright/bench-a/"
    kept = broker.kept(here + "#")
    need(sorted(k for k in kept if "/channel/" in k) == sorted(f"{here}channel/{n}" for n in [*names, "dc_power_W", "tip_speed_ratio"]),
         f"last values stay: {sorted(kept)}")
    state = kept[here + "state"]
    need(state["state"] == "ended" and state["ending"] == "complete", f"the end: {state}")
    need(state["into"] == str(bench.folder / "a.h5"), f"where to: {state}")
    need(kept[here + "actuator/fan_pct"]["value"] == 0, "the fan is off again")
    need(kept[here + "actuator/load_selector"]["position"] == "rheostat", "a selector by name")
    need(kept[here + "progress"]["samples"] == 10000 and kept[here + "progress"]["gaps"] == 0, "progress")
    need(here + "event" not in kept, "events are not kept")
    fan = [v["value"] for _, topic, v in heard if topic == here + "actuator/fan_pct"]
    need(fan[0] == 60 and fan[-1] == 0, f"commands: {fan}")

    # The newest ten or twelve cycles, against the whole analysis of the recording's end.
    live = kept[here + "power/ac_power_W"]
    length_s = 1.05 * live["cycles"] / live["frequency_Hz"]
    whole = json.loads(bench.run("power", "a.h5", "--voltage", "ac_voltage_V", "--current", "ac_current_A", "--from",
                                 str(10.0 - length_s), "--json"))
    for key in ("active_power_W", "apparent_power_VA", "voltage_rms_V", "current_rms_A", "frequency_Hz"):
        need(abs(live[key] / whole[key] - 1) < 5e-3, f"{key}: {live[key]} and {whole[key]}")
    need(abs(live["power_factor"] - whole["power_factor"]) < 5e-3, f"{live} and {whole['power_factor']}")


def a_program_that_is_killed_is_lost(bench, broker):
    process = started(bench, *RECORD, "--seconds", "60", "--into", "killed.h5")
    broker.wait_for("windwright/bench-a", lambda s: s["state"] == "recording", "it is recording")
    process.send_signal(signal.SIGKILL)
    process.communicate()
    state = broker.wait_for("windwright/bench-a", lambda s: s["state"] == "lost", "last will")
    need("without leave" in state["cause"], f"why: {state}")
    process = started(bench, *RECORD, "--seconds", "60", "--into", "asked.h5")
    broker.wait_for("windwright/bench-a", lambda s: s["state"] == "recording", "and again")
    process.send_signal(signal.SIGINT)
    ended(process, 1)
    state = broker.state("windwright/bench-a")
    need((state["state"], state["ending"]) == ("ended", "interrupted"), f"asked to stop: {state}")


def a_broker_that_goes_and_comes_costs_no_sample(bench, broker):
    process = started(bench, *RECORD, "--seconds", "4", "--into", "through.h5")
    broker.wait_for("windwright/bench-a", lambda s: s["state"] == "recording" and "through" in s["into"], "recording")
    broker.kill()
    broker.start()
    broker.wait_for("windwright/bench-a", lambda s: s["state"] == "recording", "it is back with nothing kept")
    told = ended(process)
    need(told["samples"] == 4000 and told["gaps"] == 0, f"every sample: {told}")
    need(len(told["publish"]["remarks"]) >= 1 and "was away 1 time" in told["publish"]["remarks"][0], f"told: {told}")
    kept = broker.kept("windwright/#")
    need(kept["windwright/bench-a/state"]["ending"] == "complete", f"the end: {kept['windwright/bench-a/state']}")
    need(kept["windwright/bench-a/actuator/fan_pct"]["value"] == 0, "what was commanded is said again")


def a_broker_that_stands_still_costs_no_sample(bench, broker):
    process = started(bench, *RECORD, "--seconds", "4", "--into", "slow.h5")
    broker.wait_for("windwright/bench-a", lambda s: s["state"] == "recording" and "slow" in s["into"], "recording")
    broker.process.send_signal(signal.SIGSTOP)
    told = ended(process)
    broker.process.send_signal(signal.SIGCONT)
    need(told["samples"] == 4000 and told["gaps"] == 0, f"every sample: {told}")
    need(told["publish"]["remarks"], "told")
    broker.wait_for("windwright/bench-a", lambda s: s["state"] == "lost", "it ended, and the broker did not hear it")


def no_broker_costs_nothing(bench, broker):
    text = (bench.folder / "bench.toml").read_text()
    (bench.folder / "bench.toml").write_text(text.replace(f"port = {broker.port}", f"port = {free_port()}"))
    told = json.loads(bench.run("record", "bench.toml", "--reason", "a test", "--seconds", "2", "--into", "alone.h5", "--json"))
    need(told["samples"] == 2000 and "was never reached" in told["publish"]["remarks"][0], f"told: {told}")
    (bench.folder / "bench.toml").write_text(text)


def quiet_where_asked(bench, broker):
    ear = Listener(broker, "windwright/#")
    told = json.loads(bench.run("record", "bench.toml", "--reason", "a test", "--seconds", "1", "--into", "quiet.h5", "--publish", "none",
                                "--json"))
    need(told["publish"] is None, f"nothing: {told}")
    need([m for m in ear.end() if not m[0]] == [], "no message")


def instant(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp()


def two_benches_at_once(original, broker):
    benches = [bench_that_publishes(original, name, broker.port) for name in ("left", "right")]
    for number, bench in enumerate(benches):
        text = (bench.folder / "bench.toml").read_text()
        need(text.count("seed = ") == 1, "a seed")
        (bench.folder / "bench.toml").write_text(text.replace("seed = ", f"seed = {number + 1}"))
    ear = Listener(broker, "windwright/#")
    processes = [started(bench, "record", "bench.toml", "--reason", "a test", "--real-time", "--seconds", "2", "--set", f"fan_pct={fan}",
                         "--into", "own.h5", "--json") for bench, fan in zip(benches, (70, 20))]
    for process in processes:
        need(ended(process)["samples"] == 2000, "every sample")
    heard = ear.end()
    for bench, name, fan in zip(benches, ("left", "right"), (70, 20)):
        mine = [(t, v) for _, t, v in heard if t.startswith(f"windwright/{name}/")]
        need([v["value"] for t, v in mine if t.endswith("actuator/fan_pct")][0] == fan, f"{name}: its own fan")
        need({v["into"] for t, v in mine if t.endswith("/state")} == {str(bench.folder / "own.h5")}, f"{name}: its file")
        speed = [v for t, v in mine if t.endswith("channel/air_speed_m_s")]
        with h5py.File(bench.folder / "own.h5", "r") as file:
            start = instant(next(iter(file["streams"].values())).attrs["start_utc"].decode())
        within = [(instant(v["time"]) - start, v) for v in speed]
        within = [(end_s, v) for end_s, v in within if 0.2 <= end_s <= 2.0 and v["samples"] == 200]
        need(len(within) >= 8, f"{name}: {speed}")
        for end_s, v in within:
            window = json.loads(bench.run("view", "own.h5", "--channel", "air_speed_m_s", "--from", f"{end_s - 0.2:.6f}",
                                          "--to", f"{end_s:.6f}", "--bins", "1", "--json"))["window"]
            need(window["count"] == v["samples"] == 200, f"{name}: {window} and {v}")
            need(abs(v["value"] - window["mean"]) < 1e-5, f"{name}: its own wind: {v} and {window}")


def two_under_one_name_say_so(original, broker):
    """Each names the other; one that is gone, whose will comes late, is none."""
    benches = [bench_that_publishes(original, "same", broker.port)]
    process = started(benches[0], *RECORD, "--seconds", "3", "--into", "alone.h5")
    broker.wait_for("windwright/same", lambda s: s["state"] == "recording", "recording")
    will = json.dumps({"state": "lost", "publisher": "elsewhere, process 1"})
    subprocess.run(broker.words("mosquitto_pub", "-t", "windwright/same/state", "-m", will), check=True)
    need(ended(process)["publish"]["remarks"] == [], "the will of one that is gone")

    ear = Listener(broker, "windwright/same/event")
    processes = [started(benches[0], *(w for w in RECORD if w not in ("--set", "fan_pct=60", "load_selector=rheostat")),
                         "--seconds", "4", "--into", f"{name}.h5") for name in ("one", "two")]
    told = [ended(process)["publish"]["remarks"] for process in processes]
    for mine, other in ((0, 1), (1, 0)):
        need(len(told[mine]) == 1 and f"process {processes[other].pid}) publishes as windwright/same too" in told[mine][0],
             f"each names the other: {told}")
    remarks = [v["text"] for _, _, v in ear.end() if v["event"] == "remark"]
    need(sorted(remarks) == sorted(t[0] for t in told), f"and at once: {remarks}")


def a_campaign_tells_how_far_it_is(bench, broker):
    (bench.folder / "campaign.toml").write_text(CAMPAIGN)
    ear = Listener(broker, "windwright/bench-a/#")
    process = started(bench, "conduct", "campaign.toml", "--into", "run", "--json")
    process.communicate(timeout=120)
    need(process.returncode in (0, 1), f"a run: {process.returncode}")
    heard = ear.end()
    here = "windwright/bench-a/"
    done = [v["points_done"] for _, t, v in heard if t == here + "event" and v["event"] == "point"]
    need(done == [1, 2, 3, 4, 5, 6], f"points: {done}")
    states = [v["state"] for _, t, v in heard if t == here + "state"]
    need(states[-1] == "ended" and "conducting" in states, f"states: {states}")
    progress = broker.kept(here + "#")[here + "progress"]
    need((progress["points_done"], progress["points"], progress["phase"]) == (6, 6, "complete"), f"{progress}")


def main():
    bench = Bench(*sys.argv[1:4])
    bench.run("calibrate", "bench.toml")
    bench.run("ready", "bench.toml", "--prove-interlocks")
    broker = Broker(bench.folder)
    try:
        two_benches_at_once(bench, broker)
        two_under_one_name_say_so(bench, broker)
        text = (bench.folder / "bench.toml").read_text()
        (bench.folder / "bench.toml").write_text(text + publish_table(broker.port, "bench-a", "timeout_s = 0.5\n"))
        what_is_published_is_what_was_recorded(bench, broker)
        a_program_that_is_killed_is_lost(bench, broker)
        a_broker_that_goes_and_comes_costs_no_sample(bench, broker)
        a_broker_that_stands_still_costs_no_sample(bench, broker)
        no_broker_costs_nothing(bench, broker)
        quiet_where_asked(bench, broker)
        a_campaign_tells_how_far_it_is(bench, broker)
        print("published, kept, lost, ended")
    finally:
        broker.kill()


main()
