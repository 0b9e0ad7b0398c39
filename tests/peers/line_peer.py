# SPDX-License-Identifier: Apache-2.0
"""A microcontroller on stdin and stdout: 100 lines `n,c1,...,c9*HH` a second by the steady clock, and
the commands that it gets in a file. Usage: line_peer.py COMMANDS_FILE"""
import os
import select
import sys
import time

RATE_HZ = 100

log = open(sys.argv[1], "ab", buffering=0)
begun = time.monotonic()
n = 0
while True:
    due = begun + n / RATE_HZ
    readable, _, _ = select.select([0], [], [], max(0.0, due - time.monotonic()))
    if readable:
        received = os.read(0, 4096)
        if not received:
            sys.exit(0)
        log.write(received)
        continue
    body = ",".join([str(n)] + [str((n * column) % 65536) for column in range(1, 10)])
    check = 0
    for byte in body.encode():
        check ^= byte
    try:
        os.write(1, f"{body}*{check:02X}\r\n".encode())
    except OSError:
        sys.exit(0)
    n += 1
