# SPDX-License-Identifier: Apache-2.0
"""pymodbus, which nobody here wrote, as the instrument that `windwright record` reads.

modbus_server.py tcp|rtu PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import asyncio
import json
import os
import select
import sys
import threading
import tty

from peer import Bench, need, need_pymodbus

need_pymodbus()
from pymodbus.datastore import (ModbusSequentialDataBlock, ModbusServerContext,
                                ModbusSlaveContext)
from pymodbus.factory import ServerDecoder
from pymodbus.framer.rtu_framer import ModbusRtuFramer
from pymodbus.server.async_io import ModbusTcpServer

CHANNELS = 9
SAMPLES = 25
HEARTBEAT, RESET = 100, 101


class Rising(ModbusSequentialDataBlock):
    """Channel k shows 1000 k + n the n-th time that it is asked for."""

    def __init__(self):
        super().__init__(0, [0] * CHANNELS)
        self.asked = 0

    def getValues(self, address, count=1):
        self.asked += 1
        return [1000 * k + self.asked for k in range(address, address + count)]


class Kept(ModbusSequentialDataBlock):
    """Remembers in which order what was written."""

    def __init__(self):
        super().__init__(0, [0] * 200)
        self.written = []

    def setValues(self, address, values):
        self.written.append((address, list(values)))
        super().setValues(address, values)


def serve_tcp(context):
    """In a thread of its own. Returns the port."""
    ready = threading.Event()
    port = []

    async def run():
        server = ModbusTcpServer(context, address=("127.0.0.1", 0))
        task = asyncio.ensure_future(server.serve_forever())
        await server.serving
        port.append(server.server.sockets[0].getsockname()[1])
        ready.set()
        await task

    threading.Thread(target=lambda: asyncio.run(run()), daemon=True).start()
    need(ready.wait(20), "the peer's server")
    return port[0]


def serve_rtu(context):
    """pymodbus frames and answers, over a pseudo-terminal. Returns the port's name."""
    end, line = os.openpty()
    tty.setraw(line)  # held open, so that the line stays when the driver closes it
    framer = ModbusRtuFramer(ServerDecoder())

    def answer(request):
        response = request.execute(context[request.unit_id])
        response.unit_id = request.unit_id
        response.transaction_id = request.transaction_id
        os.write(end, framer.buildPacket(response))

    def run():
        while True:
            select.select([end], [], [])
            framer.processIncomingPacket(os.read(end, 512), answer, unit=[17])

    threading.Thread(target=run, daemon=True).start()
    return os.ttyname(line)


def main():
    kind = sys.argv[1]
    bench = Bench(*sys.argv[2:])
    shown, kept = Rising(), Kept()
    # zero_mode: addresses as they are in the protocol data unit.
    context = ModbusServerContext(
        slaves={17: ModbusSlaveContext(ir=shown, hr=kept, zero_mode=True)}, single=False)
    client = bench.run("serve-device", "bench.toml", "--modbus-tcp", "1502", "--tables")
    client = client.replace("sample_rate_hz = 1000", "sample_rate_hz = 50")
    tables = client.index("[device]\n")
    if kind == "tcp":
        wiring = client[tables:].replace("port = 1502", f"port = {serve_tcp(context)}")
    else:
        wiring = (f'[device]\nkind = "modbus_rtu"\nport = "{serve_rtu(context)}"\n'
                  f"heartbeat_address = {HEARTBEAT}\nreset_address = {RESET}\n")
    wiring += "unit = 17\ntimeout_s = 5\n"
    (bench.folder / "client.toml").write_text(client[:tables] + wiring)

    told = json.loads(bench.run("record", "client.toml", "--seconds", str(SAMPLES / 50), "--set",
                                "load_selector=rheostat", "--set", "fan_pct=60", "--into",
                                "peer.h5", "--json"))
    # A busy machine may be late at a tick: then a sample is a gap's first, and one more comes.
    samples = told["samples"]
    need(samples >= SAMPLES and (told["gaps"] > 0 or samples == SAMPLES), f"{SAMPLES} samples, not {told}")
    counts = bench.counts("peer.h5", samples)
    for k, channel in enumerate(counts):
        rise = [value - 1000 * k for value in channel]
        # The first answer is what connecting asks for; each sample is asked for once.
        need(rise == list(range(2, samples + 2)), f"channel {k}: {rise}")

    beats = [values[0] for address, values in kept.written if address == HEARTBEAT]
    need(beats == list(range(1, samples + 2)), f"a beat with every sample, not {beats}")
    need([values for address, values in kept.written if address == RESET] == [[1]], "one reset")
    commands = [(address, values[0]) for address, values in kept.written if address < HEARTBEAT]
    need(commands == [(1, 1), (0, 6000), (0, 0)], f"load, fan, and fan off, not {commands}")


main()
