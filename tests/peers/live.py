# SPDX-License-Identifier: Apache-2.0
"""A WebSocket client of the standard library alone (RFC 6455), and envelopes as docs/openapi.json lays them out."""

import base64
import json
import os
import socket
import struct
from array import array


class WebSocket:
    def __init__(self, port, token, path="/api/v1/live", headers=(), timeout=30.0, trusted=None):
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=timeout)
        if trusted:
            self.socket = trusted.wrap_socket(self.socket, server_hostname="127.0.0.1")
        key = base64.b64encode(os.urandom(16)).decode()
        lines = [f"GET {path} HTTP/1.1", f"Host: 127.0.0.1:{port}", "Upgrade: websocket", "Connection: Upgrade",
                 f"Sec-WebSocket-Key: {key}", "Sec-WebSocket-Version: 13"]
        if token:
            lines.append(f"Authorization: Bearer {token}")
        lines += list(headers)
        self.socket.sendall(("\r\n".join(lines) + "\r\n\r\n").encode())
        self.left = b""
        head = b""
        while b"\r\n\r\n" not in head:
            some = self.socket.recv(4096)
            if not some:
                break
            head += some
        head, _, self.left = head.partition(b"\r\n\r\n")
        self.status = int(head.split()[1]) if head else 0
        self.head = head.decode("latin-1")

    def frame(self, opcode, payload, masked=True):
        mask = os.urandom(4) if masked else b""
        head = bytes([0x80 | opcode])
        bit = 0x80 if masked else 0
        if len(payload) < 126:
            head += bytes([bit | len(payload)])
        elif len(payload) < 65536:
            head += bytes([bit | 126]) + struct.pack(">H", len(payload))
        else:
            head += bytes([bit | 127]) + struct.pack(">Q", len(payload))
        if masked:
            payload = bytes(byte ^ mask[i % 4] for i, byte in enumerate(payload))
        return head + mask + payload

    def send(self, message):
        self.socket.sendall(self.frame(1, json.dumps(message).encode()))

    def send_raw(self, raw):
        self.socket.sendall(raw)

    def take(self, count):
        while len(self.left) < count:
            some = self.socket.recv(262144)
            if not some:
                raise ConnectionError("closed")
            self.left += some
        taken, self.left = self.left[:count], self.left[count:]
        return taken

    def receive(self):
        """(opcode, payload); pings are answered."""
        while True:
            first, second = self.take(2)
            size = second & 0x7F
            if size == 126:
                size = struct.unpack(">H", self.take(2))[0]
            elif size == 127:
                size = struct.unpack(">Q", self.take(8))[0]
            payload = self.take(size)
            opcode = first & 0x0F
            if opcode == 9:
                self.socket.sendall(self.frame(10, payload))
                continue
            return opcode, payload

    def message(self, wanted):
        """The next text message of that type."""
        while True:
            opcode, payload = self.receive()
            if opcode == 8:
                raise ConnectionError(f"closed with {struct.unpack('>H', payload[:2])[0] if payload else 1005}")
            if opcode == 1:
                message = json.loads(payload)
                if message["type"] == wanted:
                    return message

    def envelope(self):
        while True:
            opcode, payload = self.receive()
            if opcode == 8:
                raise ConnectionError("closed")
            if opcode == 2:
                return Envelope(payload)

    def close(self):
        self.socket.close()


class Envelope:
    def __init__(self, payload):
        (self.version, self.flags, self.stream, self.channels, self.bins, self.number, self.first_bin,
         self.device_time_ns, self.host_time_ns) = struct.unpack_from("<BBHIIIqqq", payload)
        numbers = array("f")
        numbers.frombytes(payload[40:])
        self.newest = numbers[:self.channels]
        expected = self.channels * (1 + 3 * self.bins)
        if len(numbers) != expected:
            raise ValueError(f"{len(numbers)} numbers, not {expected}")
        self.rows = numbers[self.channels:]

    def row(self, channel, which):
        """which: 0 lowest, 1 highest, 2 mean."""
        at = (3 * channel + which) * self.bins
        return self.rows[at:at + self.bins]
