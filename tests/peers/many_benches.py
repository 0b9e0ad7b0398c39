# SPDX-License-Identifier: Apache-2.0
"""Several benches measured at once on one computer, into one catalogue and one broker: nothing is mixed up or lost.

many_benches.py sqlite|postgresql PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import hashlib
import json
import pathlib
import shutil
import sqlite3
import subprocess
import sys

from broker import Broker, Listener, need_mosquitto
from database import Server
from peer import Bench, CAMPAIGN, need

need_mosquitto()

NAMES = ("north", "east", "south")


def bench_of(original, number, broker):
    """Another bench of the house: other sensors by another seed, other certificates, other name."""
    copy = Bench.__new__(Bench)
    copy.program, copy.folder = original.program, original.folder.parent / f"{original.folder.name}-{NAMES[number]}"
    shutil.rmtree(copy.folder, ignore_errors=True)
    shutil.copytree(original.folder, copy.folder)
    text = (copy.folder / "bench.toml").read_text()
    text = text.replace("seed = ", f"seed = {number + 5}").replace("Saltmarsh College wind bench", NAMES[number])
    text += f'\n[publish]\nhost = "127.0.0.1"\nport = {broker.port}\nbench = "{NAMES[number]}"\ninterval_s = 0.2\n'
    (copy.folder / "bench.toml").write_text(text)
    (copy.folder / "campaign.toml").write_text(CAMPAIGN.replace("Which pitch", f"Bench {NAMES[number]}: which pitch"))
    copy.run("calibrate", "bench.toml")
    copy.run("ready", "bench.toml", "--prove-interlocks")
    return copy


def started(bench, *words):
    return subprocess.Popen([bench.program, *words], cwd=bench.folder, stdin=subprocess.DEVNULL, text=True,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def digest(file):
    return hashlib.sha256(pathlib.Path(file).read_bytes()).hexdigest()


def what_the_broker_heard(benches, heard, told):
    for bench, name, ended in zip(benches, NAMES, told):
        remarks = ended["publish"]["remarks"]
        need(ended["samples"] == 4000 and ended["gaps"] == 0, f"{name}: every sample is recorded: {ended}")
        mine = [(t.removeprefix(f"windwright/{name}/"), v) for _, t, v in heard if t.startswith(f"windwright/{name}/")]
        states = [v for t, v in mine if t == "state"]
        need({v["bench"] for v in states} == {name}, f"{name}: only its own state")
        intos = {v["into"] for v in states if "into" in v}
        need(intos == {str(bench.folder / "own.h5")}, f"{name}: {intos}")
        for channel in ("air_speed_m_s", "dc_voltage_V"):
            values = [v for t, v in mine if t == f"channel/{channel}"]
            heard_of = sum(v["samples"] for v in values)
            need(0 < heard_of <= 4000 and (heard_of == 4000 or remarks), f"{name} {channel}: {heard_of}, {remarks}")
            if heard_of < 4000:  # too little of this computer was left for that one; it said so
                continue
            mean = sum(v["samples"] * v["value"] for v in values) / 4000
            window = json.loads(bench.run("view", "own.h5", "--channel", channel, "--bins", "100", "--json"))["window"]
            need(abs(mean - window["mean"]) < 1e-3 * max(1.0, abs(mean)), f"{name} {channel}: {mean} and {window}")


def what_the_catalogue_holds(benches, catalogue, ask):
    listed = json.loads(benches[0].run("catalogue", "list", "--catalogue", catalogue, "--json"))["entries"]
    wanted = sorted(str(bench.folder / what) for bench in benches for what in ("run", "own.h5"))
    need(sorted(e["path"] for e in listed) == wanted, f"each once: {[e['path'] for e in listed]}")
    for bench, name in zip(benches, NAMES):
        (entry,) = [e for e in listed if e["path"] == str(bench.folder / "run")]
        need(entry["points"] == 6, f"{name}: {entry}")
        shown = json.loads(bench.run("catalogue", "show", "run", "--catalogue", catalogue, "--json"))
        need([p["number"] for p in shown["points_conducted"]] == [1, 2, 3, 4, 5, 6], f"{name}: its points")
        hits = json.loads(bench.run("catalogue", "search", name, "--catalogue", catalogue, "--json"))["hits"]
        need(str(bench.folder / "run") in [h["path"] for h in hits], f"{name}: found by its own name: {hits}")
        found = ask("SELECT sha256 FROM files JOIN entries ON entries.id = entry_id WHERE kind = 'run' AND name = "
                    f"'recording.h5' AND path = '{bench.folder / 'run'}'")
        need(found == [digest(bench.folder / "run/recording.h5")], f"{name}: its own recording")
    told = json.loads(benches[0].run("catalogue", "check", "--catalogue", catalogue, "--json"))
    need(told["disagreements"] == [], f"catalogue and files agree: {told}")


def at_once(original, catalogue, ask):
    broker = Broker(original.folder)
    try:
        benches = [bench_of(original, number, broker) for number in range(len(NAMES))]
        ear = Listener(broker, "windwright/#")
        # The campaigns publish nothing: a bench has one state at a time.
        processes = [started(bench, "record", "bench.toml", "--real-time", "--seconds", "4", "--set", f"fan_pct={fan}",
                             "--into", "own.h5", "--catalogue", catalogue, "--json")
                     for bench, fan in zip(benches, (70, 40, 20))]
        processes += [started(bench, "conduct", "campaign.toml", "--into", "run", "--catalogue", catalogue, "--publish",
                              "none", "--json") for bench in benches]
        told = []
        for process in processes:
            out, err = process.communicate(timeout=250)
            need(process.returncode in (0, 1) and "not entered" not in err, f"{process.args}: {err}")
            told.append(json.loads(out))
        what_the_broker_heard(benches, ear.end(), told[:len(benches)])
        what_the_catalogue_holds(benches, catalogue, ask)
    finally:
        broker.kill()


def main():
    original = Bench(*sys.argv[2:5])
    if sys.argv[1] == "sqlite":
        file = original.folder / "catalogue.sqlite"

        def ask(statement):
            with sqlite3.connect(file) as connection:
                return [str(row[0]) for row in connection.execute(statement)]

        at_once(original, str(file), ask)
    else:
        server = Server()
        try:
            at_once(original, server.url, server.ask)
        finally:
            server.stop()
    print("three benches at once, each for itself")


main()
