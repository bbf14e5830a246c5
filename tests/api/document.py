"""`python -m tests.api.document` records the examples, then writes the API description that is served.

With `--release` it also writes `tests/api/released.json.gz`, the baseline for later descriptions. Change files that
describe the interface only with this command."""

import asyncio
import gzip
import json
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import time_machine

from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from app.main import create_app
from app.settings import Settings
from app.web.contract.examples import recorded
from app.web.contract.openapi import describe
from tests.api.recording import answers, problems
from tests.api.writing import writing
from tests.conftest import SEED_DATA

CONTRACT = Path(__file__).parents[2] / "app" / "web" / "contract"
RELEASED = Path(__file__).parent / "released.json.gz"


def built() -> bytes:
    """The document as it would be committed now."""
    return as_committed(describe(create_app(Settings())))


def as_committed(value: Any) -> bytes:
    """JSON laid out so that a person can compare it line by line."""
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()


def record() -> None:
    """Query the demo and store its answers next to the code. At one moment, from which the lineage follows."""
    with time_machine.travel("2026-01-31T12:00:00Z", tick=False):
        with _demo() as database, tempfile.TemporaryDirectory() as folder:
            found = {"answers": asyncio.run(_answers(database, Path(folder)))}
        with _demo() as database, tempfile.TemporaryDirectory() as folder:
            found["problems"] = asyncio.run(problems(database, Path(folder)))
    for name, value in found.items():
        (CONTRACT / "examples" / f"{name}.json").write_bytes(as_committed(value))
    recorded.cache_clear()


async def _answers(database: Database, folder: Path) -> dict[str, Any]:
    async with writing(database, folder) as service:
        return await answers(service)


@contextmanager
def _demo() -> Iterator[Database]:
    with tempfile.TemporaryDirectory() as folder:
        database = Database(f"sqlite:///{folder}/legwork.db")
        migrate(database, "catalogue")
        load(database, SEED_DATA, Entry("the demo", "examples"))
        yield database
        database.close()


if __name__ == "__main__":
    record()
    document = built()
    (CONTRACT / "openapi.json").write_bytes(document)
    if "--release" in sys.argv:
        RELEASED.write_bytes(gzip.compress(document, mtime=0))
