# SPDX-License-Identifier: Apache-2.0
"""pymodbus, which nobody here wrote, as the client of `windwright serve-device`.

modbus_client.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import signal
import sys

from peer import Bench, need, need_pymodbus

need_pymodbus()
from pymodbus.client import ModbusTcpClient


def words(answer):
    need(not answer.isError(), f"answered {answer}")
    return answer.registers


def main():
    bench = Bench(*sys.argv[1:])
    process, told = bench.start("serve-device", "bench.toml", "--modbus-tcp", "0", "--json")
    try:
        client = ModbusTcpClient("127.0.0.1", port=told["modbus_tcp_port"], timeout=20)
        need(client.connect(), "a connection")
        mapped = told["map"]
        names = [name for name, _ in bench.channels()]
        need([mapped["input_registers"][name] for name in names] == list(range(len(names))),
             "channels from address 0 on")

        # Every sample in its turn: the counts of a recording of the same simulated bench.
        polled = [words(client.read_input_registers(0, len(names))) for _ in range(40)]
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
        need(not client.write_register(fan + 1, 1).isError(), "a load")
        second = ModbusTcpClient("127.0.0.1", port=told["modbus_tcp_port"], timeout=20)
        need(second.connect(), "a second connection")
        need(not second.write_registers(fan, [full, 1]).isError(), "fan and load at once")
        need(words(client.read_holding_registers(fan, 2)) == [full, 1], "what was commanded")
        second.close()

        # Exception codes of MODBUS Application Protocol V1.1b3, section 7.
        need(client.read_coils(0, 1).exception_code == 1, "no coils")
        need(client.read_input_registers(500, 1).exception_code == 2, "no such register")
        need(client.write_register(500, 1).exception_code == 2, "no such register to write")
        need(client.write_register(fan, 65535).exception_code == 3, "too much")

        # Two seconds of the bench's time without a write: it is made safe and stays so.
        speed = names.index("air_speed_m_s")
        fastest = 0
        for _ in range(1800):
            fastest = max(fastest, words(client.read_input_registers(speed, 1))[0])
        need(words(client.read_input_registers(mapped["tripped_address"], 1)) == [0], "no trip yet")
        for _ in range(300):
            client.read_input_registers(speed, 1)
        need(words(client.read_input_registers(mapped["tripped_address"], 1)) == [1], "a trip")
        need(words(client.read_holding_registers(fan, 2)) == [0, 1], "fan off, load on")
        need(client.write_register(fan, full).exception_code == 4, "refused until it is reset")
        need(fastest > polled[0][speed] + 5000, "wind from the fan")
        need(not client.write_register(mapped["reset_address"], 1).isError(), "a reset")
        need(not client.write_register(fan, full).isError(), "driven again")
        client.close()

        process.send_signal(signal.SIGTERM)
        need(process.wait(timeout=20) == 0, "a clean end")
    finally:
        process.kill()
        process.wait()


main()
