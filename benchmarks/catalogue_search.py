#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Full-text search in a catalogue of many runs, in SQLite and in PostgreSQL: the time of the whole program.

One run of the demo's bench is conducted and entered; the others are copies of its rows made in SQL. Asked are a word that
one run has, and two words of which 11 in 100 runs have both. The same of a fifth of the runs shows whether the time grows
with the catalogue. Limit: below 100 ms in the larger one, from start to end of the program, median of 9.
Use: benchmarks/catalogue_search.py [RUNS]     100000; PostgreSQL's server is left out where it is missing
"""

import os
import pathlib
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parent.parent
PROGRAM = pathlib.Path(os.environ.get("WINDWRIGHT", ROOT / "build/release/bin/windwright"))
sys.path.insert(0, str(ROOT / "tests/peers"))
LIMIT_S = 0.1
COLUMNS = ("kind, host, title, operator_name, question, answer, software_version, start_utc, samples, sample_rate_hz, gaps, "
           "points, complete, full_text")

SQLITE = f"""
CREATE TEMP TABLE made AS WITH RECURSIVE n(n) AS (SELECT {{first}} UNION ALL SELECT n + 1 FROM n WHERE n < {{last}})
  SELECT n FROM n;
INSERT INTO entries (id, path, bench, {COLUMNS}) SELECT 1000000 + n, path || '-' || n, bench || ' ' || (n % 100), {COLUMNS}
  FROM entries, made WHERE id = 1;
INSERT INTO words (rowid, body) SELECT 1000000 + n, lower(full_text) || ' number' || n || ' bench' || (n % 100)
  FROM entries, made WHERE id = 1;
DROP TABLE made;
"""
POSTGRESQL = f"""
CREATE TEMP TABLE made AS SELECT generate_series({{first}}, {{last}}) AS n;
INSERT INTO entries (id, path, bench, {COLUMNS}) SELECT 1000000 + n, path || '-' || n, bench || ' ' || (n % 100), {COLUMNS}
  FROM entries, made WHERE id = 1;
INSERT INTO words SELECT 1000000 + n, to_tsvector('simple', full_text || ' number' || n || ' bench' || (n % 100))
  FROM entries, made WHERE id = 1;
VACUUM ANALYZE;
"""


def run(folder, *words):
    subprocess.run([PROGRAM, *words], cwd=folder, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                   stdin=subprocess.DEVNULL)


def search_s(folder, location, *words):
    begun = time.monotonic()
    ended = subprocess.run([PROGRAM, "catalogue", "search", *words, "--catalogue", location, "--json"], cwd=folder,
                           stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True)
    assert ended.returncode == 0, ended
    return time.monotonic() - begun, ended.stdout.count('"path"')


def ask(folder, location, name, runs):
    held = True
    for what, words, least in (("a word that one run has", [f"number{runs // 2}"], 1),
                               ("two words, both in 11 of 100 runs", ["bench7", "pitch"], 11)):
        times, shown = zip(*(search_s(folder, location, *words) for _ in range(9)))
        median = sorted(times)[4]
        assert min(shown) >= least, shown
        print(f"{name}, {runs} runs: {what}: {1e3 * median:.0f} ms ({1e3 * min(times):.0f} to {1e3 * max(times):.0f}), "
              f"{shown[0]} shown", flush=True)
        held = held and median < LIMIT_S
    return held


def main():
    from peer import CAMPAIGN
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    folder = pathlib.Path(tempfile.mkdtemp(prefix="catalogue_search."))
    held, server = True, None
    try:
        bench = folder / "bench"
        shutil.copytree(ROOT / "examples/saltmarsh-college", bench)
        run(bench, "calibrate", "bench.toml")
        (bench / "campaign.toml").write_text(CAMPAIGN)
        subprocess.run([PROGRAM, "conduct", "campaign.toml", "--into", "run", "--reason", "a benchmark"], cwd=bench, stdout=subprocess.DEVNULL,
                       stderr=subprocess.DEVNULL)
        file = bench / "many.sqlite"
        run(bench, "catalogue", "add", "run", "--catalogue", file)
        sizes = (runs // 5, runs)
        for first, last in ((1, sizes[0]), (sizes[0] + 1, sizes[1])):
            with sqlite3.connect(file) as database:
                database.executescript(SQLITE.format(first=first, last=last))
            database.close()
            ok = ask(bench, file, "SQLite", last)
            held = ok if last == runs else held
        if not list(pathlib.Path("/usr/lib/postgresql").glob("*/bin/initdb")):
            print("PostgreSQL is left out: there is no server")
        else:
            from database import Server
            server = Server()
            run(bench, "catalogue", "add", "run", "--catalogue", server.url)
            for first, last in ((1, sizes[0]), (sizes[0] + 1, sizes[1])):
                script = server.folder / "fill.sql"
                script.write_text(POSTGRESQL.format(first=first, last=last))
                script.chmod(0o644)
                server.run("psql", "-h", server.folder, "-U", "wind", "-q", "-v", "ON_ERROR_STOP=1", "-f", script, "wind",
                           longest_s=1800)
                ok = ask(bench, server.url, "PostgreSQL", last)
                held = held and (ok or last != runs)
        print("held" if held else "NOT held")
    finally:
        if server:
            server.stop()
        shutil.rmtree(folder)
    return 0 if held else 1


sys.exit(main())
