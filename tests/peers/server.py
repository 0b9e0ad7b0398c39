#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The server from outside, over real sockets: a whole session at a bench, two people and one lease, a server that is killed in the
middle of a run, two benches at once, and strangers who mean no good.

server.py job|people|killed|lost|several|strangers|accounts|tls PROGRAM SOURCE_FOLDER SCRATCH_FOLDER

Only the standard library speaks HTTP here. Everything waits for conditions.
"""

import atexit
import http.client
import json
import os
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time

from live import WebSocket
from peer import CAMPAIGN, HASTY_CAMPAIGN, Bench, need

PATIENCE_S = 500.0
BENCH = "/api/v1/benches/bench"


class Person:
    address = None  # another of this computer's to come from

    def __init__(self, port, name, role="instructor", password=None):
        self.port = port
        body = {"name": name, "role": role}
        if password:
            body = {"name": name, "password": password}
        self.token = None
        status, session = self.call("POST", "/api/v1/session", body)
        self.status = status
        self.session = session
        if status == 200:
            self.token = session["token"]

    def call(self, method, path, body=None, headers=None):
        status, _, payload = self.raw(method, path, None if body is None else json.dumps(body).encode(), headers)
        return status, json.loads(payload) if payload else None

    def raw(self, method, path, body=None, headers=None):
        connection = self.connection()
        said = {"Content-Type": "application/json"} if body is not None else {}
        if self.token:
            said["Authorization"] = f"Bearer {self.token}"
        said.update(headers or {})
        connection.request(method, path, body, said)
        answer = connection.getresponse()
        payload = answer.read()
        connection.close()
        return answer.status, dict(answer.getheaders()), payload

    def connection(self):
        return http.client.HTTPConnection("127.0.0.1", self.port, timeout=60, source_address=self.address)

    def must(self, method, path, body=None, status=200):
        got, answer = self.call(method, path, body)
        need(got == status, f"{method} {path} {body}: {got} {answer}")
        return answer

    def wait(self, path, condition, what):
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            answer = self.must("GET", path)
            if condition(answer):
                return answer
            time.sleep(0.02)
        need(False, f"{what}: {answer}")

    def keep(self, bench=BENCH):
        self.must("PUT", bench + "/lease", {})


def ready_bench(program, source, scratch, calibrated=True, proved=True):
    shutil.rmtree(scratch, ignore_errors=True)  # runs of the time before are beside the bench
    bench = Bench(program, source, os.path.join(scratch, "bench"))
    if calibrated:
        bench.run("calibrate", "bench.toml")
        if proved:
            bench.run("ready", "bench.toml", "--prove-interlocks")
    (bench.folder / "short.toml").write_text(CAMPAIGN)
    return bench


def serve(bench, *words):
    process, told = bench.start("serve", "--bench", "bench.toml", "--listen", "127.0.0.1:0", "--runs", "../runs",
                                "--json", *words)
    atexit.register(process.kill)  # whatever a failure leaves behind
    return process, told["port"]


def finish(process):
    process.send_signal(signal.SIGTERM)
    need(process.wait(timeout=60) == 0, "the server ended otherwise than asked")


def watch_until(ana, path, condition, what):
    """Waits while the lease is kept."""
    end = time.monotonic() + PATIENCE_S
    kept = 0.0
    while time.monotonic() < end:
        if time.monotonic() - kept > 2.0:
            ana.keep()
            kept = time.monotonic()
        answer = ana.must("GET", path)
        if condition(answer):
            return answer
        time.sleep(0.05)
    need(False, f"{what}: {answer}")


def job(bench):
    """Cautions to report, by the interface alone."""
    process, port = serve(bench, "--pace", "8")
    ana = Person(port, "Ana")
    description = ana.must("GET", BENCH)
    need(len(description["channels"]) >= 9 and description["cautions"], "the bench is described")
    ana.wait(BENCH + "/state", lambda s: not s["stale"] and s["activity"] == "watching", "fresh samples")
    for step in ana.must("GET", BENCH + "/checklist")["steps"]:
        ana.must("POST", BENCH + "/checklist", {"step": step["id"], "done": True})
    lease = ana.must("POST", BENCH + "/lease", {})
    need(lease["mine"] and lease["holder"]["name"] == "Ana", "Ana has the lease")

    ana.must("POST", BENCH + "/calibration", {"channel": "dc_voltage_V"}, 202)
    done = watch_until(ana, BENCH + "/calibration", lambda c: c["state"] == "proposed", "a certificate")
    need(len(done["readings"]) == 27 and done["certificate"]["model"] == "line", "27 readings and a line")
    need(all(abs(r["residual_V"]) < 0.05 for r in done["readings"]), "small residuals")
    ana.must("POST", BENCH + "/calibration/sign", {"signature": "A. Nobody"})
    need(ana.must("GET", BENCH + "/calibration")["state"] == "signed", "signed")

    ana.must("POST", BENCH + "/readiness", {}, 202)
    checked = watch_until(ana, BENCH + "/checklist", lambda c: c["readiness"], "check standards")
    need(all(abs(c["en"]) <= 1 for c in checked["readiness"]["channels"] if c["en"] is not None),
         f"ready: {checked['readiness']}")

    plan = ana.must("GET", BENCH + "/campaigns/short.toml")
    need(len(plan["plan"]) == 6 and not plan["problems"], f"six points: {plan['problems']}")
    need(plan["plan"][0]["foreseen"]["rotor_speed_rad_s"] > 50, "theory expects the rotor to turn")
    saved = ana.must("PUT", BENCH + "/campaigns/planned.toml", {"settings": plan["settings"]})
    need(saved["settings"] == plan["settings"], "settings make a text that reads back as the same settings")
    status, refused = ana.call("PUT", BENCH + "/campaigns/planned.toml", {"text": plan["text"].replace("[8, 15", "[8, 1500")})
    need(status == 422 and "1500" in refused["error"]["what"], f"a level beyond the actuator: {refused}")
    surface = ana.must("GET", BENCH + "/surface?blade_count=3&air_speed_m_s=10&tip_speed_ratio=2:1:6&pitch_deg=0:5:10")
    need(len(surface["cp"]) == 3 and len(surface["cp"][0]) == 5, "a surface of 3 x 5")

    ana.must("POST", BENCH + "/campaign", {"campaign": "planned.toml", "reason": "interlocks not proved here"}, 202)
    status, refused = ana.call("PUT", BENCH + "/actuators/fan_pct", {"value": 10})
    need(status == 409, "no command by hand while it conducts")
    progress = watch_until(ana, BENCH + "/campaign", lambda p: p["points_done"] >= 2, "two points")
    ana.must("POST", BENCH + "/campaign/pause", {})
    watch_until(ana, BENCH + "/campaign", lambda p: p["state"] == "paused", "paused")
    watch_until(ana, BENCH + "/state", lambda s: s["state"] == "safe" and s["activity"] == "watching", "safe in a pause")
    ana.must("POST", BENCH + "/campaign/resume", {})
    progress = watch_until(ana, BENCH + "/campaign", lambda p: p["state"] == "ended", "the end")
    need(progress["ending"] == "complete" and progress["points_done"] == 6, f"complete: {progress}")
    run = "/api/v1/runs/" + progress["run"]
    details = ana.must("GET", run)
    need(details["run"]["state"] == "complete" and "report.pdf" in details["files"], f"in the catalogue: {details}")
    results = ana.must("GET", run + "/results")
    need(results["curves"] and results["verdict"]["answer"] == details["run"]["answer"], "the verdict")
    status, headers, pdf = ana.raw("GET", run + "/files/report.pdf")
    need(status == 200 and pdf.startswith(b"%PDF"), "the report as PDF")
    status, headers, part = ana.raw("GET", run + "/files/recording.h5", headers={"Range": "bytes=1-7"})
    need(status == 206 and part == b"HDF\r\n\x1a\n", f"a range of the recording: {part}")
    point = details["points"][0]
    window = ana.must("GET", f"{run}/window?channel=dc_voltage_V&from_s={point['from_s']}&to_s={point['to_s']}&bins=50")
    need(len(window["bins"]) >= 25, "the samples behind a point")
    for what in ("spectrum?channel=ac_voltage_V", "statistics?channel=dc_voltage_V", "pairs?channel=dc_voltage_V&against=rotor_speed_rad_s"):
        ana.must("GET", f"{run}/{what}")
    ana.must("POST", run + "/notes", {"text": "the first run from a browser"})
    found = ana.must("GET", "/api/v1/runs?search=browser")["runs"]
    need([r["id"] for r in found] == [progress["run"]], f"found by its note: {found}")

    # A trip and its reset: a rotor that runs fast under a light load, then nearly a short.
    for actuator, body in (("load_selector", {"position": "rheostat"}), ("rheostat_ohm", {"value": 60}), ("fan_pct", {"value": 90, "reason": "calibrated since the proof"})):
        ana.must("PUT", f"{BENCH}/actuators/{actuator}", body)
    fast = lambda answer: next(v["value"] for v in answer["values"] if v["name"] == "rotor_speed_rad_s") > 200
    watch_until(ana, BENCH + "/values", fast, "a fast rotor")
    status, refused = ana.call("PUT", BENCH + "/actuators/blade_count", {"value": 2})
    need(status == 409 and refused["error"]["code"] == "turns", f"nobody is sent to a rotor that turns: {refused}")
    ana.must("PUT", BENCH + "/actuators/rheostat_ohm", {"value": 2})
    tripped = watch_until(ana, BENCH + "/state", lambda s: s["tripped"], "a trip")
    need(tripped["tripped"]["interlock"] == "DC over-current", f"its first cause: {tripped['tripped']}")
    need(tripped["commanded"]["fan_pct"] == 0, "the fan is off")
    status, refused = ana.call("PUT", BENCH + "/actuators/fan_pct", {"value": 10})
    need(status == 409, "nothing is driven while it is tripped")
    watch_until(ana, BENCH + "/state", lambda s: not s["tripped"]["standing"], "the cause to go")
    ana.must("POST", BENCH + "/reset", {"reason": "load put on again"})
    need(ana.must("GET", BENCH + "/state")["state"] == "safe", "safe after the reset")

    # The same in a campaign, and the next one, which has not tripped.
    heavy = plan["text"].replace("[8, 15, 30]", "[2, 3, 60]").replace("fan_pct = 70", "fan_pct = 90") + "[run_up]\nrheostat_ohm = 60\n"
    ana.must("PUT", BENCH + "/campaigns/heavy.toml", {"text": heavy})
    ana.must("POST", BENCH + "/campaign", {"campaign": "heavy.toml", "reason": "calibrated since the proof"}, 202)
    tripped = watch_until(ana, BENCH + "/campaign", lambda p: p["ending"], "its end")
    need(tripped["ending"] == "tripped" and tripped["trip"]["interlock"] == "DC over-current", f"its first cause: {tripped}")
    watch_until(ana, BENCH + "/state", lambda s: s["state"] == "tripped" and not s["tripped"]["standing"], "the cause to go")
    need(ana.call("POST", BENCH + "/campaign", {"campaign": "planned.toml"})[0] == 409, "not before the reset")
    kept = ana.must("GET", BENCH + "/campaign")
    need(kept["trip"] == tripped["trip"] and kept["run"] == tripped["run"], f"what was refused changes nothing: {kept}")
    ana.must("POST", BENCH + "/reset", {"reason": "load put on again"})
    ana.must("POST", BENCH + "/campaign", {"campaign": "planned.toml", "reason": "calibrated since the proof"}, 202)
    fresh = ana.must("GET", BENCH + "/campaign")
    need(fresh["trip"] is None and fresh["cause"] == "" and fresh["ending"] == "", f"that was the one before: {fresh}")
    ana.must("POST", BENCH + "/campaign/pause", {})
    watch_until(ana, BENCH + "/campaign", lambda p: p["state"] == "paused", "paused")
    events = [line["event"] for line in ana.must("GET", BENCH + "/logbook?limit=1000")["lines"]]
    for event in ("trip", "reset", "campaign", "point", "certificate", "lease", "command", "readiness"):
        need(event in events, f"{event} is in the logbook")
    finish(process)


def people(bench):
    """An operator and an observer: the lease, its hand-over, and the live stream."""
    process, port = serve(bench)
    ana, ben, leo = Person(port, "Ana", "operator"), Person(port, "Ben", "operator"), Person(port, "Leo", "learner")
    olga = Person(port, "Olga", "observer")
    ana.wait(BENCH + "/state", lambda s: not s["stale"], "fresh samples")
    ana.must("POST", BENCH + "/lease", {})
    status, refused = ben.call("POST", BENCH + "/lease", {})
    need(status == 409 and refused["error"]["holder"] == "Ana", f"one operator: {refused}")
    need(leo.call("POST", BENCH + "/lease", {})[0] == 403, "a learner takes nothing by himself")
    need(olga.call("PUT", BENCH + "/actuators/fan_pct", {"value": 10})[0] == 403, "an observer commands nothing")
    need(ben.call("PUT", BENCH + "/actuators/fan_pct", {"value": 10})[0] == 409, "without the lease nobody does")
    live = WebSocket(port, olga.token)
    need(live.status == 101, live.head)
    live.send({"type": "subscribe", "bench": "bench", "channels": ["air_speed_m_s", "dc_power_W"], "window_s": 10, "bins": 200})
    told = live.message("subscribed")
    need(told["channels"] == ["air_speed_m_s", "dc_power_W"] and told["bin_s"] <= 0.05, f"subscribed: {told}")
    first = live.envelope()
    need(first.flags & 1 and first.stream == told["stream"], "the window first")
    ana.must("PUT", BENCH + "/actuators/load_selector", {"position": "rheostat"})
    # Without the proof of the interlocks it wants a reason, which is kept.
    proof = bench.folder / "certificates/interlocks.json"
    proof.rename(proof.with_suffix(".away"))
    status, refused = ana.call("PUT", BENCH + "/actuators/fan_pct", {"value": 60})
    need(status == 409 and refused["error"]["where"] == "reason", f"not proved: {refused}")
    ana.must("PUT", BENCH + "/actuators/fan_pct", {"value": 20, "reason": "to see it turn"})
    need("to see it turn" in (bench.folder / "interlocks.jsonl").read_text(), "the reason is kept")
    proof.with_suffix(".away").rename(proof)
    ana.must("PUT", BENCH + "/actuators/fan_pct", {"value": 60})
    before = first
    for _ in range(40):
        now = live.envelope()
        need(now.first_bin <= before.first_bin + max(before.bins, 1), "no bin is left out")
        for lowest, highest, mean in zip(now.row(0, 0), now.row(0, 1), now.row(0, 2)):
            need(lowest <= mean <= highest or mean != mean, "lowest, mean, highest")
        before = now
    need(before.newest[0] > 1.0, "the wind is seen to blow")
    state = live.message("state")
    need(state["state"]["state"] == "running" and not state["state"]["lease"]["mine"], "running, and not hers")
    chain = live.message("chain")["chain"]
    need(chain["flows"][0]["from"] == "wind" and chain["flows"][0]["measured_W"] > 0, "the river flows")
    ana.must("POST", BENCH + "/lease/offer", {"to": "Leo"})
    need(leo.must("POST", BENCH + "/lease", {})["mine"], "a learner takes what is offered")
    leo.must("PUT", BENCH + "/actuators/fan_pct", {"value": 50})
    need(ana.call("PUT", BENCH + "/actuators/fan_pct", {"value": 40})[0] == 409, "and she has it no more")
    stopped = olga.must("POST", BENCH + "/stop", {})
    need(stopped["commanded"]["fan_pct"] == 0, f"anybody stops: {stopped}")
    ana.wait(BENCH + "/state", lambda s: s["state"] == "safe", "safe once the fan has had its travel")
    live.send({"type": "subscribe", "bench": "nowhere", "window_s": 10, "bins": 200})
    need("nowhere" in live.message("refused")["what"], "no such bench")
    # The holder is gone while the wind blows: the bench trips and comes down, and its last minute is kept.
    leo.must("PUT", BENCH + "/actuators/fan_pct", {"value": 30})
    tripped = olga.wait(BENCH + "/state", lambda s: s["tripped"], "the lease's lapse")
    need(tripped["tripped"]["stop_category"] == 1 and not tripped["lease"]["holder"], f"nobody holds it: {tripped}")
    kept = olga.wait("/api/v1/runs", lambda r: r["runs"], "the trip's own recording")["runs"][0]
    need(kept["kind"] == "recording" and (bench.folder.parent / "runs/bench/trip-001.h5").exists(), f"kept: {kept}")
    speed = olga.must("GET", f"/api/v1/runs/{kept['id']}/window?channel=air_speed_m_s&bins=100")["bins"]
    need(speed[-1]["mean"] < 0.8 * max(b["mean"] for b in speed), "how the wind went down is in it")
    # A run whose operator lets go before it has begun to drive does not go on without one.
    olga.wait(BENCH + "/state", lambda s: s["state"] == "tripped" and not s["tripped"]["standing"], "the end of the stop")
    ana.must("POST", BENCH + "/reset", {"reason": "everybody is back"})
    ana.must("POST", BENCH + "/lease", {})
    ana.must("POST", BENCH + "/campaign", {"campaign": "short.toml", "reason": "interlocks not proved here"}, 202)
    ana.call("DELETE", BENCH + "/lease")
    olga.wait(BENCH + "/campaign", lambda p: p["state"] != "conducting", "the end of a run of nobody")
    need(olga.must("GET", BENCH + "/state")["commanded"]["fan_pct"] == 0, "the fan is off")
    # A stop whose words nobody can read is a stop.
    for body, kind in ((b"{", "application/json"), (b"stop!", "text/plain")):
        need(olga.raw("POST", BENCH + "/stop", body, {"Content-Type": kind})[0] == 200, f"a stop: {body}")
    finish(process)


def killed(bench):
    """A server that is killed in the middle of a run: the next one lists it, and takes it up to its end."""
    (bench.folder / "short.toml").write_text(HASTY_CAMPAIGN)
    process, port = serve(bench)
    ana = Person(port, "Ana")
    ana.wait(BENCH + "/state", lambda s: not s["stale"], "fresh samples")
    ana.must("POST", BENCH + "/lease", {})
    ana.must("POST", BENCH + "/campaign", {"campaign": "short.toml", "reason": "interlocks not proved here"}, 202)
    before = watch_until(ana, BENCH + "/campaign", lambda p: p["points_done"] >= 1, "a point")
    process.kill()
    process.wait()
    process, port = serve(bench)
    ana = Person(port, "Ana")
    runs = ana.must("GET", "/api/v1/runs")["runs"]
    need([r["state"] for r in runs if r["id"] == before["run"]] == ["interrupted"], f"listed as interrupted: {runs}")
    state = ana.wait(BENCH + "/state", lambda s: not s["stale"], "fresh samples")
    need(state["commanded"]["fan_pct"] == 0, "the fan is off")
    ana.must("POST", BENCH + "/lease", {})
    ana.must("POST", BENCH + "/campaign", {"run": before["run"], "reason": "the server was killed"}, 202)
    done = watch_until(ana, BENCH + "/campaign", lambda p: p["state"] == "ended", "the end")
    need(done["ending"] == "complete" and done["points_done"] == 6, f"complete: {done}")
    finish(process)


def several(bench):
    """Two benches in one server: both live at once, each with a lease of its own; what trips one leaves the other running."""
    other = bench.folder.parent / "other"
    shutil.rmtree(other, ignore_errors=True)
    shutil.copytree(bench.folder, other)
    process, told = bench.start("serve", "--bench", "bench.toml", "--bench", "../other/bench.toml", "--listen", "127.0.0.1:0",
                                "--runs", "../runs", "--json")
    atexit.register(process.kill)
    need(told["benches"] == ["bench", "other"], f"both are served: {told}")
    port, OTHER = told["port"], "/api/v1/benches/other"
    ana, ben = Person(port, "Ana", "operator"), Person(port, "Ben", "operator")
    need([b["id"] for b in ana.must("GET", "/api/v1/benches")["benches"]] == ["bench", "other"], "both are listed")
    for at in (BENCH, OTHER):
        ana.wait(at + "/state", lambda s: not s["stale"], f"fresh samples of {at}")

    def kept(path, condition, what):
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            ana.keep(BENCH)
            ben.keep(OTHER)
            answer = ana.must("GET", path)
            if condition(answer):
                return answer
            time.sleep(0.05)
        need(False, f"{what}: {answer}")

    ana.must("POST", BENCH + "/lease", {})
    ben.must("POST", OTHER + "/lease", {})
    holders = [ana.must("GET", at + "/state")["lease"]["holder"]["name"] for at in (BENCH, OTHER)]
    need(holders == ["Ana", "Ben"], f"each bench has its own operator: {holders}")
    for person, at in ((ana, OTHER), (ben, BENCH)):
        need(person.call("PUT", at + "/actuators/fan_pct", {"value": 10})[0] == 409, f"nobody drives the other's bench: {at}")
    for person, at, fan in ((ana, BENCH, 60), (ben, OTHER, 50)):
        person.must("PUT", at + "/actuators/load_selector", {"position": "rheostat"})
        person.must("PUT", at + "/actuators/fan_pct", {"value": fan})

    ears = {}
    for name in ("bench", "other"):
        ears[name] = WebSocket(port, ana.token)
        ears[name].send({"type": "subscribe", "bench": name, "channels": ["air_speed_m_s"], "window_s": 10, "bins": 200})
        ears[name].message("subscribed")

    def both_go_on():
        """Turn by turn: neither waits for the other's to end."""
        seen = {name: ear.envelope() for name, ear in ears.items()}
        for _ in range(10):
            for name, ear in ears.items():
                now = ear.envelope()
                need(now.first_bin + now.bins > seen[name].first_bin, f"{name} goes on")
                need(now.device_time_ns > seen[name].device_time_ns, f"{name} has later samples")
                seen[name] = now
            ana.keep(BENCH)
            ben.keep(OTHER)
        return {name: now.newest[0] for name, now in seen.items()}

    both_go_on()
    kept(BENCH + "/state", lambda s: s["state"] == "running", "the first runs")
    kept(OTHER + "/state", lambda s: s["state"] == "running", "and the second")

    # The load of the first is thrown off while the wind blows.
    ana.must("PUT", BENCH + "/actuators/load_selector", {"position": "none"})
    ana.must("PUT", BENCH + "/actuators/fan_pct", {"value": 100})
    tripped = kept(BENCH + "/state", lambda s: s["tripped"], "a trip")
    need(tripped["commanded"]["fan_pct"] == 0, "its fan is off")
    state = ben.must("GET", OTHER + "/state")
    need(not state["tripped"] and state["state"] == "running" and state["commanded"]["fan_pct"] == 50, f"the other runs: {state}")
    wind = both_go_on()
    need(wind["other"] > 1.0, f"in its wind: {wind}")
    need(ana.call("PUT", BENCH + "/actuators/fan_pct", {"value": 10})[0] == 409, "the tripped one is not driven")
    ben.must("PUT", OTHER + "/actuators/fan_pct", {"value": 55})
    events = [line for line in ben.must("GET", OTHER + "/logbook?limit=1000")["lines"] if line["event"] == "trip"]
    need(events == [], f"the trip is in one logbook: {events}")
    need(any(line["event"] == "trip" for line in ana.must("GET", BENCH + "/logbook?limit=1000")["lines"]), "and in that one")
    finish(process)


def lost(bench):
    """A device that does not answer while it is driven by hand: a trip, and what it does when it is back is brought to rest."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        device_port = free.getsockname()[1]
    # A watchdog that is of no help.
    (bench.folder / "client.toml").write_text(bench.run("serve-device", "bench.toml", "--modbus-tcp", str(device_port), "--tables"))
    (bench.folder / "client_short.toml").write_text(CAMPAIGN.replace('bench = "bench.toml"', 'bench = "client.toml"'))
    device = subprocess.Popen([bench.program, "serve-device", "bench.toml", "--modbus-tcp", str(device_port), "--real-time",
                               "--watchdog-s", "3600"], cwd=bench.folder, stdout=subprocess.DEVNULL)
    atexit.register(device.kill)
    process, told = bench.start("serve", "--bench", "client.toml", "--listen", "127.0.0.1:0", "--runs", "../runs", "--json")
    atexit.register(process.kill)
    ana = Person(told["port"], "Ana")
    ana.wait(BENCH + "/state", lambda s: not s["stale"], "fresh samples")
    ana.must("POST", BENCH + "/lease", {})
    ana.must("PUT", BENCH + "/actuators/load_selector", {"position": "rheostat"})
    ana.must("PUT", BENCH + "/actuators/fan_pct", {"value": 40, "reason": "its interlocks are another test's"})

    def air_speed():
        return next(v["value"] for v in ana.must("GET", BENCH + "/values")["values"] if v["name"] == "air_speed_m_s")

    watch_until(ana, BENCH + "/values", lambda _: air_speed() > 3.0, "the wind")
    device.send_signal(signal.SIGSTOP)
    gone = watch_until(ana, BENCH + "/state", lambda s: s["fault"], "the fault")
    need(gone["tripped"] and gone["tripped"]["interlock"] == "device", f"a lost device that was driven is a trip: {gone}")
    device.send_signal(signal.SIGCONT)
    watch_until(ana, BENCH + "/state", lambda s: not s["stale"] and not s["fault"], "the device again")
    watch_until(ana, BENCH + "/values", lambda _: air_speed() < 1.0, "the wind to die down")
    need(ana.must("GET", BENCH + "/state")["tripped"], "the trip is latched")
    need(ana.call("PUT", BENCH + "/actuators/fan_pct", {"value": 10})[0] == 409, "nothing is driven before the reset")
    log = bench.folder / "guard.jsonl"
    need(json.loads(log.read_text().splitlines()[-1])["event"] == "trip", "other programs find the trip, too")
    ana.must("POST", BENCH + "/reset", {"reason": "the line is plugged in again"})
    need(json.loads(log.read_text().splitlines()[-1])["event"] == "reset", "and the reset")
    need(not ana.must("GET", BENCH + "/state")["tripped"], "reset here, too")

    # At rest: nothing is begun without samples, and what waits for the next one for long, or until the device is lost, does
    # not begin when it is back, nor trips anything.
    start = {"campaign": "client_short.toml", "reason": "its interlocks are another test's"}
    device.send_signal(signal.SIGSTOP)
    watch_until(ana, BENCH + "/state", lambda s: s["age_s"] > 3.0, "old samples")
    status, refused = ana.call("POST", BENCH + "/campaign", start)
    need(status == 409 and refused["error"]["code"] == "no_device", f"nothing to see: {refused}")
    for away in (lambda s: s["age_s"] > 5.0, lambda s: s["fault"]):
        device.send_signal(signal.SIGCONT)
        watch_until(ana, BENCH + "/state", lambda s: not s["stale"] and not s["fault"], "the device again")
        device.send_signal(signal.SIGSTOP)
        ana.must("POST", BENCH + "/campaign", start, 202)
        watch_until(ana, BENCH + "/state", away, "the device to be away")
        device.send_signal(signal.SIGCONT)
        watch_until(ana, BENCH + "/state", lambda s: not s["stale"] and not s["fault"], "the device again")
        time.sleep(1.0)
        back = ana.must("GET", BENCH + "/state")
        need(back["state"] == "safe" and back["activity"] == "watching" and not back["tripped"], f"at rest: {back}")
        dropped = ana.must("GET", BENCH + "/campaign")
        need(dropped["state"] == "paused" and dropped["ending"] == "fault", f"it waits for a person: {dropped}")

    # Nor does what waited for a hand at the blades begin when that hand has only just left them.
    def change_blades():
        while ana.call("PUT", BENCH + "/actuators/blade_count", {"value": 2})[1].get("error", {}).get("code") == "turns":
            time.sleep(0.1)

    by_hand = threading.Thread(target=change_blades)
    by_hand.start()
    asked = watch_until(ana, BENCH + "/state", lambda s: s["ask"], "a person to be asked")["ask"]
    ana.must("POST", BENCH + "/campaign", start, 202)
    watch_until(ana, BENCH + "/state", lambda s: s["age_s"] > 4.0, "the hand to take its time")
    ana.must("POST", BENCH + "/answer", {"number": asked["number"]})
    by_hand.join()
    watch_until(ana, BENCH + "/state", lambda s: not s["stale"], "fresh samples")
    time.sleep(1.0)
    back, dropped = ana.must("GET", BENCH + "/state"), ana.must("GET", BENCH + "/campaign")
    need(back["state"] == "safe" and dropped["ending"] == "fault" and "behind the start" in dropped["cause"], f"told: {back} {dropped}")
    finish(process)
    device.kill()


def answer_to(port, raw, timeout=30.0):
    with socket.create_connection(("127.0.0.1", port), timeout=timeout) as sock:
        try:
            sock.sendall(raw)
            sock.shutdown(socket.SHUT_WR)
        except OSError:
            pass
        got = b""
        try:
            while some := sock.recv(65536):
                got += some
        except OSError:
            pass
        return got


def strangers(bench):
    """Refused or bounded, never down, nothing leaked."""
    process, port = serve(bench)
    ana = Person(port, "Ana")
    host = f"Host: 127.0.0.1:{port}\r\n"
    nobody = Person.__new__(Person)
    nobody.port, nobody.token = port, None
    need(nobody.call("GET", BENCH)[0] == 401, "no session, no bench")
    need(nobody.call("POST", BENCH + "/stop", {})[0] == 200, "a stop on loopback needs none")
    need(ana.call("GET", "/api/v1/benches", headers={"Host": "evil.example"})[0] == 421, "a name pointed here")
    need(ana.call("POST", BENCH + "/lease", {}, {"Origin": "http://evil.example"})[0] == 403, "a page of another site")
    need(ana.call("POST", BENCH + "/lease", {}, {"Origin": f"http://127.0.0.1:{port}"})[0] == 200, "its own page")
    for path in ("/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/assets/..%2f..%2fetc/passwd", "/api/v1/runs/../../etc",
                 "/api/v1/runs/%2e%2e/files/recording.h5", f"{BENCH}/campaigns/..%2f..%2fbench.toml", "/a%00b", "/%ff"):
        got = answer_to(port, f"GET {path} HTTP/1.1\r\n{host}Authorization: Bearer {ana.token}\r\nConnection: close\r\n\r\n".encode())
        need(got.split()[1] in (b"400", b"404") and b"root:" not in got, f"{path}: {got[:80]}")
    status, _, _ = ana.raw("POST", BENCH + "/logbook", b"{\"text\": \"" + b"x" * 400_000 + b"\"}")
    need(status == 413, f"an oversized body: {status}")
    for body, wanted in ((b"{", 400), (b"[" * 100000, 400), (b"[]", 422), (b"{\"text\": 7}", 422), (b"\xff\xfe", 400)):
        need(ana.raw("POST", BENCH + "/logbook", body)[0] == wanted, f"{body[:20]}")
    need(ana.raw("POST", BENCH + "/logbook", b"text=1", {"Content-Type": "application/x-www-form-urlencoded"})[0] == 415, "a form")
    for raw in (b"\x16\x03\x01\x02\x00\x01\x00", b"GET / HTTP/9.9\r\n\r\n", b"\r\n\r\n\r\n", b"GET /\r\n", os.urandom(4096),
                f"GET / HTTP/1.1\r\n{host}X: {'y' * 30000}\r\n\r\n".encode(),
                f"POST {BENCH}/stop HTTP/1.1\r\n{host}Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n".encode(),
                f"GET / HTTP/1.1\r\n{host}{host}\r\n".encode()):
        got = answer_to(port, raw)
        need(not got or got.split()[1] in (b"400", b"421", b"431"), f"{raw[:30]}: {got[:60]}")
    need(WebSocket(port, None).status == 401, "live without a session")
    need(WebSocket(port, ana.token, headers=["Origin: http://evil.example"]).status == 403, "live from another site")
    for garbage in (b"\x00" * 200, os.urandom(500), b"\xff\xff" + b"\x7f" * 20, b"\x81\xfe\xff\xff", b"\x82\x80\x00\x00\x00\x00"):
        socket_ = WebSocket(port, ana.token)
        socket_.send_raw(garbage)
        socket_.close()
    live = WebSocket(port, ana.token)
    for text in ("", "{", "[]", "{\"type\": 1}", "{\"type\": \"subscribe\"}",
                 "{\"type\": \"subscribe\", \"bench\": \"bench\", \"window_s\": 1e999, \"bins\": 5}"):
        live.send_raw(live.frame(1, text.encode()))
        need(live.message("refused")["what"], text)
    live.send_raw(live.frame(1, b"{\"x\": \"" + b"y" * 5000 + b"\"}"))
    try:
        while live.receive()[0] != 8:
            pass
        need(True, "")
    except ConnectionError:
        pass
    # Ten thousand from twenty addresses who say nothing, one who says it slowly; another asks and stops meanwhile.
    silent = []
    for number in range(10_000):
        try:
            silent.append(socket.create_connection(("127.0.0.1", port), timeout=5, source_address=(f"127.0.1.{1 + number % 20}", 0)))
        except OSError:
            break
    need(len(silent) == 10_000, f"{len(silent)} connections were made")
    olga = Person.__new__(Person)
    olga.port, olga.token, olga.address = port, ana.token, ("127.0.2.1", 0)
    need(olga.call("POST", BENCH + "/stop", {})[0] == 200, "a stop in a crowd")
    need(not olga.must("GET", BENCH + "/state")["stale"], "the bench goes on")
    open_files = len(os.listdir(f"/proc/{process.pid}/fd"))
    need(open_files < 2_200, f"connections are bounded: {open_files} files")
    slow = silent[0]
    slow.settimeout(60)
    try:
        slow.sendall(b"GET / HT")
    except OSError:
        pass
    slow_end = b"x"
    try:
        slow_end = slow.recv(100)
    except OSError:
        slow_end = b""
    need(slow_end == b"" or slow_end.startswith(b"HTTP/1.1 4"), f"a slow head is cut off: {slow_end}")
    for sock in silent:
        sock.close()
    ana.wait(BENCH + "/state", lambda s: not s["stale"], "served again")
    events = [json.dumps(line) for line in ana.must("GET", "/api/v1/audit?limit=1000")["lines"]]
    need(any("evil.example" in line for line in events), "the audit has it")
    need(not any(ana.token in line for line in events), "no token is written down")
    finish(process)


def accounts(bench):
    """Accounts: refused without, each role as it may, too many log-ins."""
    for words in (("--listen", "0.0.0.0:0"), ("--listen", "0.0.0.0:0", "--accounts", "none.json")):
        ended = subprocess.run([bench.program, "serve", "--bench", "bench.toml", *words], cwd=bench.folder,
                               capture_output=True, text=True, timeout=60)
        need(ended.returncode == 2 and ended.stderr.count("\n") == 1, f"{words}: {ended.returncode} {ended.stderr}")
    for name, role in (("Ana", "operator"), ("Olga", "observer")):
        subprocess.run([bench.program, "serve", "--accounts", "accounts.json", "--add-account", name, "--role", role],
                       cwd=bench.folder, input=f"{name} has a long password\n", text=True, check=True, capture_output=True)
    file = bench.folder / "accounts.json"
    need(file.stat().st_mode & 0o777 == 0o600, "only its owner reads it")
    need("long password" not in file.read_text() and "$argon2id$" in file.read_text(), "no password is kept")
    process, port = serve(bench, "--accounts", "accounts.json")
    ana = Person(port, "Ana", password="Ana has a long password")
    need(ana.status == 200 and ana.session["person"]["role"] == "operator", f"she is in: {ana.session}")
    need(Person(port, "Ana", password="wrong").status == 401, "a wrong password")
    need(Person(port, "Nobody", password="wrong").status == 401, "nobody")
    olga = Person(port, "Olga", password="Olga has a long password")
    need(olga.call("POST", BENCH + "/lease", {})[0] == 403, "an observer takes no lease")
    nobody = Person.__new__(Person)
    nobody.port, nobody.token = port, None
    need(nobody.call("POST", BENCH + "/stop", {})[0] == 401, "with accounts a stranger stops nothing")
    need(olga.call("POST", BENCH + "/stop", {})[0] == 200, "an observer does")
    statuses = [Person(port, "Ana", password=f"guess {i}").status for i in range(12)]
    need(429 in statuses, f"too many guesses: {statuses}")
    finish(process)


class Encrypted(Person):
    trusted = None

    def connection(self):
        return http.client.HTTPSConnection("127.0.0.1", self.port, timeout=60, context=self.trusted)


def tls(bench):
    """Beyond loopback: TLS 1.2 or later with accounts; what is not TLS, older, or never shakes hands gets nothing."""
    key, certificate = bench.folder / "key.pem", bench.folder / "chain.pem"
    subprocess.run(["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", key, "-out", certificate, "-days", "2",
                    "-subj", "/CN=bench.test", "-addext", "subjectAltName=IP:127.0.0.1"], check=True, capture_output=True)
    subprocess.run([bench.program, "serve", "--accounts", "accounts.json", "--add-account", "Ana", "--role", "operator"],
                   cwd=bench.folder, input="Ana has a long password\n", text=True, check=True, capture_output=True)
    process, port = serve(bench, "--accounts", "accounts.json", "--certificate", certificate, "--key", key)
    Encrypted.trusted = ssl.create_default_context(cafile=certificate)
    ana = Encrypted(port, "Ana", password="Ana has a long password")
    need(ana.status == 200, f"she is in: {ana.session}")
    status, headers, _ = ana.raw("GET", BENCH + "/state")
    need(status == 200 and headers["Strict-Transport-Security"], f"encrypted, and to stay so: {headers}")
    status, headers, _ = ana.raw("POST", "/api/v1/session", json.dumps({"name": "Ana", "password": "Ana has a long password"}).encode())
    need("; Secure" in headers["Set-Cookie"] and "HttpOnly" in headers["Set-Cookie"], f"the cookie: {headers}")
    live = WebSocket(port, ana.token, trusted=Encrypted.trusted)
    live.send({"type": "subscribe", "bench": "bench", "channels": ["air_speed_m_s"], "window_s": 10, "bins": 200})
    told = live.message("subscribed")
    need(live.envelope().stream == told["stream"], "live values, encrypted")
    need(b"HTTP/1.1 200" not in answer_to(port, f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()), "nothing unencrypted")
    old = subprocess.run(["openssl", "s_client", "-connect", f"127.0.0.1:{port}", "-tls1_1"], stdin=subprocess.DEVNULL,
                         capture_output=True, text=True, timeout=60)
    need("Cipher is (NONE)" in old.stdout, "TLS 1.1 is refused")
    for garbage in (os.urandom(3000), b"\x16\x03\x01\xff\xff" + b"\x01" * 100, b"\x16\x03\x01\x00\x05\x01\x00\x00\x01\x00"):
        need(b"HTTP" not in answer_to(port, garbage), "no handshake, no answer")
    mute = [socket.create_connection(("127.0.0.1", port), timeout=30) for _ in range(200)]
    need(ana.call("POST", BENCH + "/stop", {})[0] == 200, "a stop beside 200 that never shake hands")
    need(mute[0].recv(1) == b"", "which are let go")
    for sock in mute:
        sock.close()
    finish(process)


what, program, source, scratch = sys.argv[1:5]
{"job": job, "people": people, "killed": killed, "lost": lost, "several": several, "strangers": strangers, "accounts": accounts, "tls": tls}[what](
    ready_bench(program, source, scratch))
print(what, "holds")
