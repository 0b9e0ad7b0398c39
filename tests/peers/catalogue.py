#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The catalogue in SQLite and in a PostgreSQL server of its own: the same answers, and agreement with the files.

catalogue.py sqlite|postgresql PROGRAM SOURCE_FOLDER SCRATCH_FOLDER

PostgreSQL's own programs (package postgresql) make a server in a folder of their own, reached by a Unix socket; as root
they run as the user postgres. The SQLite file is read back with Python's sqlite3, the database with psql.
"""

import hashlib
import json
import os
import pathlib
import shutil
import sqlite3
import subprocess
import sys

from database import Server
from peer import Bench, CAMPAIGN, need

NOTE = "The guard's hinge squeaked: repeat point 2"


def prepare(bench):
    """A run of six points and a recording."""
    bench.run("calibrate", "bench.toml")
    bench.run("ready", "bench.toml", "--prove-interlocks")
    (bench.folder / "campaign.toml").write_text(CAMPAIGN)
    bench.run("record", "bench.toml", "--seconds", "2", "--set", "fan_pct=60", "--into", "a.h5")
    # As a run ends: with an answer (0) or without (1).
    ended = subprocess.run([bench.program, "conduct", "campaign.toml", "--into", "run"], cwd=bench.folder,
                           capture_output=True, text=True, timeout=120)
    need(ended.returncode in (0, 1), f"a run: {ended.stderr}")


def answers(bench, catalogue, question):
    told = json.loads(bench.run("catalogue", *question, "--catalogue", catalogue, "--json"))
    for entry in told.get("entries", []) + told.get("hits", []):
        entry.pop("host")
    return told


def scenario(bench, catalogue, ask):
    def run(*words, exit_code=0):
        return json.loads(bench.run("catalogue", *words, "--catalogue", catalogue, "--json", exit_code=exit_code))

    run("add", "a.h5", "run")
    listed = run("list")["entries"]
    need([(e["kind"], e["points"] > 0) for e in listed].count(("run", True)) == 1 and len(listed) == 2, f"two: {listed}")
    paths = [hit["path"] for hit in run("search", "BLADES", "pit")["hits"]]
    need(paths == [str(bench.folder / "run")], f"the run by two words of its question, not {paths}")
    need(run("search", "squeaked", exit_code=1)["hits"] == [], "nothing yet")
    run("note", "run", NOTE, "--by", "Group 4, bench B")
    hits = run("search", "squeak", "hinge")["hits"]
    need(len(hits) == 1 and hits[0]["line"] == NOTE, f"the note: {hits}")
    need(len(run("search", "group", "4")["hits"]) == 1, "who wrote it")
    both = run("search", "rotor", "--most", "1")
    need(len(both["hits"]) == 1 and both["found"] == 2 and "entries" not in both, f"one of two: {both}")
    run("add", "run")  # again: its number and its notes stay
    listed = run("list")["entries"]
    need([n["text"] for e in listed for n in e["notes"]] == [NOTE], f"the note stays: {listed}")

    shown = run("show", "run")
    need([p["number"] for p in shown["points_conducted"]] == [1, 2, 3, 4, 5, 6], f"its points: {shown}")
    need("rheostat_ohm = 15" in [s for p in shown["points_conducted"] for s in p["settings"].split(", ")], "settings")
    need({c["model"] for c in shown["certificates"]} == {"line"} and len(shown["certificates"]) == 14, "certificates")

    # What is in the tables, asked for without this program.
    recording = bench.folder / "run/recording.h5"
    digest = hashlib.sha256(recording.read_bytes()).hexdigest()
    found = ask("SELECT sha256, bytes FROM files JOIN entries ON entries.id = entry_id WHERE kind = 'run' AND name = "
                "'recording.h5'")
    need(found == [f"{digest}|{recording.stat().st_size}"], f"the recording's hash: {found}")
    need(ask("SELECT COUNT(*) FROM points") == [str(listed[0]["points"] + listed[1]["points"])], "every point")
    need(ask("SELECT COUNT(*) FROM certificates") == ["28"], "every certificate of both")
    need(ask("SELECT number FROM catalogue_schema ORDER BY number") == ["1", "2"], "every migration once")
    people = ask("SELECT name, role FROM people LEFT JOIN took_part ON person_id = people.id ORDER BY name")
    need(people == ["Bench crew, Saltmarsh College|operator", "Group 4, bench B|"], f"people: {people}")

    need(run("check")["disagreements"] == [], "agreement")
    logbook = bench.folder / "run/logbook.jsonl"
    text = logbook.read_bytes()
    logbook.write_bytes(text.replace(b"settle", b"SETTLE", 1))
    wrong = run("check", exit_code=1)["disagreements"]
    need([w["what"] for w in wrong] == ["logbook.jsonl has changed, at the same length"], f"a changed file: {wrong}")
    logbook.write_bytes(text)
    os.rename(bench.folder / "a.h5", bench.folder / "gone.h5")
    wrong = run("check", exit_code=1)["disagreements"]
    need([w["what"] for w in wrong] == ["is gone"], f"a recording that is gone: {wrong}")
    os.rename(bench.folder / "gone.h5", bench.folder / "a.h5")
    need(run("check")["looked_at"] == 2, "agreement again")


def by_themselves(bench, catalogue):
    """conduct and record enter what they make in the catalogue of the bench's folder."""
    bench.run("record", "bench.toml", "--seconds", "1", "--into", "b.h5")
    bench.run("record", "bench.toml", "--seconds", "1", "--into", "c.h5", "--catalogue", "none")
    told = json.loads(bench.run("catalogue", "list", "--json"))
    need(str(bench.folder / "b.h5") in [e["path"] for e in told["entries"]], "the recording of a bench with a catalogue")
    need(str(bench.folder / "c.h5") not in [e["path"] for e in told["entries"]], "none means none")
    told = json.loads(bench.run("catalogue", "check", "--json"))
    wanted = [] if catalogue.startswith("postgresql") else [str(bench.folder / "c.h5")]
    need(told["not_entered"] == wanted and told["disagreements"] == [], f"what is not entered: {told}")


def side_by_side(bench, catalogue):
    """Eight programs at once, on a catalogue that none of them finds there."""
    names = [f"copy-{i}.h5" for i in range(8)]
    for name in names:
        shutil.copyfile(bench.folder / "a.h5", bench.folder / name)
    programs = [subprocess.Popen([bench.program, "catalogue", "add", name, "run", "--catalogue", catalogue],
                                 cwd=bench.folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
                for name in names]
    for program in programs:
        told = program.communicate(timeout=60)[1]
        need(program.returncode == 0, f"an entry beside others: {told}")
    told = json.loads(bench.run("catalogue", "list", "--catalogue", catalogue, "--json"))
    need(sorted(pathlib.Path(e["path"]).name for e in told["entries"]) == sorted(names + ["run"]), f"each once: {told}")
    for name in names:
        (bench.folder / name).unlink()


def sqlite_asks(file):
    def ask(statement):
        with sqlite3.connect(file) as connection:
            return ["|".join("" if v is None else str(v) for v in row) for row in connection.execute(statement)]
    return ask


def main():
    wanted = sys.argv[1]
    server = Server() if wanted == "postgresql" else None
    try:
        bench = Bench(*sys.argv[2:5])
        prepare(bench)
        file = bench.folder / "catalogue.sqlite"
        if wanted == "sqlite":
            side_by_side(bench, str(bench.folder / "beside.sqlite"))
            scenario(bench, str(file), sqlite_asks(file))
            by_themselves(bench, str(file))
        else:
            server.run("createdb", "-h", server.folder, "-U", "wind", "beside")
            side_by_side(bench, server.url.replace("/wind?", "/beside?"))
            scenario(bench, server.url, server.ask)
            (bench.folder / "catalogue.url").write_text(server.url + "\n")
            by_themselves(bench, server.url)
            for path in ("run", "a.h5", "b.h5"):
                bench.run("catalogue", "add", path, "--catalogue", str(file))
            bench.run("catalogue", "note", "run", NOTE, "--by", "Group 4, bench B", "--catalogue", str(file))
            for question in (("search", "wind"), ("search", "three", "blades"), ("search", "point", "2"),
                             ("search", "2026"), ("search", "rheo")):
                mine, theirs = (answers(bench, c, question)["hits"] for c in (str(file), server.url))
                for each in (mine, theirs):
                    for hit in each:
                        hit.pop("id")
                    each.sort(key=lambda hit: hit["path"])
                need(mine == theirs and mine, f"{question}: {mine} and {theirs}")
        print(f"entered, found, noted, checked in {wanted}")
    finally:
        if server:
            server.stop()


main()
