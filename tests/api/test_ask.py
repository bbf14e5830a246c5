"""`legwork ask` gives the same answer from a local file as from a server, as text and JSON; a refusal exits with 1."""

import io
import json
import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from typer.testing import CliRunner

from app.catalogue.catalogue import Catalogue
from app.cli import cli
from app.database.connections import Database
from app.errors import Unavailable
from app.main import create_app
from app.settings import Settings
from app.web.server.server import config_of
from tests.conftest import Fresh

FITS = ["chassis/quembry-trivet-35/fits", "travel=150", "model_year=2023"]


@pytest.fixture(scope="module")
def file(fresh_database: Fresh) -> Iterator[str]:
    """The URL of a SQLite catalogue with the demo."""
    with fresh_database("sqlite", True) as url:
        yield url


@pytest.fixture(scope="module")
def server(file: str) -> Iterator[str]:
    """The address of a server on the same catalogue."""
    settings = Settings(port=0)
    database = Database(file)
    running = uvicorn.Server(config_of(create_app(settings, Catalogue(database), log_to=io.StringIO()), settings))
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    deadline = time.monotonic() + 30
    while not running.started:
        assert time.monotonic() < deadline, "the server did not start"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{running.servers[0].sockets[0].getsockname()[1]}"
    running.should_exit = True
    thread.join(15)
    database.close()


@pytest.mark.parametrize("options", [[], ["--json"]])
def test_a_file_and_a_server_answer_alike(file: str, server: str, options: list[str]) -> None:
    local = CliRunner().invoke(cli, ["ask", *FITS, "--database", file, *options])
    remote = CliRunner().invoke(cli, ["ask", *FITS, "--server", server, *options])
    assert (local.exit_code, remote.exit_code) == (0, 0), (local.output, remote.output)
    assert local.stdout == remote.stdout
    if options:
        assert json.loads(local.stdout)["fits"]
    else:
        demonstration, _, fits = local.stdout.partition("What fits: Quembry Trivet")
        assert " ".join(demonstration.split()).startswith("/// This is demonstration data")
        assert fits
        assert max(map(len, local.stdout.split("\n"))) <= 80


def test_a_name_in_any_script_reaches_the_search(file: str) -> None:
    found = CliRunner().invoke(cli, ["ask", "/", "q=trívet & co", "--database", file, "--json"])
    assert found.exit_code == 0
    assert json.loads(found.stdout)["q"] == "trívet & co"


def test_a_refusal_says_how_to_fix_it_and_exits_with_1(file: str) -> None:
    refused = CliRunner().invoke(cli, ["ask", FITS[0], "travel=150", "model_year=2030", "--database", file])
    assert (refused.exit_code, refused.stdout) == (1, "")
    assert "try: 2024" in refused.stderr
    as_json = CliRunner().invoke(cli, ["ask", FITS[0], "travl=150", "--database", file, "--json"])
    assert as_json.exit_code == 1
    assert json.loads(as_json.stdout)["errors"][0]["suggestion"] == "travel"


def test_a_server_that_is_not_there_is_one_plain_refusal() -> None:
    refused = CliRunner().invoke(cli, ["ask", *FITS, "--server", "http://127.0.0.1:1"])
    assert isinstance(refused.exception, Unavailable)
    assert "cannot reach http://127.0.0.1:1" in refused.exception.detail
