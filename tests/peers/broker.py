# SPDX-License-Identifier: Apache-2.0
"""A mosquitto broker and its clients, which nobody here wrote, for the tests that publish."""

import json
import pathlib
import shutil
import socket
import subprocess
import threading
import time

from peer import need, skip

PROGRAM = "/usr/sbin/mosquitto"


def need_mosquitto():
    if not pathlib.Path(PROGRAM).exists() or shutil.which("mosquitto_sub") is None:
        skip("mosquitto and mosquitto-clients are not installed")


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


class Broker:
    """Open to this computer only, or as `settings` (lines of its own file) say."""

    def __init__(self, folder, settings=(), client_words=()):
        self.folder = pathlib.Path(folder)
        self.port = free_port()
        self.client_words = list(client_words)
        lines = ["user root", f"listener {self.port} 127.0.0.1", *(settings or ["allow_anonymous true"])]
        self.file = self.folder / f"broker-{self.port}.conf"
        self.file.write_text("\n".join(lines) + "\n")
        self.process = None
        self.start()

    def start(self):
        self.process = subprocess.Popen([PROGRAM, "-c", self.file], stdout=subprocess.DEVNULL,
                                        stderr=subprocess.DEVNULL)
        for _ in range(500):
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.02)
        raise SystemExit("failed: the broker does not start")

    def kill(self):
        self.process.kill()
        self.process.wait()

    def words(self, client, *words):
        return [client, "-h", "127.0.0.1", "-p", str(self.port), *self.client_words, *words]

    def kept(self, topic="#"):
        """Retained payloads by topic, as a client that comes now gets them."""
        words = ["-t", topic, "-t", "test/end", "-q", "1", "--retained-only", "-F", "%t %p", "-W", "30"]
        client = subprocess.Popen(self.words("mosquitto_sub", *words), stdout=subprocess.PIPE, text=True)
        while client.poll() is None:  # what is not retained ends it
            subprocess.run(self.words("mosquitto_pub", "-t", "test/end", "-m", "1", "-q", "1"), check=True)
        found = {}
        for line in client.communicate()[0].splitlines():
            name, payload = line.split(" ", 1)
            found[name] = json.loads(payload)
        return found

    def state(self, topic):
        return self.kept(topic + "/state").get(topic + "/state")

    def wait_for(self, topic, wanted, what):
        """Until the state is one that `wanted` takes."""
        state = None
        for _ in range(400):
            state = self.state(topic)
            if state is not None and wanted(state):
                return state
            time.sleep(0.02)
        need(False, f"{what}: {state}")


class Listener:
    """Every message from now on, of topics below `topic`."""

    def __init__(self, broker, topic="#"):
        self.broker = broker
        self.process = subprocess.Popen(
            broker.words("mosquitto_sub", "-t", topic, "-t", "test/ear", "-q", "1", "-F", "%r %t %p"),
            stdout=subprocess.PIPE, text=True)
        # What was published before it had subscribed, it does not hear.
        heard = threading.Event()
        threading.Thread(target=lambda: (self.until_ready(), heard.set()), daemon=True).start()
        while not heard.is_set():
            self.say("ready")

    def until_ready(self):
        while not self.process.stdout.readline().startswith("0 test/ear"):
            pass

    def say(self, word):
        subprocess.run(self.broker.words("mosquitto_pub", "-q", "1", "-t", "test/ear", "-m", word), check=True)

    def end(self):
        """All messages so far as (retained, topic, payload)."""
        self.say("end")
        heard = []
        for line in self.process.stdout:
            retained, topic, payload = line.rstrip("\n").split(" ", 2)
            if topic != "test/ear":
                heard.append((retained == "1", topic, json.loads(payload)))
            elif payload == "end":
                break
        self.process.terminate()
        self.process.communicate()
        return heard
