# SPDX-License-Identifier: Apache-2.0
"""An instrument on stdin and stdout that speaks after IEEE 488.2 and SCPI: *IDN?, *CLS, SYST:ERR?,
two measurements, three settings. The commands that it takes go into a file.
Usage: scpi_peer.py COMMANDS_FILE"""
import sys

log = open(sys.argv[1], "a", buffering=1)
errors = []


def answer(text):
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


for line in sys.stdin:
    message = line.strip()
    if message == "*IDN?":
        answer("NOBODY,MODEL-7,0,0.1")
    elif message == "*CLS":
        errors.clear()
    elif message == "SYST:ERR?":
        answer(errors.pop(0) if errors else '+0,"No error"')
    elif message == "MEAS:VOLT:DC? (@101:109)":
        answer(",".join(f"{value:+.8E}" for value in (1, 2, 3, 4, 5, 6, 7, 8, 9)))
    elif message == "MEAS:CURR? (@201)":
        answer("-2.5")
    elif message.split(" ")[0] in ("SOUR:VOLT", "ROUT:CLOS", "RES"):
        log.write(message + "\n")
        if message.startswith("RES") and float(message.split(" ")[1]) > 90:
            errors.append('-222,"Data out of range"')
    else:
        errors.append('-113,"Undefined header"')
