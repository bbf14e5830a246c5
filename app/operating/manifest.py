"""Describes and checks a backup: a folder or zip of two databases, `manifest.json` and `SHA256SUMS`.

The sums have the format of `sha256sum` and cover the manifest too. They detect damage, not forgery.
"""

import hashlib
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from app.database.private_folder import make_private
from app.errors import Malformed, NotFound, Unavailable
from app.foreign import ForeignFault, unpack

MANIFEST, SUMS = "manifest.json", "SHA256SUMS"
FORMAT_VERSION = 2
"""Version 2: the content hash covers all values given (`app.catalogue.content_hash`, version 2).

Version 1 covered whole CSV files.
"""
HASHED_ALIKE = 2  # the first format whose content hash can be compared with this build's
_LINE = re.compile(r"([0-9a-f]{64})  ([a-z]+\.[a-z]+)")
_LARGEST_MANIFEST = 100_000
_MEMBER = re.compile(r"SHA256SUMS|[a-z]+\.[a-z]+")
MOST_SHRUNK = 100
"""How many times a member may shrink in the zip; a database shrinks 3 to 12 times, empty pages more."""

FileName = Annotated[str, Field(pattern=r"^(catalogue|shop)\.(db|dump)$")]


class Copied(BaseModel):
    """One database of a backup: a SQLite file, or the output of `pg_dump --format=custom`."""

    model_config = ConfigDict(extra="forbid")

    file: FileName
    engine: Literal["sqlite", "postgresql"]
    schema_version: str


class CopiedCatalogue(Copied):
    """`content_hash` is null if the schema is not that of the build that made the backup."""

    revision: int
    content_hash: str | None


class Manifest(BaseModel):
    """The manifest of a backup; `taken_at` is RFC 3339, UTC."""

    model_config = ConfigDict(extra="forbid")

    format: Literal["legwork-backup"] = "legwork-backup"
    format_version: int = FORMAT_VERSION
    taken_at: str
    catalogue: CopiedCatalogue
    shop: Copied


def seal(folder: Path, manifest: Manifest) -> None:
    """Write the manifest and the sums of all files next to it."""
    (folder / MANIFEST).write_text(manifest.model_dump_json(indent=2) + "\n")
    names = (MANIFEST, manifest.catalogue.file, manifest.shop.file)
    (folder / SUMS).write_text(_written({name: sum_of(folder / name) for name in names}))


def checked(folder: Path, path: Path) -> Manifest:
    """The manifest of an unpacked backup, after checking every byte; `path` is its name in messages.

    Raises Malformed if it is damaged or not a backup, Unavailable if a newer build made it.
    """
    if not (folder / SUMS).is_file() or not (folder / MANIFEST).is_file():
        raise Malformed(
            f"{path} is not a backup of this service: {SUMS} or {MANIFEST} is missing; nothing was restored"
        )
    if strange := [file.name for file in folder.iterdir() if file.is_symlink() or not file.is_file()]:
        raise Malformed(f"the backup {path} has a link, a device or a folder: {strange[0]}; nothing was restored")
    sums = _sums(folder, path)
    present = {file.name for file in folder.iterdir()} - {SUMS}
    for name in sorted(present ^ sums.keys()):
        what = "lacks" if name in sums else "has a file that does not belong to it:"
        raise Malformed(f"the backup {path} {what} {name}; nothing was restored")
    for name, expected in sums.items():
        if sum_of(folder / name) != expected:
            raise Malformed(
                f"the backup {path} is damaged: {name} has changed since it was written; nothing was restored"
            )
    manifest = _manifest(folder / MANIFEST, path)
    if {MANIFEST, manifest.catalogue.file, manifest.shop.file} != sums.keys():
        raise Malformed(f"the backup {path} lacks files that its manifest lists; nothing was restored")
    return manifest


def sum_of(file: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()


def _sums(folder: Path, path: Path) -> dict[str, str]:
    said = _text(folder / SUMS, path)
    sums = {line[2]: line[1] for line in _LINE.finditer(said)}
    if not sums or said != _written(sums):
        raise Malformed(
            f"the backup {path} is damaged: its {SUMS} has changed since it was written; nothing was restored"
        )
    return sums


def _written(sums: dict[str, str]) -> str:
    return "".join(f"{sums[name]}  {name}\n" for name in sorted(sums))


def _manifest(file: Path, path: Path) -> Manifest:
    try:
        manifest = Manifest.model_validate_json(_text(file, path))
    except ValidationError as wrong:
        raise Malformed(
            f"{path} is not a backup of this service: its manifest has another form; nothing was restored"
        ) from wrong
    if manifest.format_version > FORMAT_VERSION:
        raise Unavailable(f"the backup {path} was made by a newer build; nothing was restored")
    return manifest


def _text(file: Path, path: Path) -> str:
    if file.stat().st_size > _LARGEST_MANIFEST:
        raise Malformed(f"{path} is not a backup of this service: {file.name} is too large; nothing was restored")
    try:
        return file.read_bytes().decode("ascii")
    except UnicodeDecodeError as error:
        raise Malformed(f"the backup {path} is damaged: {file.name} is not text; nothing was restored") from error


@contextmanager
def unpacked(path: Path, room: Path) -> Iterator[Path]:
    """The folder of a backup. A zip is unpacked into a temporary folder within `room`.

    Raises NotFound if nothing is there, Malformed if it is neither a folder nor a zip.
    """
    if not path.exists():
        raise NotFound(f"there is nothing at {path}")
    if path.is_dir():
        yield path
        return
    make_private(room)
    with tempfile.TemporaryDirectory(prefix=".restoring-", dir=room) as made:
        free = shutil.disk_usage(made).free
        try:
            unpack(path, Path(made), _MEMBER, most_bytes=free, most_shrunk=MOST_SHRUNK)
        except ForeignFault as fault:
            raise Malformed(f"{path} is not a backup, or is damaged: {fault}; nothing was restored") from fault
        yield Path(made)
