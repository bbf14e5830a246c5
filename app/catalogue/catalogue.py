"""The catalogue as one thing to ask: which revision, and a question answered at it. Never writes."""

import asyncio
import datetime as dt
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy import Connection, bindparam, func, select

from app.catalogue.rows import At
from app.catalogue.stored import REVISIONS
from app.database.connections import Database
from app.errors import Invalid, Refusal, Unavailable

T = TypeVar("T")

_LATEST = select(func.max(REVISIONS.c.number))
_AS_OF = select(func.max(REVISIONS.c.number)).where(REVISIONS.c.recorded_at < bindparam("before"))


@dataclass(frozen=True, slots=True)
class Pin:
    """Which revision a question is about: the latest, unless one is named by number or by UTC date."""

    revision: int | None = None
    as_of: dt.date | None = None
    min_revision: int | None = None


PRESENT = Pin()


def latest(connection: Connection) -> int:
    """The number of the latest revision; 0 for the empty catalogue."""
    return connection.execute(_LATEST).scalar() or 0


def resolve(connection: Connection, pin: Pin) -> int:
    """The revision a pin means. Raises Invalid for one that is not there, Unavailable below `min_revision`."""
    if pin.revision is not None and pin.as_of is not None:
        raise Invalid.one("revision-and-date", "give revision= or as_of=, not both", parameter="as_of")
    present = latest(connection)
    if pin.min_revision is not None and present < pin.min_revision:
        raise Unavailable(f"revision {pin.min_revision} has not arrived here; the latest is {present}", retry_after=1)
    if pin.as_of is not None:
        before = (pin.as_of + dt.timedelta(days=1)).isoformat() if pin.as_of < dt.date.max else "9999-12-32"
        return connection.execute(_AS_OF, {"before": before}).scalar() or 0
    if pin.revision is None:
        return present
    if pin.revision > present:
        raise Invalid.one(
            "revision-unknown", f"there is no revision {pin.revision}; the latest is {present}",
            parameter="revision", suggestion=str(present),
        )  # fmt: skip
    return pin.revision


class Catalogue:
    """Answers questions at a revision. On SQLite a lookup runs where it is asked; on PostgreSQL in a thread."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self._one_at_a_time = threading.Lock()

    @contextmanager
    def at(self, pin: Pin = PRESENT) -> Iterator[At]:
        """The catalogue at the revision that `pin` means."""
        if self.database.is_sqlite:
            with self._one_at_a_time, self.database.read() as connection:
                yield At(connection, resolve(connection, pin))
        else:
            with self.database.read() as connection:
                yield At(connection, resolve(connection, pin))

    def answer(self, question: Callable[[At], T], pin: Pin = PRESENT) -> T:
        """The answer to a question about one revision."""
        with self.at(pin) as at:
            return question(at)

    async def ask(self, question: Callable[[At], T], pin: Pin = PRESENT) -> T:
        """The same from the event loop: a SQLite lookup takes microseconds and stays on it."""
        if self.database.is_sqlite:
            return self.answer(question, pin)
        return await asyncio.to_thread(self.answer, question, pin)

    def ready(self) -> str | None:
        """None when questions can be answered, else a sentence that says why not."""
        try:
            with self.at():
                return None
        except Refusal as refusal:
            return refusal.detail
