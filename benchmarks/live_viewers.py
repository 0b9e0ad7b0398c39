#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Many live viewers of one bench on the same computer: how late, how much of a core, how much memory; and one that has stalled.

live_viewers.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER [VIEWERS] [SECONDS]

Every viewer sees all channels, 60 s in 600 bins. A message is late by the time from the oldest sample that is new in it (the
server's blocks are 0.05 s long) to its receipt: from the arrival of the newest sample, which the envelope states, plus one block.
The limits are those of the project: 20 messages a second each, p99 below 100 ms, below 60 % of a core, below 300 MB.
"""

import asyncio
import json
import os
import pathlib
import signal
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "tests/peers"))
from live import WebSocket  # noqa: E402
from peer import Bench  # noqa: E402

BLOCK_S = 0.05


def log_in(port):
    import http.client
    connection = http.client.HTTPConnection("127.0.0.1", port)
    connection.request("POST", "/api/v1/session", json.dumps({"name": "viewer"}), {"Content-Type": "application/json"})
    return json.loads(connection.getresponse().read())["token"]


class Viewer(asyncio.Protocol):
    def __init__(self, late):
        self.late = late
        self.left = bytearray()
        self.messages = 0
        self.bytes = 0

    def data_received(self, data):
        now = time.time_ns()
        self.bytes += len(data)
        self.left += data
        while len(self.left) >= 2:
            size, head = self.left[1] & 0x7F, 2
            if size == 126:
                size, head = int.from_bytes(self.left[2:4], "big"), 4
            elif size == 127:
                size, head = int.from_bytes(self.left[2:10], "big"), 10
            if len(self.left) < head + size:
                return
            if self.left[0] & 15 == 2:
                sent = int.from_bytes(self.left[head + 32:head + 40], "little")
                self.late.append((now - sent) * 1e-9)
                self.messages += 1
            del self.left[:head + size]


def of_process(pid):
    fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    ticks = os.sysconf("SC_CLK_TCK")
    for line in pathlib.Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            memory = int(line.split()[1]) / 1024
    return (int(fields[11]) + int(fields[12])) / ticks, memory


async def watch(port, pid, viewers, seconds):
    token = log_in(port)
    late = []
    loop = asyncio.get_running_loop()
    everybody = []
    subscribe = {"type": "subscribe", "bench": "bench", "channels": [], "window_s": 60, "bins": 600}
    for _ in range(viewers):
        socket = WebSocket(port, token)
        socket.send(subscribe)
        socket.socket.setblocking(False)
        _, viewer = await loop.connect_accepted_socket(lambda: Viewer(late), socket.socket)
        everybody.append(viewer)
    stalled = WebSocket(port, token)  # asks, and never reads
    stalled.send(subscribe)
    await asyncio.sleep(2.0)
    late.clear()
    for viewer in everybody:
        viewer.messages = 0
    cpu, _ = of_process(pid)
    begun = time.monotonic()
    await asyncio.sleep(seconds)
    took = time.monotonic() - begun
    cpu_now, memory = of_process(pid)
    late.sort()
    slowest = min(viewer.messages for viewer in everybody) / took
    total = sum(viewer.messages for viewer in everybody) / took / viewers
    at = {part: 1e3 * (late[int(part * (len(late) - 1))] + BLOCK_S) for part in (0.5, 0.99, 1.0)}
    print(json.dumps({
        "viewers": viewers, "seconds": round(took, 1), "messages_per_s_and_viewer": round(total, 2),
        "messages_per_s_of_the_slowest": round(slowest, 2), "median_ms": round(at[0.5], 1), "p99_ms": round(at[0.99], 1),
        "longest_ms": round(at[1.0], 1), "server_pct_of_a_core": round(100 * (cpu_now - cpu) / took, 1),
        "server_MB": round(memory, 1), "load": os.getloadavg()[0]}, indent=1))


program, source, scratch = sys.argv[1:4]
viewers = int(sys.argv[4]) if len(sys.argv) > 4 else 200
seconds = float(sys.argv[5]) if len(sys.argv) > 5 else 20.0
bench = Bench(program, source, os.path.join(scratch, "bench"))
bench.run("calibrate", "bench.toml")
process, told = bench.start("serve", "--bench", "bench.toml", "--listen", "127.0.0.1:0", "--runs", "../runs", "--json")
try:
    asyncio.run(watch(told["port"], process.pid, viewers, seconds))
finally:
    process.send_signal(signal.SIGTERM)
    process.wait(timeout=60)
