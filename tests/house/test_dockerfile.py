"""The steps of the Dockerfile, run here: the result serves, is healthy, contains no developer tools, and stops."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from tests.house.dockerfile import build, lines

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "Dockerfile").read_text()
TOOLS = Path(sys.executable).parent
FOR_DEVELOPERS = ("pytest", "mypy", "hypothesis", "scipy", "CoolProp", "playwright", "ruff")


@pytest.fixture
def uv() -> Path:
    """The uv that made this environment."""
    found = TOOLS / "uv"
    if not found.exists():
        if os.environ.get("CI"):
            pytest.fail("CI must have uv beside its Python")
        pytest.skip("uv is not installed beside this Python")
    return found


PREPARED = "app.web.representation.prepared"


def test_a_line_that_cannot_be_carried_out_is_not_passed_over(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="RUN apt-get"):
        build("FROM x\nRUN apt-get install y\n", ROOT, tmp_path, {"PATH": ""})
    assert lines("# a\nENV A=1 \\\n    B=2\n") == [("ENV", "A=1 B=2")]


def test_the_steps_of_the_dockerfile_make_a_service_that_is_healthy_and_stops(tmp_path: Path, uv: Path) -> None:
    environment = {
        **{name: value for name, value in os.environ.items() if not name.startswith(("VIRTUAL_ENV", "LEGWORK_"))},
        "PATH": f"{uv.parent}:{os.environ['PATH']}",
        "UV_PYTHON": sys.executable,
        "UV_NO_PROGRESS": "1",
    }
    image = build(TEXT, ROOT, tmp_path, environment)
    without_us = (" --no-install-project", "")
    beforehand = [f"uv run --no-sync python -m {each}" for each in ("compileall -q app migrations", PREPARED)]
    installed = [f"uv sync --frozen --no-dev{each} --compile-bytecode" for each in without_us]
    assert image.ran == [*installed, *beforehand]
    templates = image.here("app/web/templates")
    assert len(list(templates.glob("__pycache__/*.page"))) == len(list(templates.glob("*.html")))
    python = image.here(".venv/bin/python")
    code = f"import importlib.util as u; print([n for n in {FOR_DEVELOPERS} if u.find_spec(n)])"
    assert subprocess.check_output([python, "-c", code], text=True) == "[]\n"

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    running = {**environment, **image.environment, "LEGWORK_PORT": str(port)}
    program = shutil.which(image.command[0], path=image.environment["PATH"])
    assert program == str(image.here(".venv/bin/legwork"))
    command = [program, *("127.0.0.1" if word == "0.0.0.0" else word for word in image.command[1:])]
    with (tmp_path / "log").open("wb") as log:
        server = subprocess.Popen(command, cwd=tmp_path, env=running, stdout=log, stderr=log)
    try:
        healthy = ["sh", "-c", image.healthcheck.replace(":8000/", f":{port}/")]
        until = time.monotonic() + 60
        while subprocess.run(healthy, env=running, capture_output=True).returncode != 0:
            assert server.poll() is None, (tmp_path / "log").read_text()
            assert time.monotonic() < until, "the healthcheck never succeeded"
            time.sleep(0.2)
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz", timeout=5) as answer:
            assert (answer.status, json.load(answer)["status"]) == (200, "ready")
        assert sorted(path.name for path in (tmp_path / "data").glob("*.db")) == ["legwork.db", "shop.db"]
        server.send_signal(signal.SIGTERM)
        assert server.wait(20) == 0
    finally:
        if server.poll() is None:
            server.kill()
            server.wait()
    assert subprocess.run(healthy, env=running, capture_output=True).returncode != 0
