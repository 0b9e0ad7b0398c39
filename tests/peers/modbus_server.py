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
    bench.without_chain_and_tower()
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
        # The first answers are what connecting asks for and what is judged before a start; each sample is
        # asked for once.
        need(rise == list(range(rise[0], rise[0] + samples)), f"channel {k}: {rise}")

    beats = [value for address, value in server.written if address == HEARTBEAT]
    need(len(beats) > samples and beats == list(range(1, len(beats) + 1)), f"a beat with every sample, not {beats}")
    need([value for address, value in server.written if address == RESET] == [1], "one reset")
    commands = [(address, value) for address, value in server.written if address < HEARTBEAT]
    # The fan is taken down, and the safe state after it says so again.
    need(commands == [(1, 1), (0, 6000), (0, 0), (0, 0)], f"load, fan, and fan off, not {commands}")


main()
