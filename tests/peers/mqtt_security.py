# SPDX-License-Identifier: Apache-2.0
"""Users, passwords and TLS, for publishing and for the driver, with a mosquitto broker and certificates that openssl
makes in the scratch folder.

mqtt_security.py PROGRAM SOURCE_FOLDER SCRATCH_FOLDER
"""

import json
import re
import shutil
import subprocess
import sys

from broker import Broker, need_mosquitto
from peer import Bench, need, skip

need_mosquitto()
for tool in ("openssl", "mosquitto_passwd"):
    if shutil.which(tool) is None:
        skip(f"{tool} is not installed")


def openssl(folder, *words):
    ended = subprocess.run(["openssl", *words], cwd=folder, capture_output=True, text=True)
    need(ended.returncode == 0, f"openssl {words}: {ended.stderr}")


def authority(folder, name):
    openssl(folder, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
            "-subj", f"/CN={name}", "-keyout", f"{name}.key", "-out", f"{name}.pem")


def server(folder, name, made_out_to):
    """A key and a certificate that `ca` vouches for."""
    (folder / f"{name}.ext").write_text(f"subjectAltName={made_out_to}\n")
    openssl(folder, "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-subj", f"/CN={name}",
            "-keyout", f"{name}.key", "-out", f"{name}.csr")
    openssl(folder, "x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-days",
            "2", "-extfile", f"{name}.ext", "-out", f"{name}.pem")


def broker_of(folder, name):
    settings = ["allow_anonymous false", f"password_file {folder}/users", f"certfile {folder}/{name}.pem",
                f"keyfile {folder}/{name}.key"]
    return Broker(folder, settings, ["--cafile", str(folder / "ca.pem"), "-u", "hall", "-P", "hall's own"])


def publishing(broker, user="bench-a", password="password", ca="ca.pem"):
    more = f'user = "{user}"\npassword_file = "{password}"\n' if user else ""
    more += f'ca_file = "{ca}"\n' if ca else ""
    return (f'\n[publish]\nhost = "127.0.0.1"\nport = {broker.port}\nbench = "bench-a"\ninterval_s = 0.2\n'
            f"timeout_s = 5\n{more}")


def published(bench, plain, table, into):
    (bench.folder / "bench.toml").write_text(plain + table)
    told = json.loads(bench.run("record", "bench.toml", "--seconds", "2", "--into", into, "--json"))
    need(told["samples"] == 2000, f"{into}: every sample, whatever the broker says")
    return told["publish"]


def publishing_is_let_in_and_trusts_no_stranger(bench, plain, broker, stranger):
    told = published(bench, plain, publishing(broker), "in.h5")
    need(told["messages"] > 10 and "never" not in "".join(told["remarks"]), f"let in: {told}")
    need(broker.state("windwright/bench-a")["ending"] == "complete", "seen by a client over TLS")
    for case, table, why in (
            ("wrong-password", publishing(broker, password="wrong"), "not authorised"),
            ("no-user", publishing(broker, user=""), "not authorised"),
            ("other-authority", publishing(broker, ca="other.pem"), "no trust"),
            ("other-name", publishing(stranger), "no trust"),
            ("without-tls", publishing(broker, ca=""), "")):
        told = published(bench, plain, table, case + ".h5")
        need(told["messages"] == 0 and "was never reached" in told["remarks"][0] and why in told["remarks"][0],
             f"{case}: {told}")


def wired(plain, broker, password="password", ca="ca.pem"):
    """The bench with a topic for every channel and actuator."""
    text = re.sub(r'(\[\[channel\]\]\nname = "(\w+)"\n)', r'\1device = {topic = "values"}\n', plain)
    text = re.sub(r'(\[\[actuator\]\]\nname = "(\w+)"\n)', r'\1device = {topic = "set"}\n', text)
    blocks = text.split("[[")  # what a person sets has no wiring
    text = "[[".join(b.replace('device = {topic = "set"}\n', "") if "manual = true" in b else b for b in blocks)
    text = text.replace("sample_rate_hz = 1000", "sample_rate_hz = 10")
    return text + (f'\n[device]\nkind = "mqtt"\nhost = "127.0.0.1"\nport = {broker.port}\nstale_s = 10\n'
                   f'user = "bench-a"\npassword_file = "{password}"\nca_file = "{ca}"\ntimeout_s = 5\n')


def the_driver_is_let_in_and_trusts_no_stranger(bench, plain, broker, stranger):
    file = bench.folder / "bench.toml"
    file.write_text(wired(plain, broker))
    record = ("record", "bench.toml", "--seconds", "1", "--json", "--into")
    process = subprocess.Popen([bench.program, *record, "driven.h5"], cwd=bench.folder, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)
    while process.poll() is None:
        subprocess.run(broker.words("mosquitto_pub", "-t", "values", "-m", "2.5"), check=True)
    need(process.returncode == 0, f"a recording: {process.stderr.read()}")
    need(json.loads(process.stdout.read())["samples"] == 10, "over TLS")
    for case, text, why in (("wrong password", wired(plain, broker, password="wrong"), "not authorised"),
                            ("other authority", wired(plain, broker, ca="other.pem"), "no trust"),
                            ("other name", wired(plain, stranger), "no trust")):
        file.write_text(text)
        ended = subprocess.run([bench.program, *record, "refused.h5"], cwd=bench.folder, capture_output=True, text=True)
        need(ended.returncode == 3 and why in ended.stderr, f"{case}: {ended.returncode}: {ended.stderr}")


def files_that_are_not_there(bench, plain, broker):
    for table in (publishing(broker, password="gone"), publishing(broker, ca="gone"), publishing(broker, password="empty")):
        text = plain + table
        (bench.folder / "bench.toml").write_text(text)
        name = "ca_file" if 'ca_file = "gone"' in table else "password_file"
        line = 1 + text[:text.index(name)].count("\n")
        ended = subprocess.run([bench.program, "record", "bench.toml", "--seconds", "1", "--into", "no.h5"],
                               cwd=bench.folder, capture_output=True, text=True)
        need(ended.returncode == 2 and ended.stderr.startswith(f"bench.toml:{line}: "), f"{name}: {ended.stderr}")
        need(not (bench.folder / "no.h5").exists(), "nothing is written")
        bench.run("record", "bench.toml", "--seconds", "1", "--into", f"quiet-{line}-{name}.h5", "--publish", "none")
        (bench.folder / f"quiet-{line}-{name}.h5").unlink()


def main():
    bench = Bench(*sys.argv[1:4])
    folder = bench.folder
    authority(folder, "ca")
    authority(folder, "other")
    server(folder, "server", "IP:127.0.0.1")
    server(folder, "stranger", "DNS:broker.example")
    for user, password in (("bench-a", "correct horse"), ("hall", "hall's own")):
        subprocess.run(["mosquitto_passwd", "-b", *([] if (folder / "users").exists() else ["-c"]), folder / "users", user,
                        password], check=True)
    (folder / "password").write_text("correct horse\n")
    (folder / "wrong").write_text("incorrect\n")
    (folder / "empty").write_text("\nbelow\n")
    plain = (folder / "bench.toml").read_text()
    brokers = [broker_of(folder, name) for name in ("server", "stranger")]
    try:
        publishing_is_let_in_and_trusts_no_stranger(bench, plain, *brokers)
        the_driver_is_let_in_and_trusts_no_stranger(bench, plain, *brokers)
        files_that_are_not_there(bench, plain, brokers[0])
        print("let in, kept out, trusted, not trusted")
    finally:
        for broker in brokers:
            broker.kill()


main()
