"""The console blocks of the documents, run and compared; `python -m tests.house.tour` rewrites them.

A block whose first line is a comment with a file name is that file; it is written before the commands run."""

import os
import re
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
GUIDE = ROOT / "app" / "web" / "guide" / "guide.md"
OWN_DATA = ROOT / "seed_data" / "README.md"
DOCUMENTS = (README, GUIDE, OWN_DATA)
LEGWORK = Path(sys.executable).parent / "legwork"
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.M | re.S)
FILE = re.compile(r"^```(?:sh|python|ts)\n(?:#|//) (\S+\.(?:sh|py|ts))\n(.*?)^```$", re.M | re.S)
START_S = 120


@contextmanager
def demo_server() -> Iterator[int]:
    """A server of the demo on a free port, with its data in a temporary folder."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory(prefix="legwork-tour-") as folder:
        command = [str(LEGWORK), "serve", "--demo", "--port", str(port)]
        server = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            _wait(port, server)
            yield port
        finally:
            server.terminate()
            server.wait(20)


def _wait(port: int, server: subprocess.Popen[bytes]) -> None:
    for _ in range(START_S * 4):
        if server.poll() is not None:
            raise RuntimeError("the server ended before it answered")
        try:
            with urllib.request.urlopen(f"http://localhost:{port}/readyz", timeout=2):
                return
        except OSError:
            time.sleep(0.25)
    raise RuntimeError("the server did not answer")


def steps(block: str) -> list[tuple[str, str]]:
    """(command, output) of a console block; a command begins with `$ ` and continues while its lines end in `\\`."""
    found: list[tuple[str, str]] = []
    lines = iter(block.splitlines(keepends=True))
    for line in lines:
        if line.startswith("$ "):
            command = line[2:]
            while command.endswith("\\\n"):
                command += next(lines)
            found.append((command, ""))
        elif found:
            found[-1] = (found[-1][0], found[-1][1] + line)
    return found


def run(command: str, folder: Path, port: int) -> str:
    """The output of a command, with the port of the running server filled in and `legwork` on the path."""
    environment = {**os.environ, "PATH": f"{LEGWORK.parent}:{os.environ['PATH']}"}
    done = subprocess.run(
        ["bash", "-c", command.replace("localhost:8000", f"localhost:{port}")],
        cwd=folder, env=environment, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    said = done.stdout + done.stderr
    text = "".join(f"{line.rstrip()}\n" for line in said.splitlines())
    return re.sub(r'("?request_id"?: ?)"[0-9a-f]+"', r'\1"…"', text.replace(f"localhost:{port}", "localhost:8000"))


def write_files(text: str, folder: Path, address: str) -> None:
    """Writes the files that a document shows, with the address of the running server."""
    for name, content in FILE.findall(text):
        (folder / name).write_text(content.replace("http://localhost:8000", address))


def rewritten(text: str, port: int, folder: Path) -> str:
    """A document with the current output in each console block."""

    def again(block: re.Match[str]) -> str:
        return (
            "```console\n"
            + "".join(f"$ {command}{run(command, folder, port)}" for command, _ in steps(block[1]))
            + "```"
        )

    return BLOCK.sub(again, text)


if __name__ == "__main__":
    with demo_server() as port:
        for document in DOCUMENTS:
            with tempfile.TemporaryDirectory() as folder:
                write_files(document.read_text(), Path(folder), f"http://localhost:{port}")
                document.write_text(rewritten(document.read_text(), port, Path(folder)))
