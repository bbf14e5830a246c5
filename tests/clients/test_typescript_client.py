"""A TypeScript client generated from the served description: compiled with every strict option, run by node, complete.

openapi-typescript, its fetch client and the compiler come from the npm registry, in the versions named here. If node,
npm or the registry is missing, the tests are skipped with the reason; if CI is set, they fail."""

import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.clients.serving import Workshop
from tests.clients.test_python_client import ran
from tests.house.tour import GUIDE, write_files

PROGRAM = Path(__file__).with_name("programs") / "workshop.ts"
PACKAGES = ("openapi-typescript@7.13.0", "openapi-fetch@0.17.0", "typescript@5.9.3", "@types/node@20.19.25")
STRICT = {
    "strict": True,
    "noUncheckedIndexedAccess": True,
    "exactOptionalPropertyTypes": True,
    "noPropertyAccessFromIndexSignature": True,
    "skipLibCheck": True,  # of the registry's packages and the compiler itself, not of ours
    "target": "es2022",
    "module": "nodenext",
    "moduleResolution": "nodenext",
    "lib": ["es2022", "dom", "dom.iterable"],
    "types": ["node"],
}
INSTALL_S = 150


@pytest.fixture(scope="module")
def folder(running: Workshop, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with the compiled types, program and README example."""
    folder = tmp_path_factory.mktemp("typescript")
    if (wrong := _installed(folder)) is not None:
        if os.environ.get("CI"):
            pytest.fail(wrong)
        pytest.skip(wrong)
    made = folder / "node_modules" / ".bin"
    ran([str(made / "openapi-typescript"), f"{running.address}/openapi.json", "-o", "legwork.ts"], folder)
    (folder / "workshop.ts").write_bytes(PROGRAM.read_bytes())
    write_files(GUIDE.read_text(), folder, running.address)
    _set_up(folder, "workshop.ts", "ask.ts")
    ran([str(made / "tsc"), "-p", "."], folder)
    return folder


def _installed(folder: Path) -> str | None:
    """Installs the packages that build the client; returns the reason if that is impossible."""
    npm, node = shutil.which("npm"), shutil.which("node")
    if npm is None or node is None:
        return "node and npm are not here: no TypeScript client can be made"
    (folder / "package.json").write_text('{"private": true, "type": "module"}')
    command = [npm, "install", "--ignore-scripts", "--no-audit", "--no-fund", "--prefer-offline", *PACKAGES]
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=INSTALL_S)
    except subprocess.TimeoutExpired:
        return f"npm did not install the compiler within {INSTALL_S} s"
    return None if done.returncode == 0 else f"npm cannot install the compiler: {done.stderr[-300:]}"


def _set_up(folder: Path, *files: str) -> None:
    (folder / "tsconfig.json").write_text(json.dumps({"compilerOptions": STRICT, "files": files}))


def test_the_program_takes_no_way_round_the_types() -> None:
    code = "\n".join(line for line in PROGRAM.read_text().splitlines() if not line.startswith(("//", "import")))
    assert re.findall(r"\bas\b|\bany\b|@ts-|!\.", code) == []


def test_it_learns_what_a_plain_request_does(folder: Path, running: Workshop, plainly: dict[str, Any]) -> None:
    said = ran(["node", "workshop.js", running.address, running.key, "torque-crock-39-axle"], folder)
    learnt = json.loads(said)
    edit = learnt.pop("edit")
    assert learnt == plainly
    assert edit["blind"][0] == 428
    assert edit["taken"][0] == 200
    status, tag = edit["stale"]
    assert status == 412
    assert re.fullmatch(rf'"r{edit["taken"][1]}-[0-9a-f]{{16}}\.present"', tag)


def test_the_ten_lines_of_the_readme_run(folder: Path) -> None:
    assert len((folder / "ask.ts").read_text().strip().splitlines()) <= 10
    assert "Raddle shaft 160 160 mm" in ran(["node", "ask.js"], folder).splitlines()


def test_a_wrong_use_is_found_before_it_runs(folder: Path) -> None:
    (folder / "ask.ts").write_text((folder / "ask.ts").read_text().replace("fit.travel.text", "fit.travel.inches"))
    _set_up(folder, "ask.ts")
    command = [str(folder / "node_modules" / ".bin" / "tsc"), "-p", ".", "--noEmit"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=200)
    assert "Property 'inches' does not exist" in done.stdout
