"""Checks files: free space, who can read them, and the age of the last backup."""

import datetime as dt
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import make_url

from app.errors import Refusal
from app.operating.finding import DoctorFinding
from app.operating.manifest import MANIFEST, checked, unpacked
from app.operating.sqlite_file import SIDECARS
from app.settings import Settings

SPARE = 64_000_000
"""Bytes that should be free in addition to a second copy of the database, which an erasure writes."""
OLDEST = dt.timedelta(days=7)


def files(which: str, url: str) -> Iterator[DoctorFinding]:
    """Check a SQLite database for free space on its disk and for its permissions."""
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite" or not parsed.database:
        return
    path = Path(parsed.database).absolute()
    folder = next(parent for parent in path.parents if parent.exists())
    yield _room(which, path, folder)
    if path.exists():
        yield _permissions(which, path)


def _room(which: str, path: Path, folder: Path) -> DoctorFinding:
    free = shutil.disk_usage(folder).free
    size = sum(each.stat().st_size for each in _with_sidecars(path))
    free_space = f"{free / 1e6:,.0f} MB free under {folder}, the database takes {size / 1e6:,.1f} MB"
    if free < 16_000_000:
        return DoctorFinding(f"{which} disk", "bad", f"{free_space}: soon nothing can be stored (507)")
    enough = free >= size + SPARE
    return DoctorFinding(
        f"{which} disk",
        "good" if enough else "notice",
        free_space if enough else f"{free_space}: an erasure needs free space for a second copy of the database",
    )


def _permissions(which: str, path: Path) -> DoctorFinding:
    for each in _with_sidecars(path):
        if not os.access(each, os.R_OK | os.W_OK):
            return DoctorFinding(f"{which} files", "bad", f"this user cannot read and write {each}")
    if not os.access(path.parent, os.W_OK | os.X_OK):
        return DoctorFinding(
            f"{which} files", "bad", f"this user cannot write to {path.parent}, where SQLite keeps its log"
        )
    others = [each for each in _with_sidecars(path) if each.stat().st_mode & 0o077]
    closed = path.parent.stat().st_mode & 0o077 == 0
    if others and not closed and which == "shop":
        return DoctorFinding(
            f"{which} files", "notice",
            f"other users of this machine can read {others[0]}, which has serial numbers: chmod 700 {path.parent}",
        )  # fmt: skip
    return DoctorFinding(f"{which} files", "good", f"{path}")


def _with_sidecars(path: Path) -> list[Path]:
    named = [path, *(path.with_name(path.name + ending) for ending in SIDECARS)]
    return [each for each in named if each.exists()]


def last_backup(settings: Settings) -> DoctorFinding:
    """Check the newest backup in the backup folder: its age, and whether it is undamaged."""
    folder = settings.backup_folder.absolute()
    there = [each for each in folder.iterdir() if not each.name.startswith(".")] if folder.is_dir() else []
    backups = [each for each in there if each.suffix == ".zip" or (each / MANIFEST).exists()]
    if not backups:
        return DoctorFinding(
            "backup", "notice", f"there is no backup in {folder}; `backup` without a path writes one there"
        )
    newest = max(backups, key=lambda each: each.stat().st_mtime)
    try:
        with unpacked(newest, folder) as parts:
            taken = checked(parts, newest).taken_at
    except Refusal as refusal:
        return DoctorFinding("backup", "bad", refusal.detail.replace("; nothing was restored", ""))
    age = dt.datetime.now(dt.UTC) - dt.datetime.fromisoformat(taken)
    text = f"{newest} of {taken}, {max(age, dt.timedelta()) // dt.timedelta(hours=1)} hours old, undamaged"
    if age < dt.timedelta(minutes=-5):
        return DoctorFinding(
            "backup", "notice", f"{newest} is dated {taken}, which is in the future. Check the clock of this machine"
        )
    return DoctorFinding("backup", "notice" if age > OLDEST else "good", text)
