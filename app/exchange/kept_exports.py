"""Exports of the whole catalogue: each revision is exported once, in a child process, and cached for every request.

Files are in the folder `exports` beside the database file, or in a temporary folder if there is no such file. A name
has the revision with its lineage (after a restore the same number may be another revision) and the version of the
format. A file is renamed into place when it is complete. The folder is bounded in number and bytes.
"""

import asyncio
import os
import secrets
import tempfile
import threading
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Generic, NamedTuple, TypeVar

from cachetools import LRUCache
from sqlalchemy import make_url

from app.catalogue.history import recorded
from app.catalogue.lineage import Head
from app.catalogue.snapshot import Snapshot
from app.database.migrating import HEADS
from app.database.private_folder import make_private
from app.errors import Invalid, Unavailable
from app.exchange import child, sqlite_export
from app.exchange.descriptor import format_tag
from app.settings import Settings

T = TypeVar("T")

FORMATS = {"zip": 1, "sqlite": sqlite_export.FORMAT}
"""Versions of the files by suffix; raise one if the bytes of a revision change for any reason but new columns."""
MOST_FILES = 8
MOST_BYTES = 2_000_000_000
IN_USE_S = 10
"""Seconds for which a recently requested file is not removed, so that it can be opened for sending."""
ABANDONED_S = 3_600
"""Seconds after which an unfinished file counts as left by a killed process."""


class PastRevision(NamedTuple):
    """A revision with the time it was recorded, which is empty for the empty catalogue."""

    head: Head
    recorded_at: str


def past_revision(snapshot: Snapshot) -> PastRevision:
    """The revision of a snapshot."""
    record = recorded(snapshot, [snapshot.revision]).get(snapshot.revision)
    return PastRevision(snapshot.head, "" if record is None else record.recorded_at)


class SharedWork(Generic[T]):
    """Work that several requests wait for is done once; it is cancelled when the last of them has given up."""

    def __init__(self) -> None:
        self._tasks: dict[str, asyncio.Task[T]] = {}
        self._waiting: dict[asyncio.Task[T], int] = {}

    async def result(self, name: str, work: Callable[[], Awaitable[T]]) -> T:
        """The result of `work`, which another request may have started. Raises what it raises."""

        async def begun() -> T:
            return await work()

        task = self._tasks.get(name)
        if task is None or task.get_loop() is not asyncio.get_running_loop():
            task = self._tasks[name] = asyncio.create_task(begun())
        self._waiting[task] = self._waiting.get(task, 0) + 1
        try:
            return await asyncio.shield(task)
        finally:
            self._waiting[task] -= 1
            if not self._waiting[task]:
                del self._waiting[task]
                if self._tasks.get(name) is task:
                    del self._tasks[name]
                task.cancel()


class KeptExports:
    """The exports of one catalogue."""

    def __init__(self, database_url: str) -> None:
        url = make_url(database_url)
        is_file = url.get_backend_name() == "sqlite" and url.database not in (None, "", ":memory:")
        self._beside = Path(str(url.database)).parent / "exports" if is_file else None
        self._temporary: tempfile.TemporaryDirectory[str] | None = None
        self._guard = threading.Lock()
        self._files: SharedWork[Path] = SharedWork()
        self._hashes: SharedWork[str] = SharedWork()
        self._known: LRUCache[Head, str] = LRUCache(64)

    def name(self, revision: PastRevision, suffix: str) -> str:
        """The name of the file, without a folder."""
        columns = format_tag() if suffix == "zip" else HEADS["catalogue"]
        return f"r{revision.head}-f{FORMATS[suffix]}-{columns}.{suffix}"

    async def file(self, revision: PastRevision, suffix: str, settings: Settings) -> Path:
        """The complete file. Raises the Refusal that the child reports, and Unavailable if too many are being made or
        the file cannot be stored."""
        folder, name = await asyncio.to_thread(self._folder), self.name(revision, suffix)
        path = folder / name
        if not _touched(path):
            await self._files.result(name, lambda: self._made(path, revision, settings))
        return path

    async def content_hash(self, revision: PastRevision, settings: Settings) -> str:
        """The content hash of a revision. Raises like `file`."""
        if (known := self._known.get(revision.head)) is not None:
            return known
        options = ("--revision", str(revision.head.number))

        async def hashed() -> str:
            found = await child.run(settings, "content-hash", *options, timeout_s=settings.import_timeout)
            return str(found["content_hash"])

        found = self._known[revision.head] = await self._hashes.result(str(revision.head), hashed)
        return found

    def _folder(self) -> Path:
        if self._beside is not None and _is_writable(self._beside):
            return self._beside
        with self._guard:  # two first requests must not make two folders, one of which is removed at once
            if self._temporary is None or not Path(self._temporary.name).is_dir():
                self._temporary = tempfile.TemporaryDirectory(prefix="legwork-exports-", ignore_cleanup_errors=True)
            return Path(self._temporary.name)

    async def _made(self, path: Path, revision: PastRevision, settings: Settings) -> Path:
        part = path.with_name(f"part-{secrets.token_hex(8)}{path.suffix}")
        options = ("--revision", str(revision.head.number))
        try:
            await child.run(settings, "export", str(part), *options, timeout_s=settings.import_timeout)
            await asyncio.to_thread(_put_in_place, part, path)
        except Invalid as refusal:  # of the path, which is ours and not the client's
            raise Unavailable("this machine cannot store the export now; its operator should look") from refusal
        finally:
            for left in path.parent.glob(f"{part.name}*"):
                left.unlink(missing_ok=True)
        await asyncio.to_thread(prune, path.parent)
        return path


def prune(folder: Path) -> None:
    """Remove the files requested longest ago until at most MOST_FILES and MOST_BYTES are left, and what killed
    processes left.

    A file requested in the last IN_USE_S seconds stays, because it may be about to be opened. A file that is being sent
    may be removed, as an open file stays readable.
    """
    now = time.time()
    kept: list[tuple[float, int, Path]] = []
    for path in folder.iterdir():
        try:
            found = path.stat()
        except FileNotFoundError:
            continue  # another worker was faster
        if path.name.startswith("part-"):
            if found.st_mtime < now - ABANDONED_S:
                path.unlink(missing_ok=True)
        elif path.suffix in (".zip", ".sqlite"):
            kept.append((found.st_atime, found.st_size, path))
    kept.sort(reverse=True)
    total = 0
    for number, (asked_at, size, path) in enumerate(kept):
        total += size
        if (number >= MOST_FILES or total > MOST_BYTES) and asked_at < now - IN_USE_S:
            path.unlink(missing_ok=True)


def _touched(path: Path) -> bool:
    """Whether a file exists; if so, its access time is updated."""
    try:
        os.utime(path, (time.time(), path.stat().st_mtime))
    except FileNotFoundError:
        return False
    return True


def _put_in_place(part: Path, path: Path) -> None:
    """Rename a file once it is completely on disk, so that a power cut cannot leave a truncated one under its name."""
    with part.open("rb") as written:
        os.fsync(written.fileno())
    os.replace(part, path)
    _touched(path)


def _is_writable(folder: Path) -> bool:
    try:
        make_private(folder)
    except OSError:
        return False
    return os.access(folder, os.W_OK | os.X_OK)
