"""A PostgreSQL server of our own for tests: a temporary folder, a local socket, page checksums on.

It speaks on a Unix socket inside a folder that only its own user and root can enter, so nothing on
a network can reach it. PostgreSQL refuses to run as root; as root the server runs as an
unprivileged user of the machine.
"""

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg

PROGRAMS = sorted(
    Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]), reverse=True
)
WHY_NOT = (
    "NO POSTGRESQL HERE: the store was checked on SQLite only. "
    "Install the Debian package postgresql to check it on PostgreSQL too."
)

MEMORY = Path("/dev/shm") if os.access("/dev/shm", os.W_OK) else None  # noqa: S108
"""Where the server keeps its files unless told otherwise: quick, and a killed process is the same
there. Only a power cut differs, which no test here can make; `make soak` uses the disk."""


def _owner() -> str | None:
    """Return the user to run as, or None to run as the present one."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        with contextlib.suppress(KeyError):
            return pwd.getpwnam(name).pw_name
    raise RuntimeError("no unprivileged user on this machine")


def _runs(process: str) -> bool:
    """Whether a process is more than a name waiting to be struck off by its new parent."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


class PostgresServer:
    """One server with its own data folder; `kill` is SIGKILL to all of it, `start` recovers."""

    def __init__(self, parent: Path | None = MEMORY) -> None:
        if not PROGRAMS:
            raise FileNotFoundError(WHY_NOT)
        self._programs = PROGRAMS[0].parent
        self._user = _owner()
        self.folder = Path(tempfile.mkdtemp(prefix="decussate-pg-", dir=parent))
        if self._user:
            shutil.chown(self.folder, self._user)
        self._data = self.folder / "data"
        self._run(
            "initdb", "--pgdata", str(self._data), "--data-checksums", "--auth=trust",
            "--username=tests", "--encoding=UTF8", "--locale=C.UTF-8", "--no-sync",
        )  # fmt: skip
        self._server: subprocess.Popen[bytes] | None = None
        self._made = 0
        self.start()

    def _run(self, program: str, *arguments: str) -> str:
        done = subprocess.run(
            [str(self._programs / program), *arguments],
            user=self._user, cwd=self.folder, env={"PATH": "/usr/bin:/bin"},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode:
            raise RuntimeError(f"{program}: {done.stderr}")
        return done.stdout

    def start(self) -> None:
        """Start the server and wait until it answers; after a kill it recovers first."""
        log = (self.folder / "server.log").open("ab")
        self._server = subprocess.Popen(
            [
                str(self._programs / "postgres"), "-D", str(self._data), "-k", str(self.folder),
                "-c", "listen_addresses=", "-c", "shared_buffers=32MB", "-c", "max_connections=60",
                "-c", "recovery_init_sync_method=syncfs",
            ],
            user=self._user, cwd=self.folder, env={"PATH": "/usr/bin:/bin"},
            stdin=subprocess.DEVNULL, stdout=log, stderr=log,
        )  # fmt: skip
        log.close()
        deadline = time.monotonic() + 60
        while True:
            try:
                psycopg.connect(self.conninfo(), connect_timeout=5).close()
                return
            except psycopg.OperationalError:
                if self._server.poll() is not None or time.monotonic() > deadline:
                    raise RuntimeError((self.folder / "server.log").read_text()) from None
                time.sleep(0.02)

    def conninfo(self, address: str = "") -> str:
        """Return how libpq reaches the server, or the records of an address."""
        reach = f"host={self.folder} dbname=postgres user=tests"
        name = address.rpartition("%3D")[2]
        return f"{reach} options=-csearch_path={name}" if name else reach

    def version(self) -> str:
        """Return what the server calls itself."""
        with psycopg.connect(self.conninfo()) as connection:
            return f"PostgreSQL {connection.info.server_version // 10000}"

    def new_database(self) -> str:
        """Make room for one store and return its address: a schema, made faster than a database."""
        self._made += 1
        name = f"records_{self._made}"
        with psycopg.connect(self.conninfo(), autocommit=True) as connection:
            connection.execute(f"create schema {name}")
        reach = f"host={self.folder}&options=-csearch_path%3D{name}"
        return f"postgresql+psycopg://tests@/postgres?{reach}"

    def dump(self, address: str) -> str:
        """Return the records of an address as SQL that can be run in another schema."""
        name = address.rpartition("%3D")[2]
        written = self._run(
            "pg_dump", "--inserts", "--no-owner", "--no-privileges", f"--schema={name}",
            f"host={self.folder} dbname=postgres user=tests",
        )  # fmt: skip
        left_out = ("--", "\\", "CREATE SCHEMA", "SELECT pg_catalog.set_config('search_path'")
        lines = [line for line in written.splitlines() if line and not line.startswith(left_out)]
        return "\n".join(lines).replace(f"{name}.", "") + "\n"

    def kill(self) -> None:
        """SIGKILL the server and every process it started, as a power cut would end them."""
        assert self._server is not None
        first = self._server.pid
        children = Path(f"/proc/{first}/task/{first}/children").read_text().split()
        for process in (first, *map(int, children)):
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        self._server.wait()
        # A new server refuses to start while one process of the old one still lives.
        while any(_runs(child) for child in children):
            time.sleep(0.005)

    def close(self) -> None:
        """End the server and remove its folder."""
        self.kill()
        shutil.rmtree(self.folder, ignore_errors=True)
