# SPDX-License-Identifier: Apache-2.0
"""Servers that nobody here wrote as the instrument that `windwright record` reads.

modbus_server.py pymodbus|jsmodbus tcp|rtu PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import json
import sys

import modbus_peers
from peer import Bench, need

CHANNELS = 9
SAMPLES = 25
HEARTBEAT, RESET = 100, 101


def main():
    peer, kind = sys.argv[1:3]
    bench = Bench(*sys.argv[3:])
    server = modbus_peers.server(peer, CHANNELS)
    client = bench.run("serve-device", "bench.toml", "--modbus-tcp", "1502", "--tables")
    client = client.replace("sample_rate_hz = 1000", "sample_rate_hz = 50")
    tables = client.index("[device]\n")
    if kind == "tcp":
        wiring = client[tables:].replace("port = 1502", f"port = {server.serve_tcp()}")
    else:
        wiring = (f'[device]\nkind = "modbus_rtu"\nport = "{server.serve_rtu()}"\n'
                  f"heartbeat_address = {HEARTBEAT}\nreset_address = {RESET}\n")
    wiring += "unit = 17\ntimeout_s = 5\n"
    (bench.folder / "client.toml").write_text(client[:tables] + wiring)

    told = json.loads(bench.run("record", "client.toml", "--reason", "a test", "--seconds", str(SAMPLES / 50), "--set",
                                "load_selector=rheostat", "--set", "fan_pct=60", "--into",
                                "peer.h5", "--json"))
    # A busy machine may be late at a tick: then a sample is a gap's first, and one more comes.
    samples = told["samples"]
    need(samples >= SAMPLES and (told["gaps"] > 0 or samples == SAMPLES), f"{SAMPLES} samples, not {told}")
    server.stop()
    counts = bench.counts("peer.h5", samples)
    for k, channel in enumerate(counts):
        rise = [value - 1000 * k for value in channel]
        # The first answer is what connecting asks for; each sample is asked for once.
        need(rise == list(range(2, samples + 2)), f"channel {k}: {rise}")

    beats = [value for address, value in server.written if address == HEARTBEAT]
    need(beats == list(range(1, samples + 2)), f"a beat with every sample, not {beats}")
    need([value for address, value in server.written if address == RESET] == [1], "one reset")
    commands = [(address, value) for address, value in server.written if address < HEARTBEAT]
    need(commands == [(1, 1), (0, 6000), (0, 0)], f"load, fan, and fan off, not {commands}")


main()
