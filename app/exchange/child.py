"""Runs imports, checks and exports of a serving worker in a child process, never in a thread beside its event loop."""

import asyncio
import fcntl
import json
import os
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from app import errors
from app.errors import Fault, Unavailable
from app.json_types import JsonObject
from app.settings import Settings

MOST_AT_ONCE = {"load": 2, "check": 1, "export": 2}
"""Child processes of one worker, by command.

Each takes a core and its own memory. Imports have their own slots, so that readers cannot keep them from starting. A
content hash counts as an export.
"""

TOO_MANY = "too many imports, checks or exports are running; retry in a few seconds"

_running: Counter[str] = Counter()


async def run(settings: Settings, command: str, *arguments: str, timeout_s: float) -> dict[str, object]:
    """The answer of `legwork <command> … --json` on the same databases. Raises the Refusal that the child met.

    The child ends with the request: it is killed after `timeout_s` (Unavailable) or when the request is cancelled, and
    its transaction is rolled back. Raises Unavailable too if MOST_AT_ONCE of its kind are already running.
    """
    with _slot(command if command in MOST_AT_ONCE else "export", settings.worker_folder):
        return await _run(settings, (command, *arguments), timeout_s)


@contextmanager
def _slot(kind: str, folder: Path | None) -> Iterator[None]:
    """One of the slots of a kind. Workers share them as locks on files in `folder`, which end with their process."""
    if _running[kind] >= MOST_AT_ONCE[kind]:
        raise Unavailable(TOO_MANY, retry_after=5)
    _running[kind] += 1
    held = None
    try:
        held = _locked(kind, folder) if folder is not None else None
        yield
    finally:
        _running[kind] -= 1
        if held is not None:
            os.close(held)


def _locked(kind: str, folder: Path) -> int:
    for number in range(MOST_AT_ONCE[kind]):
        held = os.open(folder / f"{kind}-{number}.lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(held)
        else:
            return held
    raise Unavailable(TOO_MANY, retry_after=5)


async def _run(settings: Settings, arguments: tuple[str, ...], timeout_s: float) -> JsonObject:
    given = {"LEGWORK_DATABASE_URL": settings.database_url, "LEGWORK_SHOP_DATABASE_URL": settings.shop_database_url}
    if settings.read_url is not None:
        given["LEGWORK_READ_URL"] = settings.read_url
    child = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "app", *arguments, "--json",
        stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
        env={**os.environ, **given},
    )  # fmt: skip
    try:
        output, error_output = await asyncio.wait_for(child.communicate(), timeout_s)
    except TimeoutError as error:
        raise Unavailable(f"this takes longer than {timeout_s:.0f} s; use the command line") from error
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
    try:
        answer: JsonObject = json.loads(output)
    except ValueError as error:
        why = error_output.decode(errors="replace")
        raise RuntimeError(f"the child process gave no answer (exit code {child.returncode}): {why}") from error
    if "refused" in answer:
        refused = answer["refused"]
        refusal = getattr(errors, refused["kind"])(refused["detail"])
        refusal.faults = [Fault(**fault) for fault in refused.get("faults", ())]
        raise refusal
    return answer
