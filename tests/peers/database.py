# SPDX-License-Identifier: Apache-2.0
"""A PostgreSQL server of its own for a test, made by PostgreSQL's own programs."""

import os
import pathlib
import pwd
import shutil
import subprocess
import tempfile

from peer import need, skip


class Server:
    """A PostgreSQL server nobody else sees."""

    def __init__(self):
        found = sorted(pathlib.Path("/usr/lib/postgresql").glob("*/bin/initdb"))
        if not found:
            skip("there is no PostgreSQL server (package postgresql)")
        self.programs = found[-1].parent
        self.user = {}
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="windwright-pg."))  # socket paths are short
        if os.geteuid() == 0:
            try:
                pwd.getpwnam("postgres")
            except KeyError:
                shutil.rmtree(self.folder)
                skip("PostgreSQL does not run as root, and there is no user postgres")
            os.chmod(self.folder, 0o755)
            shutil.chown(self.folder, "postgres")
            self.user = {"user": "postgres", "group": "postgres", "extra_groups": []}
        self.url = f"postgresql://wind@/wind?host={self.folder}"
        try:
            self.run("initdb", "-D", "data", "-U", "wind", "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8")
            self.run("pg_ctl", "-D", "data", "-w", "-l", "log", "-o", f"-k {self.folder} -c listen_addresses= -c fsync=off",
                     "start")
            self.run("createdb", "-h", self.folder, "-U", "wind", "wind")
        except BaseException:
            self.stop()
            raise

    def run(self, program, *words, longest_s=60):
        # A server that goes on would hold a pipe open: its words go into its log.
        out = subprocess.DEVNULL if program == "pg_ctl" else subprocess.PIPE
        ended = subprocess.run([self.programs / program, *words], cwd=self.folder, stdout=out, stderr=subprocess.STDOUT,
                               stdin=subprocess.DEVNULL, text=True, timeout=longest_s, **self.user,
                               env={"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"})
        need(ended.returncode == 0, f"{program}: {ended.stdout}")
        return ended.stdout

    def ask(self, statement):
        return self.run("psql", "-h", self.folder, "-U", "wind", "-At", "-c", statement, "wind").splitlines()

    def stop(self):
        if (self.folder / "data/postmaster.pid").exists():
            subprocess.run([self.programs / "pg_ctl", "-D", "data", "-m", "immediate", "stop"], cwd=self.folder,
                           stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **self.user)
        shutil.rmtree(self.folder, ignore_errors=True)
