"""Writes the catalogue at a revision as a canonical package, streamed: columns as listed, rows by id, LF.

The same revision gives the same bytes, as a folder and as a zip. A package is written under a temporary name and moved
into place when it is complete.
"""

import csv
import io
import os
import shutil
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Protocol

from app.catalogue.rows import Rows
from app.catalogue.tables import TABLES, Row, Source
from app.errors import Conflict, Invalid, NoRoom
from app.exchange.descriptor import descriptor, written
from app.exchange.minimal import Wanted, columns_of, explained, tables_of
from app.exchange.package import DESCRIPTOR

EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest time a zip can record
PLAIN_FILE = 0o100644 << 16
ROWS_AT_ONCE = 2000


class WriteTarget(Protocol):
    """The destination of a package's files."""

    def open(self, name: str) -> IO[bytes]:
        """A new file with that name."""
        ...


class _Folder:
    def __init__(self, path: Path) -> None:
        self.path = path

    def open(self, name: str) -> IO[bytes]:
        return (self.path / name).open("wb")


class _Zip:
    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive

    def open(self, name: str) -> IO[bytes]:
        entry = zipfile.ZipInfo(name, EPOCH)
        entry.compress_type = zipfile.ZIP_DEFLATED
        entry.external_attr = PLAIN_FILE
        entry.create_system = 3
        return self.archive.open(entry, "w", force_zip64=False)


def export(rows: Rows, revision: int, path: Path, advance: Callable[[int], None] | None = None) -> int:
    """Write the package to a folder, or to a zip if the name ends in .zip; return the number of rows.

    Raises Conflict if something is already there (an empty folder is fine), Invalid if it cannot be written.
    """
    with _new_package(path) as target:
        return write(rows, revision, target, advance)


def write_rows(rows: Iterable[Row], path: Path) -> None:
    """Write rows as a package that merges: only the columns that some row fills. Raises as `export` does."""
    by_table: dict[type[Row], list[Row]] = {}
    for row in rows:
        by_table.setdefault(row.model, []).append(row)
    with _new_package(path) as target:
        for table in TABLES.values():
            found = [row.cells() for row in by_table.get(table, ())]
            columns = [name for name in table.columns() if any(cells[name] for cells in found)]
            if found:
                with _text(target.open(f"{table.table}.csv")) as text:
                    text.writerow(columns)
                    text.writerows([cells[name] for name in columns] for cells in found)


@contextmanager
def _new_package(path: Path) -> Iterator[WriteTarget]:
    """The folder or zip that takes the files; it appears under its name once everything is written."""
    if path.exists() and not (path.is_dir() and not any(path.iterdir())):
        raise Conflict(f"{path} already exists; give another path")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        if path.suffix == ".zip":
            with beside.open("xb") as stream, zipfile.ZipFile(stream, "w") as archive:
                yield _Zip(archive)
        else:
            beside.mkdir()
            yield _Folder(beside)
            if path.exists():
                path.rmdir()
        beside.rename(path)
    except OSError as error:
        if error.errno == 28:
            raise NoRoom(f"the disk is full; {path} was not written") from error
        raise Invalid(f"{path} cannot be written: {error.strerror}") from error
    finally:
        if beside.is_dir():
            shutil.rmtree(beside)
        else:
            beside.unlink(missing_ok=True)


def zipped(rows: Rows, revision: int, stream: IO[bytes]) -> int:
    """Write the package as a zip to a stream that need not be seekable."""
    with zipfile.ZipFile(stream, "w") as archive:
        return write(rows, revision, _Zip(archive), None)


def write(rows: Rows, revision: int | None, target: WriteTarget, advance: Callable[[int], None] | None = None) -> int:
    """Write the descriptor and the tables; return the number of rows."""
    with target.open(DESCRIPTOR) as stream:
        stream.write(written(descriptor(revision=revision, invented=is_invented(rows))))
    count = 0
    for table in TABLES.values():
        with _text(target.open(f"{table.table}.csv")) as text:
            for part in _parts(table, rows.all(table)):
                text.writerows(part)
                count += len(part)
                if advance is not None:
                    advance(len(part))
        count -= 1  # the header is not a row
    return count


def is_invented(rows: Rows) -> bool:
    """True if some source says that it does not exist: then everything is demonstration data."""
    return any(source.invented for source in rows.all(Source))


def template(path: Path, wanted: Wanted | None = None) -> None:
    """Write a header line for every table or the wanted ones, a descriptor, and a page that explains the columns.

    Raises Conflict if the folder has files.
    """
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise Conflict(f"{path} already exists; give a new or empty folder")
    path.mkdir(parents=True, exist_ok=True)
    folder = _Folder(path)
    with folder.open(DESCRIPTOR) as stream:
        stream.write(written(descriptor(wanted=wanted)))
    with folder.open("README.md") as stream:
        stream.write(_page(wanted).encode())
    for table in tables_of(wanted):
        with _text(folder.open(f"{table.table}.csv")) as text:
            text.writerow(columns_of(table, wanted))


def _page(wanted: Wanted | None) -> str:
    """The content of each table and column, for the person who fills them in."""
    lines = [
        "# Tables to fill in",
        "",
        "Enter what you know, and leave the rest empty or out.",
    ]
    for table in tables_of(wanted):
        lines += ["", f"## {table.table}.csv", "", table.meaning, ""]
        lines += [
            f"- `{name}`: " + "; ".join(explained(column).splitlines())
            for name, column in columns_of(table, wanted).items()
        ]
    return "\n".join(lines) + "\n"


@contextmanager
def _text(stream: IO[bytes]) -> Iterator[Any]:
    with io.TextIOWrapper(stream, encoding="utf-8", newline="") as wrapped:
        yield csv.writer(wrapped, lineterminator="\n")


def _parts(table: type[Row], rows: Iterator[Row]) -> Iterator[list[list[str]]]:
    """The lines of a CSV file, a few thousand at a time, the header first."""
    writers = [(name, column.kind.write) for name, column in table.columns().items()]
    part: list[list[str]] = [[*table.columns()]]
    for row in rows:
        part.append(["" if (value := getattr(row, name)) is None else write(value) for name, write in writers])
        if len(part) == ROWS_AT_ONCE:
            yield part
            part = []
    yield part
