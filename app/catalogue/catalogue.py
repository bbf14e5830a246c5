"""Chooses the revision and answers lookups at it, on the event loop or in a thread. Never writes."""

import asyncio
import datetime as dt
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy import Connection, bindparam, func, select, text

from app.catalogue.lineage import EMPTY, Head, head_of, lineage_of
from app.catalogue.snapshot import EntityCache, NeedsThread, Snapshot
from app.catalogue.stored import REVISIONS
from app.database.connections import Database
from app.database.interrupting import in_a_thread, running_loop
from app.database.migrating import state
from app.errors import Conflict, Fault, Invalid, Refusal, Unavailable

T = TypeVar("T")

POLL_S = 0.25
"""Seconds for which the latest known revision of a PostgreSQL catalogue is used without a new query."""

THREADS = 8
"""Threads of a worker for lookups on PostgreSQL, separate from those of writes, which may wait for a lost server."""
HEADS_KEPT = 64
"""Latest revisions that are remembered. Replicas that lag show some of them in turn."""
THREADS_BESIDE = 2
"""Threads of a worker for slow lookups on SQLite. They compute and never wait, so more would only use memory."""

LATEST_SEEN: ContextVar[list[Head] | None] = ContextVar("latest_seen", default=None)
"""If set, every latest revision that a lookup finds is added to it: replicas need not agree on it."""

_IN_RECOVERY = text("SELECT pg_is_in_recovery()")
_AS_OF = select(func.max(REVISIONS.c.number)).where(REVISIONS.c.recorded_at < bindparam("before"))


@dataclass(frozen=True, slots=True)
class Pin:
    """The revision a lookup is about: the latest, unless one is given by number or by UTC date."""

    revision: int | None = None
    as_of: dt.date | None = None
    min_revision: int | None = None
    lineage: str | None = None
    """The lineage that `revision` must have: of a cursor, which goes on in the history in which it began."""


PRESENT = Pin()


def resolve(connection: Connection, pin: Pin, head: Head) -> int:
    """The revision that a pin means while `head` is the latest. Raises Invalid for an unknown one, Unavailable below
    `min_revision`, and like `require_shared` for one of another history.
    """
    if pin.revision is not None and pin.as_of is not None:
        raise Invalid.one("revision-and-date", "give revision= or as_of=, not both", parameter="as_of")
    present = head.number
    if pin.revision is not None and pin.lineage is not None:
        require_shared(connection, pin.revision, pin.lineage)
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


def require_shared(connection: Connection, number: int, lineage: str | None) -> None:
    """Check that a revision that a client has seen belongs to the history of this catalogue; without its lineage, that
    there is one with its number.

    Raises Conflict if it does not, and Unavailable on a replica that has not received the revision yet.
    """
    found = lineage_of(connection, number)
    if found is None and _is_replica(connection):
        raise Unavailable(f"revision {number} has not arrived here", retry_after=1)
    if found is None or lineage not in (None, found):
        why = (
            f"revision {number} of this catalogue is not the one you have, because the catalogue was restored "
            "or replaced: start again, a list without cursor, a copy with after=0"
        )
        raise Conflict(why, [Fault("lineage-unknown", why)])


def _is_replica(connection: Connection) -> bool:
    return connection.dialect.name == "postgresql" and connection.execute(_IN_RECOVERY).scalar() is True


class Catalogue:
    """Answers lookups at a revision: on SQLite on the event loop unless they are slow, on PostgreSQL in a thread."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self._one_at_a_time = threading.Lock()
        self._seen: tuple[int, Head] | None = None  # SQLite: the file's change counter, and the revision then
        self._asked_for: tuple[object, int] | None = None  # SQLite: in whose queue all know `_seen`, after which write
        self._polled: tuple[float, int, Head] | None = None  # PostgreSQL: when, after which write here, and what
        self._recent = EntityCache()
        self._heads: dict[int, str] = {}  # the latest revisions that were seen, by number
        self._looking: tuple[asyncio.Future[Head | None], int] | None = None  # a look under way, and after which write
        threads = THREADS_BESIDE if database.is_sqlite else THREADS
        self._threads = ThreadPoolExecutor(threads, thread_name_prefix="lookup")

    def known(self) -> Head | None:
        """The latest revision if it is known without waiting: always on SQLite, on PostgreSQL if read in the last
        POLL_S.

        None if the database cannot be read. On SQLite the file is read once for all requests in one turn of the event
        loop: they arrived before the read, so none gets an answer older than a commit that preceded it. A read takes 7
        to 30 µs.
        """
        if not self.database.is_sqlite:
            when, writes, found = self._polled or (-POLL_S, -1, EMPTY)
            return found if time.monotonic() - when < POLL_S and writes == self.database.writes else None
        queue = running_loop()
        if queue is not None and self._asked_for == (queue, self.database.writes) and self._seen is not None:
            return self._seen[1]
        try:
            changes = self.database.changes()
            if self._seen is None or self._seen[0] != changes:
                self._seen = (changes, self.answer(lambda snapshot: snapshot.head))
        except Refusal:
            return None
        if queue is not None:
            self._asked_for = queue, self.database.writes
            queue.call_soon(self._ask_again)
        return self._seen[1]

    def _ask_again(self) -> None:
        self._asked_for = None

    async def latest(self) -> Head | None:
        """The latest revision, queried if it is not known. None if the database cannot be read."""
        if (found := self.known()) is not None or self.database.is_sqlite:
            return found
        looking, writes = self._looking or (None, -1)
        # otherwise one query serves all who wait
        if looking is None or looking.done() or writes != self.database.writes:
            looking = asyncio.ensure_future(self._look(self.database.writes))
            self._looking = looking, self.database.writes
        return await asyncio.shield(looking)

    async def _look(self, writes: int) -> Head | None:
        begun = time.monotonic()
        try:
            latest_now: Head = await self.run_in_thread(lambda: self.answer(lambda snapshot: snapshot.head))
        except Refusal:
            return None
        self._polled = (begun, writes, latest_now)
        return latest_now

    def look_again(self) -> None:
        """Forget the latest revision, because something may have been written, perhaps by a child process."""
        self._polled = self._looking = self._asked_for = None

    @contextmanager
    def snapshot(self, pin: Pin = PRESENT, *, on_event_loop: bool = False) -> Iterator[Snapshot]:
        """The catalogue at the revision that `pin` means."""
        if self.database.is_sqlite:
            with self._one_at_a_time, self.database.read() as connection:
                yield self._at(connection, pin, on_event_loop=on_event_loop)
        else:
            with self.database.read() as connection:
                yield self._at(connection, pin)

    def _at(self, connection: Connection, pin: Pin, *, on_event_loop: bool = False) -> Snapshot:
        head = head_of(connection)
        if (seen := LATEST_SEEN.get()) is not None:
            seen.append(head)
        if self._heads.get(head.number) != head.lineage:
            self._follow(connection, head)
        number = resolve(connection, pin, head)
        snapshot = Snapshot(connection, number, self._recent, on_event_loop=on_event_loop)
        if number == head.number:
            snapshot.head = head
        return snapshot

    def _follow(self, connection: Connection, head: Head) -> None:
        """Note a new latest revision. Everything cached goes if it does not continue the history that was seen: a
        backup was restored, or a replica is older than what was seen elsewhere.
        """
        newest = max(self._heads, default=0)
        if newest and (head.number <= newest or lineage_of(connection, newest) != self._heads[newest]):
            self._recent, self._heads = EntityCache(), {}
        while len(self._heads) >= HEADS_KEPT:
            del self._heads[next(iter(self._heads))]
        self._heads[head.number] = head.lineage

    def answer(self, question: Callable[[Snapshot], T], pin: Pin = PRESENT) -> T:
        """Answer a lookup at one revision."""
        with self.snapshot(pin) as snapshot:
            return question(snapshot)

    def _answer_beside(self, question: Callable[[Snapshot], T], pin: Pin) -> T:
        """Like `answer`, but on a private connection, so no other lookup waits for it."""
        with self.database.fresh_connection() as connection:
            return question(self._at(connection, pin))

    async def ask(self, question: Callable[[Snapshot], T], pin: Pin = PRESENT) -> T:
        """Answer from the event loop.

        A SQLite lookup takes microseconds and runs on it; if it turns out to be slow, it is repeated in a thread.
        """
        if not self.database.is_sqlite:
            return await self.run_in_thread(lambda: self.answer(question, pin))
        try:
            with self.snapshot(pin, on_event_loop=True) as snapshot:
                return question(snapshot)
        except NeedsThread:
            return await self.run_in_thread(lambda: self._answer_beside(question, pin))

    async def run_in_thread(self, look: Callable[[], T]) -> T:
        """Run a database lookup in a thread that writes never use and that is freed soon after a cancellation."""
        return await in_a_thread(self._threads, look)

    def ready(self) -> str | None:
        """None if lookups can be answered, else a sentence that says why not."""
        try:
            with self.database.fresh_connection() as connection:
                found = state(connection, "catalogue")
            with self.snapshot():
                pass
            if found != "current":
                return f"the catalogue's schema is {found}, not that of this build"
            return None if self.database.damage is None else "the catalogue is damaged: restore a backup"
        except Refusal as refusal:
            return refusal.detail
