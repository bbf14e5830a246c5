"""Each server to be timed, as a process pinned to one core, and wrk on the other."""

import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from tests.processes import started_by

ROOT = Path(__file__).parents[2]
PYTHON = sys.executable
CONNECTIONS = 16


@dataclass(frozen=True)
class Variant:
    """One line of the table: a command with `{port}`, the request, and the core that serves it."""

    name: str
    command: list[str]
    path: str
    """`{chassis}` and `{year}` are drawn again for each request."""
    environment: dict[str, str] = field(default_factory=dict)
    header: str | None = None
    status: int = 200


@dataclass(frozen=True)
class Run:
    """The result of one wrk run: requests per second, and milliseconds."""

    rate: float
    p50: float
    p99: float
    refused: int


def yardstick(name: str) -> list[str]:
    """uvicorn in its usual form, one worker without an access log."""
    where = f"tests.load.yardsticks:{name}"
    return [PYTHON, "-m", "uvicorn", where, "--port", "{port}", "--no-access-log", "--log-level", "warning"]


def legwork(database: Path) -> list[str]:
    """The service as it is shipped."""
    return [PYTHON, "-m", "app", "serve", "--port", "{port}", "--database", str(database)]


@contextmanager
def running(variant: Variant, first: str) -> Iterator[tuple[int, int, float]]:
    """The process on core 0: its port, its id, and the seconds from its start to its first answer to `first`."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    command = ["taskset", "-c", "0", *(part.replace("{port}", str(port)) for part in variant.command)]
    begun = time.monotonic()
    with tempfile.TemporaryFile("w+") as said:  # a log line per request is written, as in production
        environment = {**os.environ, **variant.environment}
        process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=said)
        try:
            while True:
                try:
                    if httpx.get(f"http://127.0.0.1:{port}{first}", timeout=5).status_code < 500:
                        break
                except httpx.TransportError:
                    if process.poll() is not None:
                        said.seek(0)
                        raise RuntimeError(f"{variant.name} did not start: {said.read()[-500:]}") from None
                if time.monotonic() - begun > 60:
                    raise RuntimeError(f"{variant.name} did not answer in a minute")
                time.sleep(0.01)
            taken = time.monotonic() - begun
            _until_quiet(process.pid)
            yield port, process.pid, taken
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(20)


def _until_quiet(pid: int) -> None:
    """Waits, at most 30 s, until a process has been idle for 1.5 s: its background work after the start is over."""
    clock, quiet_since, deadline = -1, time.monotonic(), time.monotonic() + 30
    while time.monotonic() - quiet_since < 1.5 and time.monotonic() < deadline:
        time.sleep(0.1)
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        spent = int(fields[11]) + int(fields[12])  # in hundredths of a second
        if spent > clock + 1:
            clock, quiet_since = spent, time.monotonic()


def blast(variant: Variant, port: int, seconds: float, chassis: int) -> Run:
    """One run of wrk on core 1 with 16 connections; each request draws chassis and year, if the path has them."""
    name = variant.path.replace("{chassis}", '" .. string.format("%06d", math.random(0, LAST)) .. "')
    path = '"' + name.replace("{year}", '" .. math.random(2016, 2023) .. "') + '"'
    head = f'wrk.headers["If-None-Match"] = {variant.header!r}\n' if variant.header else ""
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
        script.write(f"local LAST = {chassis - 1}\n{head}function setup(t) math.randomseed(os.time()) end\n")
        script.write(f"request = function() return wrk.format('GET', {path}) end\n")
        script.flush()
        said = subprocess.run(
            ["taskset", "-c", "1", "wrk", "-t1", f"-c{CONNECTIONS}", f"-d{seconds:g}s", "--latency", "-s", script.name,
             f"http://127.0.0.1:{port}"],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
    refused = re.search(r"Non-2xx or 3xx responses: (\d+)", said)
    return Run(
        float(_said(r"Requests/sec:\s+([\d.]+)", said)), _milliseconds(_said(r"\n\s+50%\s+(\S+)", said)),
        _milliseconds(_said(r"\n\s+99%\s+(\S+)", said)), int(refused[1]) if refused else 0,
    )  # fmt: skip


def memory(pid: int) -> float:
    """Resident MB of a process, its children included."""
    own = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    return (int(own[1]) / 1000 if own else 0.0) + sum(map(memory, started_by(pid)))


def _said(pattern: str, text: str) -> str:
    found = re.search(pattern, text)
    if found is None:
        raise RuntimeError(f"wrk did not say {pattern}:\n{text}")
    return found[1]


def _milliseconds(text: str) -> float:
    number, unit = re.fullmatch(r"([\d.]+)(us|ms|s|m)", text).groups()  # type: ignore[union-attr]
    return float(number) * {"us": 0.001, "ms": 1, "s": 1000, "m": 60_000}[unit]
