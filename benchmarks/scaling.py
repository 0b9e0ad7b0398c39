#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""What one computer holds: benches recorded at once, messages through a broker, entries in a catalogue.

Use: benchmarks/scaling.py [recorders] [broker] [catalogue]     all three without a word
     SCALING_SECONDS=20 SCALING_ENTRIES=100000                  length of a recording, size of the catalogue
Needs mosquitto with its clients for the broker and PostgreSQL's server for the catalogue; what is missing is left out.
Not a test: it asserts that nothing was lost, and prints what it took. docs/scaling.md reckons with these figures.
"""

import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import time

from sixteen_channels import sixteen_channels

ROOT = pathlib.Path(__file__).resolve().parent.parent
PROGRAM = pathlib.Path(os.environ.get("WINDWRIGHT", ROOT / "build/release/bin/windwright"))
sys.path.insert(0, str(ROOT / "tests/peers"))
SECONDS = float(os.environ.get("SCALING_SECONDS", "20"))
ENTRIES = int(os.environ.get("SCALING_ENTRIES", "100000"))
TICKS = os.sysconf("SC_CLK_TCK")


def machine():
    cpu = re.search(r"model name\s*: (.*)", pathlib.Path("/proc/cpuinfo").read_text())
    memory = int(re.search(r"MemTotal:\s+(\d+)", pathlib.Path("/proc/meminfo").read_text()).group(1)) / 1e6
    return f"{cpu.group(1) if cpu else 'unknown CPU'}, {os.cpu_count()} cores, {memory:.1f} GB; load {os.getloadavg()[0]:.1f}"


def run(folder, *words):
    subprocess.run([PROGRAM, *words], cwd=folder, check=True, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL)


def cpu_seconds(pid):
    fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


# ---------------------------------------------------------------- recorders

def prepared(folder, name, change, seconds):
    """A calibrated bench whose device plays a recording of itself again and again, so that no simulation is counted."""
    bench = folder / name
    shutil.copytree(ROOT / "examples/saltmarsh-college", bench)
    file = bench / "bench.toml"
    file.write_text(change(file.read_text()))
    run(bench, "calibrate", "bench.toml")
    run(bench, "ready", "bench.toml", "--prove-interlocks")
    run(bench, "record", "bench.toml", "--seconds", str(seconds), "--set", "fan_pct=70", "--set", "load_selector=rheostat",
        "--set", "rheostat_ohm=15", "--into", "played.h5")
    file.write_text(file.read_text() + '\n[device]\nkind = "replay"\nrecording = "played.h5"\nrepeat = true\n')
    return bench


def bytes_an_hour(bench, seconds):
    """Of a recording long enough that its first chunks do not count."""
    run(bench, "record", "bench.toml", "--seconds", str(seconds), "--into", "long.h5")
    size = (bench / "long.h5").stat().st_size
    (bench / "long.h5").unlink()
    return size / seconds * 3600


def at_once(bench, count, broker, channels, rate, hour):
    publish = ""
    if broker:
        publish = f'\n[publish]\nhost = "127.0.0.1"\nport = {broker.port}\nbench = "BENCH"\n'
    text = (bench / "bench.toml").read_text()
    processes = []
    for i in range(count):
        (bench / f"bench-{i}.toml").write_text(text + publish.replace("BENCH", f"bench-{i}"))
        processes.append(subprocess.Popen(
            [PROGRAM, "record", f"bench-{i}.toml", "--seconds", str(SECONDS), "--real-time", "--into", f"out-{i}.h5",
             "--json"], cwd=bench, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL, text=True))
    before = cpu_seconds(broker.process.pid) if broker else 0.0
    told, used, memory = [], 0.0, 0
    for process in processes:
        told.append(json.loads(process.stdout.read()))
        _, status, usage = os.wait4(process.pid, 0)
        assert status == 0, status
        used += usage.ru_utime + usage.ru_stime
        memory = max(memory, usage.ru_maxrss)
    assert all(t["samples"] == round(SECONDS * rate) and t["gaps"] == 0 for t in told), told
    took = max(t["took_s"] for t in told)
    messages = sum((t["publish"] or {"messages": 0})["messages"] for t in told)
    brokers = (cpu_seconds(broker.process.pid) - before) / SECONDS if broker else 0.0
    for i in range(count):
        (bench / f"out-{i}.h5").unlink()
    late = "" if took < 1.02 * SECONDS + 0.5 else f"  NOT in time: {took:.1f} s"
    print(f"{count:4} x {channels:2} channels x {rate:6} S/s: {used / SECONDS:6.3f} cores, broker {brokers:.3f}; "
          f"{memory / 1e3:5.0f} MB each at most; {count * hour / 1e9:7.2f} GB an hour; "
          f"{messages / SECONDS:6.0f} messages/s; at most {max(t['most_blocks_waiting'] for t in told)} of 64 blocks waited"
          f"{late}", flush=True)


def recorders(folder, broker):
    print("\nRecorded at once, each by a program of its own, in real time, no sample missed:")
    small = prepared(folder, "small", lambda text: text, 30)
    hour = bytes_an_hour(small, 1200)
    for count in (1, 4, 16, 32, 64):
        at_once(small, count, broker, 14, 1000, hour)
    shutil.rmtree(small)
    fast = prepared(folder, "fast", lambda text: sixteen_channels(text, 50_000), 30)
    hour = bytes_an_hour(fast, 60)
    for count in (1, 2, 4):
        at_once(fast, count, broker, 16, 50_000, hour)
    shutil.rmtree(fast)


# ------------------------------------------------------------------- broker

PAYLOAD = json.dumps({"value": 7.2131233215, "u": 0.032430344412110304, "dof": 107597.96, "unit": "m s-1", "of": "mean",
                      "calibrated": True, "deviation": 0.13465262601053046, "lowest": 6.371033191680908,
                      "highest": 6.925175666809082, "samples": 1000, "time": "2026-03-02T09:00:01.800Z", "age_s": 0.0032})


def through(broker, publishers, readers, each):
    """Retained, at least once, every one to every reader."""
    total = publishers * each
    listening = [subprocess.Popen(broker.words("mosquitto_sub", "-q", "1", "-t", "load/#", "-C", str(total)),
                                  stdout=subprocess.DEVNULL) for _ in range(readers)]
    time.sleep(0.5)
    lines = broker.folder / "lines"
    lines.write_text((PAYLOAD + "\n") * each)
    before, begun = cpu_seconds(broker.process.pid), time.monotonic()
    sending = []
    for i in range(publishers):
        with open(lines) as text:
            sending.append(subprocess.Popen(broker.words("mosquitto_pub", "-q", "1", "-r", "-l", "-t", f"load/{i}/value"),
                                            stdin=text))
    assert all(p.wait() == 0 for p in sending)
    taken = time.monotonic() - begun
    assert all(p.wait(timeout=120) == 0 for p in listening)
    took = time.monotonic() - begun
    spent = cpu_seconds(broker.process.pid) - before
    print(f"{publishers:3} publishers, {readers} readers: {total / taken:7.0f} messages/s taken, {total / took:7.0f}/s "
          f"handed to all; broker {1e6 * spent / total:.0f} us of CPU a message", flush=True)


def broker_alone(broker):
    print(f"\nThrough one broker, {len(PAYLOAD)} bytes, QoS 1, retained (the clients share the cores with it):")
    for publishers, readers in ((1, 1), (4, 1), (16, 1), (16, 4)):
        through(broker, publishers, readers, 20_000 // publishers)


# ---------------------------------------------------------------- catalogue

FILL = """
CREATE TEMP TABLE example AS SELECT * FROM entries WHERE kind = 'run';
CREATE TEMP TABLE made AS SELECT nextval('entries_id_seq') AS id, n FROM generate_series(1, {count}) AS n;
INSERT INTO entries SELECT made.id, kind, host, path || '-' || n, title, bench || ' ' || n % 100, operator_name, question,
  answer, software_version, start_utc, samples, sample_rate_hz, gaps, points, complete, full_text FROM example, made;
INSERT INTO files SELECT made.id, name, bytes, sha256 FROM files, made WHERE entry_id = (SELECT id FROM example);
INSERT INTO points SELECT made.id, number, settings, points.start_utc, settled, first_sample, points.samples
  FROM points, made WHERE entry_id = (SELECT id FROM example);
INSERT INTO certificates SELECT made.id, channel, model, date_utc, valid_until_utc, standard, sha256
  FROM certificates, made WHERE entry_id = (SELECT id FROM example);
INSERT INTO words SELECT made.id, to_tsvector('simple', full_text || ' number' || n || ' bench' || n % 100)
  FROM example, made;
VACUUM ANALYZE;
"""


def seconds_of(folder, *words):
    begun = time.monotonic()
    ended = subprocess.run([PROGRAM, *words], cwd=folder, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True)
    assert ended.returncode in (0, 1), words
    return time.monotonic() - begun, ended.stdout


def catalogue(folder, server):
    from peer import CAMPAIGN

    url = server.url
    bench = folder / "catalogued"
    shutil.copytree(ROOT / "examples/saltmarsh-college", bench)
    run(bench, "calibrate", "bench.toml")
    run(bench, "ready", "bench.toml", "--prove-interlocks")
    (bench / "campaign.toml").write_text(CAMPAIGN)
    subprocess.run([PROGRAM, "conduct", "campaign.toml", "--into", "run", "--reason", "a benchmark"], cwd=bench, stdout=subprocess.DEVNULL)
    run(bench, "catalogue", "add", "run", "--catalogue", url)
    begun = time.monotonic()
    script = folder / "fill.sql"
    script.write_text(FILL.format(count=ENTRIES))
    script.chmod(0o644)
    folder.chmod(0o755)
    server.run("psql", "-h", server.folder, "-U", "wind", "-q", "-v", "ON_ERROR_STOP=1", "-f", script, "wind",
               longest_s=1800)
    size = int(server.ask("SELECT pg_database_size('wind')")[0])
    print(f"\nCatalogue in PostgreSQL, {ENTRIES} runs of 6 points and 9 certificates ({time.monotonic() - begun:.0f} s to fill "
          f"in SQL): {size / 1e6:.0f} MB, {size / ENTRIES / 1e3:.1f} kB a run")
    for what, words in (("a word that one run has", ("search", f"number{ENTRIES // 2}")),
                        ("two words, one the beginning of what 11 in 100 have", ("search", "bench7", "pitch")),
                        ("one entry with its points", ("show", "run"))):
        times = sorted(seconds_of(bench, "catalogue", *words, "--catalogue", url, "--json")[0] for _ in range(5))
        hits = seconds_of(bench, "catalogue", *words, "--catalogue", url, "--json")[1].count('"path"')
        print(f"  {what}: {1e3 * times[2]:.0f} ms ({hits} found; the whole program, median of 5)", flush=True)
    each = 40
    run(bench, "record", "bench.toml", "--seconds", "1", "--into", "one.h5")
    for writers in (1, 2, 4):
        names = [[f"copy-{writers}-{w}-{i}.h5" for i in range(each)] for w in range(writers)]
        for name in sum(names, []):
            shutil.copyfile(bench / "one.h5", bench / name)
        begun = time.monotonic()
        working = [subprocess.Popen([PROGRAM, "catalogue", "add", *mine, "--catalogue", url], cwd=bench,
                                    stdout=subprocess.DEVNULL) for mine in names]
        assert all(w.wait() == 0 for w in working)
        took = time.monotonic() - begun
        print(f"  {writers} writers at once: {writers * each / took:.0f} entries/s", flush=True)
    count = int(server.ask("SELECT COUNT(*) FROM entries")[0])
    assert count == ENTRIES + 1 + each * 7, count


def main():
    wanted = sys.argv[1:] or ["recorders", "broker", "catalogue"]
    print(machine())
    folder = pathlib.Path(tempfile.mkdtemp(prefix="scaling."))
    broker = server = None
    try:
        if shutil.which("mosquitto_pub") and pathlib.Path("/usr/sbin/mosquitto").exists():
            from broker import Broker
            broker = Broker(folder, ["allow_anonymous true", "max_queued_messages 0"])
        if "recorders" in wanted:
            recorders(folder, broker)
        if "broker" in wanted and broker:
            broker_alone(broker)
        if "catalogue" in wanted:
            from database import Server
            server = Server()
            catalogue(folder, server)
        print(f"load at the end {os.getloadavg()[0]:.1f}")
    finally:
        if broker:
            broker.kill()
        if server:
            server.stop()
        shutil.rmtree(folder)


main()
