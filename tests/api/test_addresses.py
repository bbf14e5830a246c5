"""A service that listens on all interfaces: which addresses it prints, which hosts it accepts, which it refuses."""

import io
import os
import pty
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
import segno

from app.settings import Settings
from app.web.server.addresses import LOOPBACK, announce, own_hosts, with_own_hosts
from tests.problems import assert_problem


@contextmanager
def serving(folder: Path, **settings: str) -> Iterator[tuple[int, str]]:
    """`legwork serve --host 0.0.0.0` on a terminal: its port, and its output up to the first answer."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LEGWORK_")}
    environment["LEGWORK_DATABASE_URL"] = f"sqlite:///{folder}/catalogue.db"
    environment["LEGWORK_SHOP_DATABASE_URL"] = f"sqlite:///{folder}/shop.db"
    environment |= {f"LEGWORK_{name.upper()}": value for name, value in settings.items()}
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "app", "serve", "--host", "0.0.0.0", "--port", "0"]
    with subprocess.Popen(command, env=environment, stderr=theirs) as process:
        os.close(theirs)
        said, until = b"", time.monotonic() + 60
        while "▀▀▀▀▀▀" not in said.decode("utf-8", "ignore"):
            assert time.monotonic() < until, said
            said += os.read(ours, 65_536)
        text = said.decode("utf-8", "ignore").replace("\r\n", "\n")
        port = int(re.findall(r"http://[^/]+:(\d+)/", text)[0])
        try:
            yield port, text
        finally:
            process.kill()
    os.close(ours)


def ask(address: str, host: str, port: int) -> httpx.Response:
    for _ in range(200):
        try:
            return httpx.get(f"http://{address}:{port}/healthz", headers={"Host": f"{host}:{port}"}, timeout=5)
        except httpx.ConnectError:
            time.sleep(0.05)
    raise AssertionError("nothing answers")


def test_it_answers_for_the_addresses_and_names_of_this_machine_and_says_so(tmp_path: Path) -> None:
    with serving(tmp_path) as (port, said):
        hosts = re.findall(r"Allowed hosts: (.*?)\. To change them, set LEGWORK_ALLOWED_HOSTS", said)[0].split(", ")
        assert {*LOOPBACK, socket.gethostname().lower()} <= set(hosts)
        listed = re.findall(rf"http://(.+?):{port}/", said)
        assert set(listed) | set(LOOPBACK) == set(hosts)
        addresses = [host for host in hosts if re.fullmatch(r"[0-9.]+", host)]
        for address in addresses:
            assert ask(address, address, port).status_code == 200
        for host in hosts:
            assert ask("127.0.0.1", host, port).status_code == 200
        detail = assert_problem(ask("127.0.0.1", "elsewhere.test", port), 400)["detail"]
        assert "LEGWORK_ALLOWED_HOSTS" in detail
        code = io.StringIO()
        segno.make(f"http://{listed[0]}:{port}/", micro=False).terminal(code, compact=True)
        assert code.getvalue().rstrip() in said


def test_hosts_that_are_set_are_the_only_ones_beside_loopback(tmp_path: Path) -> None:
    with serving(tmp_path, allowed_hosts="bench.example.org") as (port, said):
        assert f"Legwork answers at http://bench.example.org:{port}/" in said
        assert ask("127.0.0.1", "bench.example.org", port).status_code == 200
        assert ask("127.0.0.1", "127.0.0.1", port).status_code == 200  # a health check
        assert ask("127.0.0.1", socket.gethostname(), port).status_code == 400


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost"])
def test_on_loopback_nothing_is_added_and_no_code_is_shown(host: str) -> None:
    settings = with_own_hosts(Settings(host=host))
    assert set(settings.allowed_hosts) == set(LOOPBACK)
    said = io.StringIO()
    announce(settings, 80, said)
    assert re.fullmatch(r"Legwork answers at http://\S+:80/\n", said.getvalue())


def test_an_address_that_is_named_comes_first() -> None:
    assert own_hosts("192.168.7.9")[0] == "192.168.7.9"
    assert own_hosts("fd00::9")[0] == "[fd00::9]"
    assert own_hosts("Bench")[0] == "bench"
    assert "192.168.7.9" in with_own_hosts(Settings(host="192.168.7.9")).allowed_hosts


def test_where_no_terminal_reads_there_is_no_code_and_any_host_is_said() -> None:
    said = io.StringIO()
    announce(with_own_hosts(Settings(host="0.0.0.0", allowed_hosts=["*"])), 80, said)
    assert "█" not in said.getvalue()
    assert "hosts: *, localhost" in said.getvalue()
