"""Reads the grids of a file that somebody else made in a child process with bounded memory and time.

`python -m app.drafts.child FILE` is that child: it prints the grids as JSON, or one sentence that says what is wrong.
"""

import json
import resource
import subprocess
import sys
from pathlib import Path

from app.drafts.delimited import MOST_TEXT, read_text
from app.drafts.grid import Grids, as_json, from_json
from app.errors import Invalid
from app.foreign import ForeignFault, escaped, regular

MOST_MEMORY = 1_500_000_000
MOST_SECONDS = 60
_OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")


def read_grids(path: Path) -> Grids:
    """The grids of a workbook, a CSV file or a text. Raises Invalid with one sentence."""
    try:
        done = subprocess.run(
            [sys.executable, "-m", "app.drafts.child", str(path)], stdin=subprocess.DEVNULL, capture_output=True,
            timeout=MOST_SECONDS, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise _refused(path, f"reading it takes longer than {MOST_SECONDS} s") from None
    try:
        answer = json.loads(done.stdout)
    except ValueError:
        raise _refused(path, "reading it takes more memory or time than there is") from None
    if "fault" in answer:
        raise _refused(path, answer["fault"])
    return from_json(answer)


def _refused(path: Path, why: str) -> Invalid:
    return Invalid.one("file-unreadable", f"{escaped(path.name)[:80]}: {why}")


def read_here(path: Path) -> Grids:
    """Like `read_grids`, in this process. Raises ForeignFault."""
    try:
        regular(path)
        if path.is_dir():
            raise ForeignFault("it is a folder")
        with path.open("rb") as stream:
            start = stream.read(MOST_TEXT + 1)
    except OSError as error:
        raise ForeignFault(error.strerror or "it cannot be read") from None
    if start.startswith(_OLD_OFFICE):
        if _ENCRYPTED in start:
            raise ForeignFault("it is protected with a password; remove the password and save it again")
        raise ForeignFault("it is a file of an old office program; save it as xlsx")
    if start.startswith(b"%PDF"):
        raise ForeignFault("it is a PDF; copy the table out of it and save that as text")
    if start.startswith(b"PK"):
        from app.drafts.workbook import read_workbook  # openpyxl takes a while to import

        return read_workbook(path)
    if not start.strip():
        raise ForeignFault("it is empty")
    return read_text(start, path.stem)


def main() -> None:
    """The child: grids or a fault as one JSON object on standard output."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    try:
        answer = as_json(read_here(Path(sys.argv[1])))
    except ForeignFault as fault:
        answer = {"fault": str(fault)}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    main()
