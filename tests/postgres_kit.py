"""A PostgreSQL server of our own, as Debian packages it: started, stopped, thrown away."""

import os
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path

import pytest

BINARIES = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name))
COLLATION = ("--locale=C.UTF-8", "--locale-provider=icu", "--icu-locale=en-US")
"""Sorts words as dictionaries do, unlike SQLite: what relies on the order of bytes must fail."""


def require_server():
    """Skip where no server is installed; with CI=true that is a failure."""
    if BINARIES and shutil.which("runuser"):
        return
    if os.environ.get("CI") == "true":
        pytest.fail("PostgreSQL is missing, and CI=true demands it: apt-get install postgresql")
    pytest.skip("PostgreSQL is not installed: apt-get install postgresql")


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """One cluster in a folder of its own, on a port of its own."""

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="sparehand-pg-"))
        self.port = free_port()
        if os.getuid() == 0:
            shutil.chown(self.folder, "postgres", "postgres")
        self.run("initdb", "-D", self.data, "-U", "postgres", "-A", "trust", *COLLATION)

    @property
    def data(self):
        return self.folder / "data"

    def run(self, program, *arguments):
        """Run one of PostgreSQL's programs; it refuses to run as root."""
        as_user = ("runuser", "-u", "postgres", "--") if os.getuid() == 0 else ()
        command = (*as_user, BINARIES[-1] / program, *arguments)
        subprocess.run(
            command, check=True, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )

    def start(self):
        options = f"-c port={self.port} -c listen_addresses=127.0.0.1"
        options += f" -c unix_socket_directories={self.folder} -c fsync=off"
        log = self.folder / "log"
        self.run("pg_ctl", "-D", self.data, "-w", "-l", log, "-o", options, "start")

    def stop(self):
        self.run("pg_ctl", "-D", self.data, "-w", "-m", "immediate", "stop")

    def database(self, name):
        """Make an empty database; return its address."""
        self.run("createdb", "-h", "127.0.0.1", "-p", str(self.port), "-U", "postgres", name)
        return f"postgresql://postgres@127.0.0.1:{self.port}/{name}"

    def remove(self):
        try:
            self.stop()
        except subprocess.CalledProcessError:
            time.sleep(0.1)
        shutil.rmtree(self.folder, ignore_errors=True)
