# SPDX-License-Identifier: Apache-2.0
"""A bare socket as the controller of `windwright serve-device --scpi`.

scpi_client.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import signal
import socket
import sys

from peer import Bench, need


def main():
    bench = Bench(*sys.argv[1:])
    process, told = bench.start("serve-device", "bench.toml", "--scpi", "0", "--json")
    try:
        with socket.create_connection(("127.0.0.1", told["scpi_port"]), timeout=20) as line:
            answers = line.makefile("r", newline="\n")

            def ask(message):
                line.sendall(message.encode() + b"\n")
                return answers.readline().rstrip("\n")

            need(ask("*IDN?").startswith("Windwright,Saltmarsh College wind bench,"), "a name")
            channels = bench.channels()
            names = ask("CHAN:CAT?").replace('"', "").split(",")
            need(names == [name for name, _ in channels], "the channels' names")
            polled = [ask(f"MEAS:VOLT? (@1:{len(channels)})").split(",") for _ in range(20)]
            bench.run("record", "bench.toml", "--seconds", "0.1", "--into", "same.h5")
            for k, counts in enumerate(bench.counts("same.h5", 100)):
                lower, upper, bits = channels[k][1]
                for sample, count in zip(polled, counts[1:]):
                    volts = lower + (count + 0.5) * (upper - lower) / 2**bits
                    need(abs(float(sample[k]) - volts) < 1e-7, f"{names[k]}: {sample[k]}, {volts}")
            need(ask("SOUR2:LEV rheostat;:SOUR1:LEV 60;:SOUR1:LEV?") == "60", "a fan at 60 %")
            told = ask("SOUR1:LEV 101;:SYST:ERR?")
            need(told.startswith('-222,"Data out of range'), f"the error, not {told}")
        process.send_signal(signal.SIGTERM)
        need(process.wait(timeout=20) == 0, "a clean end")
    finally:
        process.kill()
        process.wait()


main()
