# SPDX-License-Identifier: Apache-2.0
"""Clients that nobody here wrote of `windwright serve-device`.

modbus_client.py pymodbus|jsmodbus PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import signal
import sys

from modbus_peers import Refused, connected
from peer import Bench, need


def refused(code, call, *given):
    try:
        call(*given)
    except Refused as refusal:
        need(refusal.code == code, f"{given}: exception {refusal.code}, not {code}")
        return
    sys.exit(f"failed: {given} was not refused")


def main():
    peer = sys.argv[1]
    bench = Bench(*sys.argv[2:])
    process, told = bench.start("serve-device", "bench.toml", "--modbus-tcp", "0", "--json")
    try:
        client = connected(peer, told["modbus_tcp_port"])
        mapped = told["map"]
        names = [name for name, _ in bench.channels()]
        need([mapped["input_registers"][name] for name in names] == list(range(len(names))),
             "channels from address 0 on")

        # Every sample in its turn: the counts of a recording of the same simulated bench.
        polled = [client.read_input(0, len(names)) for _ in range(40)]
        bench.run("record", "bench.toml", "--seconds", "0.1", "--into", "same.h5")
        recorded = bench.counts("same.h5", 100)
        for channel, counts in enumerate(recorded):
            need([sample[channel] for sample in polled] == counts[1:41],
                 f"{names[channel]}: other counts than recorded")

        # Commands, by one register and by several, and from a second client.
        holding = mapped["holding_registers"]
        fan = holding["fan_pct"]["address"]
        need(holding["load_selector"]["address"] == fan + 1, "the selector behind the fan")
        full = round(60 * holding["fan_pct"]["scale"])
        client.write(fan + 1, 1)
        second = connected(peer, told["modbus_tcp_port"])
        second.write_several(fan, [full, 1])
        need(client.read_holding(fan, 2) == [full, 1], "what was commanded")
        second.close()

        # Exception codes of MODBUS Application Protocol V1.1b3, section 7.
        refused(1, client.read_coils, 0, 1)  # no coils
        refused(2, client.read_input, 500, 1)  # no such register
        refused(2, client.write, 500, 1)
        refused(3, client.write, fan, 65535)  # too much

        # Two seconds of the bench's time without a write: it is made safe and stays so.
        speed = names.index("air_speed_m_s")
        fastest = 0
        for _ in range(1800):
            fastest = max(fastest, client.read_input(speed, 1)[0])
        need(client.read_input(mapped["tripped_address"], 1) == [0], "no trip yet")
        for _ in range(300):
            client.read_input(speed, 1)
        need(client.read_input(mapped["tripped_address"], 1) == [1], "a trip")
        need(client.read_holding(fan, 2) == [0, 1], "fan off, load on")
        refused(4, client.write, fan, full)  # until it is reset
        need(fastest > polled[0][speed] + 5000, "wind from the fan")
        client.write(mapped["reset_address"], 1)
        client.write(fan, full)
        client.close()

        process.send_signal(signal.SIGTERM)
        need(process.wait(timeout=20) == 0, "a clean end")
    finally:
        process.kill()
        process.wait()


main()
