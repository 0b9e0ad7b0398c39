# SPDX-License-Identifier: Apache-2.0
"""Fifty troubles on the line between `windwright record` and instruments that nobody of this
project answers for: pymodbus, or scripts behind socat. Cuts, half-open connections, garbage
between the bytes, bytes that dribble: every sample in the file is one that the instrument gave,
every gap is in the file, and the run ends in order.

unsteady_links.py modbus|scpi|lines|serial PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import atexit
import json
import os
import pathlib
import random
import re
import select
import signal
import socket
import subprocess
import sys
import threading
import time

from peer import Bench, need, skip

HERE = pathlib.Path(__file__).parent
TROUBLES = 50
EVERY_S = 0.35
LONGEST_S = 120
CHANNELS = 9


class TroubledLine:
    """Carries bytes between whoever connects and a server, and does to them what lines do."""

    def __init__(self, target, seed):
        self.target = target
        self.random = random.Random(seed)
        self.made = {"cut": 0, "half open": 0, "garbage": 0, "dribble": 0}
        self.begun = threading.Event()  # what is cut before is a device that cannot be opened
        self.made_all = threading.Event()
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self.accept, daemon=True).start()

    def accept(self):
        while True:
            client, _ = self.listener.accept()
            threading.Thread(target=self.carry, args=(client,), daemon=True).start()

    def carry(self, client):
        try:
            server = socket.create_connection(("127.0.0.1", self.target), timeout=20)
        except OSError:
            client.close()
            return
        try:
            self.carry_both(client, server)
        except OSError:
            pass
        client.close()
        server.close()

    def carry_both(self, client, server):
        due = time.monotonic() + EVERY_S * self.random.uniform(0.4, 1.6)
        dribble_until = 0.0
        while True:
            if self.begun.is_set() and not self.made_all.is_set() and time.monotonic() > due:
                due = time.monotonic() + EVERY_S * self.random.uniform(0.4, 1.6)
                trouble = self.random.choice(sorted(self.made))
                self.made[trouble] += 1
                if sum(self.made.values()) >= TROUBLES:
                    self.made_all.set()
                if trouble == "cut":
                    return
                if trouble == "half open":
                    # The instrument has gone, and nobody tells the client.
                    server.close()
                    time.sleep(1.0)
                    return
                if trouble == "garbage":
                    client.sendall(self.random.randbytes(self.random.randint(1, 40)))
                if trouble == "dribble":
                    dribble_until = time.monotonic() + 0.2
            for ready in select.select([client, server], [], [], 0.01)[0]:
                data = ready.recv(4096)
                if not data:
                    return
                to = client if ready is server else server
                for at in range(len(data)):
                    if time.monotonic() >= dribble_until:
                        to.sendall(data[at:])
                        break
                    to.sendall(data[at:at + 1])
                    time.sleep(0.002)


class UnpluggedPort:
    """A serial port that socat makes, pulled out and put back at random."""

    def __init__(self, port, command, seed):
        self.port = port
        self.command = command
        self.random = random.Random(seed)
        self.made = {"unplugged": 0}
        self.begun = threading.Event()
        self.made_all = threading.Event()
        self.plug()
        atexit.register(lambda: os.killpg(self.socat.pid, signal.SIGKILL))
        threading.Thread(target=self.pull, daemon=True).start()

    def plug(self):
        self.socat = subprocess.Popen(["socat", f"PTY,link={self.port},raw,echo=0", self.command],
                                      stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                      start_new_session=True)
        until = time.monotonic() + 20
        while not self.port.exists() and time.monotonic() < until:
            time.sleep(0.01)

    def pull(self):
        self.begun.wait()
        while not self.made_all.is_set():
            time.sleep(EVERY_S * self.random.uniform(0.4, 1.6))
            os.killpg(self.socat.pid, signal.SIGKILL)
            self.socat.wait()
            self.port.unlink(missing_ok=True)
            self.made["unplugged"] += 1
            if self.made["unplugged"] >= TROUBLES:
                self.made_all.set()
            time.sleep(0.1 * self.random.random())
            self.plug()


def example(source, kind):
    """[device] and each name's `device` of that kind, from the page about devices."""
    page = (pathlib.Path(source) / "docs/devices.md").read_text()
    block = next(b for b in re.findall(r"```toml\n(.*?)```", page, re.S) if f'kind = "{kind}"' in b)
    device = block[block.index("[device]"):block.index("[[channel]]")]
    return device, dict(re.findall(r'name = "(\w+)"\n(device = .*)', block))


def wire(bench, source, kind, rate_hz, place):
    device, wiring = example(source, kind)
    device = re.sub(r"^(host|port|baud|longest_outage_s|timeout_s) = .*\n", "", device, flags=re.M)
    text = (bench.folder / "bench.toml").read_text()
    for name, line in wiring.items():
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\n{line}\n', 1)
    text = text.replace("sample_rate_hz = 1000", f"sample_rate_hz = {rate_hz}")
    (bench.folder / "bench.toml").write_text(f"{text}\n{device}{place}longest_outage_s = 20\n")


def wire_modbus(bench, port):
    client = bench.run("serve-device", "bench.toml", "--modbus-tcp", "1502", "--tables")
    client = client.replace("sample_rate_hz = 1000", "sample_rate_hz = 50")
    client = client[:client.index("[device]\n")]
    (bench.folder / "bench.toml").write_text(
        f'{client}[device]\nkind = "modbus_tcp"\nhost = "127.0.0.1"\nport = {port}\nunit = 17\n'
        "timeout_s = 0.15\nlongest_outage_s = 20\n")


def listening(command):
    """socat with the command behind every connection. Returns it and its port."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    server = subprocess.Popen(["socat", f"TCP-LISTEN:{port},bind=127.0.0.1,reuseaddr,fork", command],
                              stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return server, port
        except OSError:
            time.sleep(0.02)
    sys.exit("failed: socat does not listen")


def set_up(kind, bench, source):
    """Returns the line with its trouble, and what to kill behind it."""
    command = f"EXEC:'python3 {HERE / ('scpi_peer.py' if kind == 'scpi' else 'line_peer.py')} {bench.folder / 'commands'}'"
    if kind == "modbus":
        import logging

        import modbus_peers

        logging.disable(logging.CRITICAL)  # the peer tells of every cut
        line = TroubledLine(modbus_peers.server("pymodbus", CHANNELS).serve_tcp(), 3)
        wire_modbus(bench, line.port)
        return line, None
    if kind == "serial":
        port = bench.folder / "port"
        wire(bench, source, "lines", 100, f'port = "{port}"\nbaud = 115200\ntimeout_s = 0.5\n')
        return UnpluggedPort(port, command, 4), None
    server, port = listening(command)
    line = TroubledLine(port, 5)
    wire(bench, source, kind, 100 if kind == "lines" else 20,
         f'host = "127.0.0.1"\nport = {line.port}\ntimeout_s = 1.0\n')
    return line, server


def is_one_answer(kind, row):
    """Whether these counts of the nine channels are what the instrument gives at one time."""
    if kind == "modbus":
        return all(count - row[0] == 1000 * k for k, count in enumerate(row))
    if kind == "scpi":
        return row == SCPI_ROW
    return all(count == row[0] * (k + 1) % 65536 for k, count in enumerate(row))


# +1 to +8 V and -2.5 V in counts of the demo bench's converters.
SCPI_ROW = None


def scpi_row(bench):
    volts = [1, 2, 3, 4, 5, 6, 7, 8, -2.5]
    return [min(2**bits - 1, max(0, int((volt - lower) / (upper - lower) * 2**bits)))
            for volt, (_, (lower, upper, bits)) in zip(volts, bench.channels())]


def main():
    global SCPI_ROW
    try:
        import h5py
    except ImportError:
        skip("python3-h5py is not installed")
    if subprocess.run(["which", "socat"], capture_output=True).returncode != 0:
        skip("socat is not installed")
    kind, program, source, scratch = sys.argv[1:]
    bench = Bench(program, source, scratch)
    bench.without_chain_and_tower()
    line, server = set_up(kind, bench, source)
    SCPI_ROW = scpi_row(bench)
    process = subprocess.Popen([program, "record", "bench.toml", "--seconds", str(LONGEST_S), "--into", "all.h5", "--json"],
                               cwd=bench.folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    while process.poll() is None and not line.made_all.is_set():
        if (bench.folder / "all.h5").exists():
            line.begun.set()
        time.sleep(0.05)
    time.sleep(2.5 if process.poll() is None else 0)  # until it is well again
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    if server:
        os.killpg(server.pid, signal.SIGKILL)
    need(process.returncode == 1 and sum(line.made.values()) >= TROUBLES,
         f"interrupted after {TROUBLES} troubles, not exit {process.returncode} after {line.made}: {err}")
    told = json.loads(out)
    with h5py.File(bench.folder / "all.h5", "r") as recording:
        device = next(iter(recording["streams"].values()))
        columns = [device[name][...] for name, _ in bench.channels()]
        rows = list(zip(*(column.tolist() for column in columns)))
    need(len(rows) == told["samples"] > 200, f"samples, not {told}")
    wrong = [i for i, row in enumerate(rows) if not is_one_answer(kind, list(row))]
    need(not wrong, f"every sample one answer of the instrument, not sample {wrong[:3]}: {[rows[i] for i in wrong[:3]]}")
    need(told["gaps"] >= TROUBLES // 5, f"the gaps in the file, not {told['gaps']} after {line.made}")
    print(f"{line.made}: {len(rows)} samples, all of the instrument, {told['gaps']} gaps")


main()
