"""Imports, checks and exports asked for by a serving worker: in a child process, never in a thread beside its loop."""

import asyncio
import json
import os
import sys
from typing import Any

from app import errors
from app.errors import Fault, Unavailable
from app.settings import Settings

MOST_AT_ONCE = 4
"""Child processes of one worker: each takes a core and its own memory."""

_running = 0


async def run(settings: Settings, *arguments: str, timeout_s: float) -> dict[str, Any]:
    """The answer of `legwork … --json` on the same databases. Raises the Refusal that the child met.

    The child ends with the request: it is killed after `timeout_s` (Unavailable) and when the request is given up;
    its transaction is rolled back then. Unavailable too where MOST_AT_ONCE are at work already.
    """
    global _running
    if _running >= MOST_AT_ONCE:
        raise Unavailable("as much is read and written at the moment as can be; try again", retry_after=5)
    _running += 1
    try:
        return await _run(settings, arguments, timeout_s)
    finally:
        _running -= 1


async def _run(settings: Settings, arguments: tuple[str, ...], timeout_s: float) -> dict[str, Any]:
    given = {"LEGWORK_DATABASE_URL": settings.database_url, "LEGWORK_SHOP_DATABASE_URL": settings.shop_database_url}
    if settings.read_url is not None:
        given["LEGWORK_READ_URL"] = settings.read_url
    child = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "app", *arguments, "--json",
        stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
        env={**os.environ, **given},
    )  # fmt: skip
    try:
        told, complained = await asyncio.wait_for(child.communicate(), timeout_s)
    except TimeoutError as error:
        raise Unavailable(f"this takes longer than {timeout_s:.0f} s; use the command line") from error
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
    try:
        answer: dict[str, Any] = json.loads(told)
    except ValueError as error:
        why = complained.decode(errors="replace")
        raise RuntimeError(f"the child process gave no answer (exit code {child.returncode}): {why}") from error
    if "refused" in answer:
        said = answer["refused"]
        refusal = getattr(errors, said["kind"])(said["detail"])
        refusal.faults = [Fault(**fault) for fault in said.get("faults", ())]
        raise refusal
    return answer
