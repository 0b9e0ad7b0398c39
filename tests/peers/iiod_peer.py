# SPDX-License-Identifier: Apache-2.0
"""A computer with a converter of nine channels, as iiod shows it: iiod_peer.py PORT_FILE COMMANDS.
With --context it only prints the description, without attributes, for iiod itself to show.

Takes a sample every 10 ms; channel k of a sample n holds n * (k + 1) modulo 4096,
of 0 to 10 V but for the last two, which are -10 to 10 V. Writes the port
that it listens at to PORT_FILE, and what is written to outputs to COMMANDS."""

import pathlib
import socketserver
import sys
import threading
import time

RATE_HZ = 100
BEGUN = time.monotonic()
KINDS = "context-attribute device channel attribute scan-element debug-attribute buffer-attribute"


def context(with_attributes=True):
    rules = "<!ELEMENT context (device | context-attribute)*>"
    rules += "<!ELEMENT device (channel | attribute | debug-attribute | buffer-attribute)*>"
    rules += "<!ELEMENT channel (scan-element?, attribute*)>"
    for kind in KINDS.split():
        if kind not in ("device", "channel"):
            rules += f"<!ELEMENT {kind} EMPTY>"
    rules += "<!ATTLIST context name CDATA #REQUIRED description CDATA #IMPLIED>"
    rules += "<!ATTLIST device id CDATA #REQUIRED name CDATA #IMPLIED>"
    rules += "<!ATTLIST channel id CDATA #REQUIRED type (input|output) #REQUIRED>"
    rules += "<!ATTLIST scan-element index CDATA #REQUIRED format CDATA #REQUIRED>"
    rules += "<!ATTLIST attribute name CDATA #REQUIRED filename CDATA #IMPLIED>"
    text = f'<?xml version="1.0" encoding="utf-8"?><!DOCTYPE context [{rules}]>'
    text += '<context name="local"><device id="iio:device0" name="adc0">'
    for k in range(9):
        text += f'<channel id="voltage{k}" type="input">'
        text += f'<scan-element index="{k}" format="le:{"u" if k < 7 else "s"}16/16&gt;&gt;0" />'
        if with_attributes:
            text += '<attribute name="scale" filename="in_voltage_scale" />'
        text += "</channel>"
    if with_attributes:
        text += '<attribute name="sampling_frequency" />'
    text += "</device>"
    text += '<device id="iio:device1" name="dac0">'
    for k in range(3):
        text += f'<channel id="voltage{k}" type="output">'
        text += f'<attribute name="raw" filename="out_voltage{k}_raw" /></channel>'
    return text + "</device></context>"


class Client(socketserver.StreamRequestHandler):
    def handle(self):
        for line in self.rfile:
            words = line.decode().split()
            if not words:
                continue
            if words[0] == "EXIT":
                return
            self.answer(words)

    def say(self, text):
        self.wfile.write(text.encode() + b"\n")

    def answer(self, words):
        if words[0] == "PRINT":
            self.say(f"{len(context())}\n{context()}")
        elif words[0] == "READ":
            scale = "0.152587890625" if words[-2] < "voltage7" else "0.30517578125"
            value = {"sampling_frequency": "100", "scale": scale}.get(words[-1])
            self.say("-2" if value is None else f"{len(value)}\n{value}")
        elif words[0] == "WRITE":
            value = self.rfile.read(int(words[-1])).rstrip(b"\0").decode()
            with open(sys.argv[2], "a", encoding="utf-8") as commands:
                commands.write(f"{words[3]} {value}\n")
            self.say(words[-1])
        elif words[0] == "OPEN":
            self.mask = words[3]
            self.next = int((time.monotonic() - BEGUN) * RATE_HZ)
            self.say("0")
        elif words[0] == "READBUF":
            self.read_buffer(int(words[2]))
        else:
            self.say("0")

    def read_buffer(self, size):
        samples = size // 18
        self.next += samples
        time.sleep(max(0, BEGUN + self.next / RATE_HZ - time.monotonic()))
        data = b""
        for n in range(self.next - samples, self.next):
            for k in range(9):
                data += (n * (k + 1) % 4096).to_bytes(2, "little")
        self.say(f"{len(data)}\n{self.mask}")
        self.wfile.write(data)


class Server(socketserver.ThreadingTCPServer):
    daemon_threads = True


if sys.argv[1] == "--context":
    print(context(with_attributes=False))
    sys.exit()
with Server(("127.0.0.1", 0), Client) as server:
    made = pathlib.Path(sys.argv[1] + ".new")
    made.write_text(str(server.server_address[1]), encoding="utf-8")
    made.rename(sys.argv[1])
    threading.Timer(60, server.shutdown).start()
    server.serve_forever()
