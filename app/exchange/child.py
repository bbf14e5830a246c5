"""Imports, checks and exports asked for by a serving worker: in a child process, never in a thread beside its loop."""

import asyncio
import json
import os
import sys
from typing import Any

from app import errors
from app.errors import Unavailable
from app.settings import Settings


async def run(settings: Settings, *arguments: str, timeout_s: float) -> dict[str, Any]:
    """The answer of `legwork … --json` on the same databases. Raises the Refusal that the child met.

    The child ends with the request: it is killed after `timeout_s` (Unavailable) and when the request is given up;
    its transaction is rolled back then.
    """
    given = {"LEGWORK_DATABASE_URL": settings.database_url, "LEGWORK_SHOP_DATABASE_URL": settings.shop_database_url}
    if settings.read_url is not None:
        given["LEGWORK_READ_URL"] = settings.read_url
    child = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "app", *arguments, "--json",
        stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
        env={**os.environ, **given},
    )  # fmt: skip
    try:
        said, complained = await asyncio.wait_for(child.communicate(), timeout_s)
    except TimeoutError as error:
        raise Unavailable(f"this takes longer than {timeout_s:.0f} s; use the command line") from error
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
    try:
        answer: dict[str, Any] = json.loads(said)
    except ValueError as error:
        told = complained.decode(errors="replace")
        raise RuntimeError(f"the child process gave no answer (exit code {child.returncode}): {told}") from error
    if "refused" in answer:
        kind = getattr(errors, answer["refused"]["kind"])
        raise kind(answer["refused"]["detail"])
    return answer
