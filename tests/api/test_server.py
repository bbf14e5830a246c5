"""The process starts, prints its address, finishes running requests, and explains a failure in one line (wire
case 51)."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import httpx
import pytest
from pydantic import ValidationError

from app.settings import Settings
from app.web.server.server import CANNOT_LISTEN, run

PROGRAM = """
from app.settings import Settings
from app.web.server.server import run
from tests.api.shell import shell
settings = Settings()
run(settings, shell(settings))
"""


@pytest.fixture
def running() -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A separate process, and the line in which it prints its address."""
    with subprocess.Popen(
        [sys.executable, "-c", PROGRAM], env={**os.environ, "LEGWORK_PORT": "0"}, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stderr is not None
        yield process, process.stderr.readline()
        process.kill()


def test_it_says_where_it_answers_and_finishes_what_is_under_way_at_a_stop(
    running: tuple[subprocess.Popen[str], str],
) -> None:
    process, said = running
    address = said.removeprefix("Legwork answers at ").strip()
    assert httpx.get(f"{address}healthz").status_code == 200
    port = int(address.rstrip("/").rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port), timeout=30) as line:
        line.sendall(b"GET /v1/pause HTTP/1.1\r\nHost: localhost\r\n\r\n")
        time.sleep(0.3)
        process.send_signal(signal.SIGTERM)
        answer = b""
        while part := line.recv(65_536):
            answer += part
    assert answer.startswith(b"HTTP/1.1 200")
    assert answer.endswith(b"done")
    assert process.wait(10) == 0


def test_a_port_in_use_is_one_plain_line_and_an_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(SystemExit) as stopped:
            run(Settings(port=port), app=None)
    assert stopped.value.code == CANNOT_LISTEN
    assert capsys.readouterr().err == f"Cannot listen on 127.0.0.1 port {port}: another program is using it.\n"


def test_a_setting_that_is_wrong_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEGWORK_PORT", "many")
    with pytest.raises(ValidationError, match="port"):
        Settings()


def test_each_setting_is_described() -> None:
    assert [name for name, field in Settings.model_fields.items() if not field.description] == []
