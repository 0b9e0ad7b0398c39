# SPDX-License-Identifier: Apache-2.0
"""Modbus as pymodbus and jsmodbus speak it, which nobody here wrote, behind the same few calls."""

import asyncio
import importlib.util
import json
import os
import pathlib
import select
import shutil
import socket
import subprocess
import sys
import threading
import tty
import types

from peer import need, skip

HERE = pathlib.Path(__file__).parent


class Refused(Exception):
    """Exception code of MODBUS Application Protocol V1.1b3, section 7."""

    def __init__(self, code):
        super().__init__(f"exception {code}")
        self.code = code


def need_pymodbus():
    """Also where its optional pyserial is missing: these tests open their lines themselves."""
    if importlib.util.find_spec("pymodbus") is None:
        skip("python3-pymodbus is not installed")
    for name, wanted in (("serial", ()), ("serial_asyncio", ("create_serial_connection",))):
        if name not in sys.modules and importlib.util.find_spec(name) is None:
            stand_in = types.ModuleType(name)
            for attribute in wanted:
                setattr(stand_in, attribute, None)
            sys.modules[name] = stand_in


def start_jsmodbus(*words):
    """Node with jsmodbus.js; skipped where either is missing."""
    if shutil.which("node") is None:
        skip("nodejs is not installed")
    if not (HERE / "node_modules/jsmodbus").is_dir():
        skip(f"jsmodbus is not installed: npm ci in {HERE}")
    return subprocess.Popen(["node", HERE / "jsmodbus.js", *map(str, words)], text=True,
                            stdin=subprocess.PIPE, stdout=subprocess.PIPE)


class PymodbusClient:
    def __init__(self, port):
        need_pymodbus()
        from pymodbus.client import ModbusTcpClient

        self.client = ModbusTcpClient("127.0.0.1", port=port, timeout=20)
        need(self.client.connect(), "a connection")

    @staticmethod
    def words(answer):
        if answer.isError():
            raise Refused(answer.exception_code)
        return getattr(answer, "registers", None)

    def read_coils(self, address, count):
        return self.words(self.client.read_coils(address, count))

    def read_input(self, address, count):
        return self.words(self.client.read_input_registers(address, count))

    def read_holding(self, address, count):
        return self.words(self.client.read_holding_registers(address, count))

    def write(self, address, value):
        self.words(self.client.write_register(address, value))

    def write_several(self, address, values):
        self.words(self.client.write_registers(address, values))

    def close(self):
        self.client.close()


class JsmodbusClient:
    def __init__(self, port):
        self.node = start_jsmodbus("client", port)

    def ask(self, *words):
        self.node.stdin.write(json.dumps(words) + "\n")
        self.node.stdin.flush()
        line = self.node.stdout.readline()
        need(line, f"an answer to {words}")
        answer = json.loads(line)
        if "exception" in answer:
            raise Refused(answer["exception"])
        return answer["values"]

    def read_coils(self, address, count):
        return self.ask("readCoils", address, count)

    def read_input(self, address, count):
        return self.ask("readInputRegisters", address, count)

    def read_holding(self, address, count):
        return self.ask("readHoldingRegisters", address, count)

    def write(self, address, value):
        self.ask("writeSingleRegister", address, value)

    def write_several(self, address, values):
        self.ask("writeMultipleRegisters", address, values)

    def close(self):
        self.node.stdin.close()
        need(self.node.wait(timeout=20) == 0, "jsmodbus ends in order")


def connected(peer, port):
    return {"pymodbus": PymodbusClient, "jsmodbus": JsmodbusClient}[peer](port)


class PymodbusServer:
    """Unit 17. Channel k shows 1000 k + n the n-th time that it is asked for; `written` has what
    was written, in order."""

    def __init__(self, channels):
        need_pymodbus()
        from pymodbus.datastore import (ModbusSequentialDataBlock, ModbusServerContext,
                                        ModbusSlaveContext)

        self.written = []
        written = self.written

        class Rising(ModbusSequentialDataBlock):
            asked = 0

            def getValues(self, address, count=1):
                self.asked += 1
                return [1000 * k + self.asked for k in range(address, address + count)]

        class Kept(ModbusSequentialDataBlock):
            def setValues(self, address, values):
                written.append((address, values[0]))
                super().setValues(address, values)

        # zero_mode: addresses as they are in the protocol data unit.
        self.context = ModbusServerContext(
            slaves={17: ModbusSlaveContext(ir=Rising(0, [0] * channels), hr=Kept(0, [0] * 200),
                                           zero_mode=True)}, single=False)

    def serve_tcp(self):
        """In a thread of its own. Returns the port."""
        from pymodbus.server.async_io import ModbusTcpServer

        ready = threading.Event()
        port = []

        async def run():
            server = ModbusTcpServer(self.context, address=("127.0.0.1", 0))
            task = asyncio.ensure_future(server.serve_forever())
            await server.serving
            port.append(server.server.sockets[0].getsockname()[1])
            ready.set()
            await task

        threading.Thread(target=lambda: asyncio.run(run()), daemon=True).start()
        need(ready.wait(20), "the peer's server")
        return port[0]

    def serve_rtu(self):
        """pymodbus frames and answers, over a pseudo-terminal. Returns the line's name."""
        from pymodbus.factory import ServerDecoder
        from pymodbus.framer.rtu_framer import ModbusRtuFramer

        end, line = open_line()
        framer = ModbusRtuFramer(ServerDecoder())

        def answer(request):
            response = request.execute(self.context[request.unit_id])
            response.unit_id = request.unit_id
            response.transaction_id = request.transaction_id
            os.write(end, framer.buildPacket(response))

        def run():
            while True:
                select.select([end], [], [])
                framer.processIncomingPacket(os.read(end, 512), answer, unit=[17])

        threading.Thread(target=run, daemon=True).start()
        return os.ttyname(line)

    def stop(self):
        pass


class JsmodbusServer:
    """The same; jsmodbus answers whichever unit is asked."""

    def __init__(self, channels):
        self.channels = channels
        self.written = []

    def start(self, kind):
        self.node = start_jsmodbus(kind, self.channels)
        port = json.loads(self.node.stdout.readline())

        def follow():
            for line in self.node.stdout:
                self.written.append(tuple(json.loads(line)))

        self.follower = threading.Thread(target=follow, daemon=True)
        self.follower.start()
        return port

    def serve_tcp(self):
        return self.start("tcp")

    def serve_rtu(self):
        """jsmodbus frames and answers, over a pseudo-terminal. Returns the line's name."""
        node = socket.create_connection(("127.0.0.1", self.start("rtu")))
        end, line = open_line()

        def run():
            while True:
                for ready in select.select([end, node], [], [])[0]:
                    if ready is node:
                        os.write(end, node.recv(512))
                    else:
                        node.sendall(os.read(end, 512))

        threading.Thread(target=run, daemon=True).start()
        return os.ttyname(line)

    def stop(self):
        self.node.kill()
        self.node.wait()
        self.follower.join(20)  # until everything that it told is read


def open_line():
    """Both ends of a pseudo-terminal; the second is held so that it stays when a driver closes."""
    end, line = os.openpty()
    tty.setraw(line)
    return end, line


def server(peer, channels):
    return {"pymodbus": PymodbusServer, "jsmodbus": JsmodbusServer}[peer](channels)
