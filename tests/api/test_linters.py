"""Spectral and Redocly find nothing in the committed description, hints included.

They come from the npm registry, in the versions named here. If npm or the registry is missing, the tests are skipped
with the reason; if CI is set, they fail."""

import json
import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

import app.web.contract.openapi

PACKAGES = ("@stoplight/spectral-cli@6.16.3", "@redocly/cli@2.77.0")
INSTALL_S, LINT_S = 150, 120
DOCUMENT = Path(app.web.contract.openapi.__file__).with_name("openapi.json")

Lint = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(scope="module")
def lint(tmp_path_factory: pytest.TempPathFactory) -> Lint:
    """Runs one of the installed programs in a folder with the ruleset."""
    folder = tmp_path_factory.mktemp("linters")
    wrong = _installed(folder)
    if wrong is not None:
        if os.environ.get("CI"):
            pytest.fail(wrong)
        pytest.skip(wrong)
    (folder / "ruleset.yaml").write_text('extends: ["spectral:oas"]\n')
    quiet = {**os.environ, "REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true"}

    def run(program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = [str(folder / "node_modules" / ".bin" / program), "lint", str(DOCUMENT), *arguments]
        return subprocess.run(command, cwd=folder, env=quiet, capture_output=True, text=True, timeout=LINT_S)

    return run


def _installed(folder: Path) -> str | None:
    """Installs the linters; returns the reason if that is impossible."""
    npm = shutil.which("npm")
    if npm is None:
        return "npm is not here: the linters of the description cannot be had"
    command = [npm, "install", "--ignore-scripts", "--no-audit", "--no-fund", "--prefer-offline", *PACKAGES]
    (folder / "package.json").write_text('{"private": true}')
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=INSTALL_S)
    except subprocess.TimeoutExpired:
        return f"npm did not install the linters within {INSTALL_S} s"
    return None if done.returncode == 0 else f"npm cannot install the linters: {done.stderr[-300:]}"


def test_spectral_finds_nothing(lint: Lint) -> None:
    done = lint("spectral", "--ruleset", "ruleset.yaml", "--fail-severity", "hint", "--format", "json", "--quiet")
    assert json.loads(done.stdout or "[]") == [], done.stderr
    assert done.returncode == 0, done.stderr


def test_redocly_finds_nothing(lint: Lint) -> None:
    done = lint("redocly", "--extends", "recommended-strict", "--format", "json")
    assert done.returncode == 0, done.stdout[:3000] + done.stderr
    assert json.loads(done.stdout)["problems"] == []
