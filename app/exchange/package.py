"""Opens a package and finds the file of each table. Refuses outside paths, links, duplicates and zip bombs.

Nothing is unpacked to disk: a zip is read in place, entry by entry, and only entries of tables are opened.
"""

import stat
import zipfile
import zlib
from codecs import BOM_UTF8
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from io import BufferedReader
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import IO, Any, Self, cast

from rapidfuzz import process

from app.catalogue.tables import TABLES, Row
from app.exchange.faults import found
from app.exchange.shown import shortened
from app.foreign import open_zip, read_json, regular
from app.rules.checks import reading
from app.rules.finding import Finding

DESCRIPTOR = "datapackage.json"
MOST_BYTES = 2_000_000_000  # total of all files
MOST_ENTRIES = 500
MOST_DESCRIPTOR = 5_000_000
SQUEEZED = 200  # highest compression ratio in a zip; 1,000 rows of the demo compress about 20 times
SQUEEZED_FROM = 1_000_000  # bytes below which no entry can do harm
PASSED_OVER = ("readme", "licence", "license")


@dataclass(frozen=True, slots=True)
class File:
    """One file of a table: its name in the package, its size in bytes, and how to open it again."""

    table: type[Row]
    name: str
    size: int
    open: Callable[[], IO[bytes]]


@dataclass(slots=True)
class Package:
    """The files by table, in the order of the tables, and the findings made while opening."""

    files: dict[type[Row], File] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    _zip: zipfile.ZipFile | None = None

    @property
    def size(self) -> int:
        """The total bytes of its files."""
        return sum(file.size for file in self.files.values())

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._zip is not None:
            self._zip.close()


@dataclass(frozen=True, slots=True)
class _Entry:
    name: str
    size: int
    open: Callable[[], IO[bytes]]


def open_package(path: Path) -> Package:
    """Open a folder, a zip or one CSV file. Never raises for its content: that goes to `findings`."""
    package = Package()
    try:
        regular(path)
        if path.is_dir():
            entries = list(islice(_folder_entries(path, package), MOST_ENTRIES + 1))
        elif zipfile.is_zipfile(path):
            entries = _zip_entries(path, package)
        elif path.suffix.lower() == ".csv":
            entries = [_Entry(path.name, path.stat().st_size, lambda: path.open("rb"))]
        else:
            why = "there is no such file" if not path.exists() else "it is not a folder, a complete zip or a CSV file"
            package.findings.append(found(reading.PACKAGE_UNREADABLE, f"{shortened(path.name)}: {why}"))
            return package
    except (OSError, zipfile.BadZipFile, ValueError) as error:
        text = f"{shortened(path.name)} cannot be opened: {shortened(str(error))}"
        package.findings.append(found(reading.PACKAGE_UNREADABLE, text))
        return package
    if len(entries) > MOST_ENTRIES:
        text = f"the folder has more than {MOST_ENTRIES} files; no more are read"
        package.findings.append(found(reading.PACKAGE_TOO_LARGE, text))
    total = sum(entry.size for entry in entries)
    if total > MOST_BYTES:
        text = f"the package has {total:,} bytes; at most {MOST_BYTES:,} are read"
        package.findings.append(found(reading.PACKAGE_TOO_LARGE, text))
    if not any(finding.severity == "reject" for finding in package.findings):
        _assign(package, entries)
    return package


def _folder_entries(root: Path, package: Package) -> Iterator[_Entry]:
    for path in sorted(root.rglob("*")):
        name = path.relative_to(root).as_posix()
        if any(part.startswith(".") for part in PurePosixPath(name).parts):
            continue
        if path.is_symlink():
            package.findings.append(found(reading.ENTRY_UNSAFE, f"{shortened(name)} is a link"))
        elif path.is_file():
            yield _Entry(name, path.stat().st_size, lambda path=path: path.open("rb"))  # type: ignore[misc]


def _zip_entries(path: Path, package: Package) -> list[_Entry]:
    archive = open_zip(path)
    package._zip = archive
    infos = [info for info in archive.infolist() if not info.is_dir() and not _of_a_desktop(info.filename)]
    if len(infos) > MOST_ENTRIES:
        text = f"the zip has {len(infos):,} entries; at most {MOST_ENTRIES} are read"
        package.findings.append(found(reading.PACKAGE_TOO_LARGE, text))
        return []
    entries: dict[str, _Entry] = {}
    for info in infos:
        finding = _unsafe(info, entries)
        if finding is not None:
            package.findings.append(finding)
            continue
        entries[info.filename] = _Entry(info.filename, info.file_size, _opener(archive, info))
    return _without_top_folder(list(entries.values()))


def _of_a_desktop(name: str) -> bool:
    return name.startswith("__MACOSX/") or PurePosixPath(name).name in (".DS_Store", "Thumbs.db", "desktop.ini")


def _unsafe(info: zipfile.ZipInfo, seen: "dict[str, _Entry]") -> Finding | None:
    name, shown = info.filename, shortened(info.filename)
    kind = stat.S_IFMT(info.external_attr >> 16)
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if ".." in parts or name.startswith(("/", "\\")) or "\\" in name or ":" in name or "\x00" in name:
        return found(reading.ENTRY_UNSAFE, f"{shown} points outside the package")
    if kind not in (0, stat.S_IFREG):
        return found(reading.ENTRY_UNSAFE, f"{shown} is a link or a device")
    if info.flag_bits & 0x1:
        return found(reading.ENTRY_UNSAFE, f"{shown} is encrypted")
    if name in seen:
        return found(reading.ENTRY_UNSAFE, f"{shown} is in the package twice")
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return found(reading.PACKAGE_UNREADABLE, f"{shown} is not compressed with deflate")
    if info.file_size > SQUEEZED_FROM and info.file_size > SQUEEZED * max(1, info.compress_size):
        text = f"{shown} unpacks from {info.compress_size:,} to {info.file_size:,} bytes"
        return found(reading.PACKAGE_TOO_LARGE, text)
    return None


def _opener(archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> Callable[[], IO[bytes]]:
    # ZipExtFile never gives more bytes than the entry declares, so the sizes summed above bind.
    return lambda: BufferedReader(cast(Any, archive.open(info)), 1 << 16)


def _without_top_folder(entries: list[_Entry]) -> list[_Entry]:
    """If a zip contains a single folder, use that folder."""
    tops = {PurePosixPath(entry.name).parts[0] for entry in entries if "/" in entry.name}
    if len(tops) != 1 or any("/" not in entry.name for entry in entries):
        return entries
    skip = len(tops.pop()) + 1
    return [_Entry(entry.name[skip:], entry.size, entry.open) for entry in entries]


def _assign(package: Package, entries: list[_Entry]) -> None:
    """Assign a table to each entry: by the descriptor if it names one, else by file name."""
    by_name = {entry.name: entry for entry in entries}
    descriptor = by_name.pop(DESCRIPTOR, None)
    named = {} if descriptor is None else _resources(descriptor, by_name, package)
    assigned: dict[type[Row], _Entry] = {}
    for name, entry in sorted(by_name.items()):
        table = named.get(name) or (TABLES.get(name.removesuffix(".csv")) if name.endswith(".csv") else None)
        if table is None:
            if not _passed_over(name):
                package.findings.append(_unknown_file(name))
        elif table in assigned:
            text = f"both {shortened(assigned[table].name)} and {shortened(name)} are for the table {table.table}"
            package.findings.append(found(reading.ENTRY_UNSAFE, text, table=table.table))
        else:
            assigned[table] = entry
    if not assigned and not package.findings:
        text = "the package contains no table; a table is a file such as fits.csv"
        package.findings.append(found(reading.PACKAGE_UNREADABLE, text))
    for table in TABLES.values():
        if table in assigned:
            entry = assigned[table]
            package.files[table] = File(table, entry.name, entry.size, entry.open)


def _passed_over(name: str) -> bool:
    path = PurePosixPath(name.lower())
    return path.suffix == ".md" or path.stem in PASSED_OVER


def _unknown_file(name: str) -> Finding:
    stem = PurePosixPath(name).stem.lower()
    near = process.extractOne(stem, list(TABLES), score_cutoff=60)
    fix = f"rename it to {near[0]}.csv" if near else None
    return found(reading.FILE_UNKNOWN, f"{shortened(name)} is not a table", value=name, fix=fix)


def _resources(entry: _Entry, files: dict[str, _Entry], package: Package) -> dict[str, type[Row]]:
    """The tables of files as the descriptor assigns them."""
    try:
        if entry.size > MOST_DESCRIPTOR:
            raise ValueError(f"it has {entry.size:,} bytes")
        with entry.open() as stream:
            content = read_json(stream.read(MOST_DESCRIPTOR).removeprefix(BOM_UTF8), "it")
        resources = [(str(each["name"]), str(each["path"])) for each in content["resources"]]
        if len(resources) > MOST_ENTRIES:
            raise ValueError(f"it names {len(resources):,} resources; at most {MOST_ENTRIES} are read")
    except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile, zlib.error) as error:
        text = f"{DESCRIPTOR} cannot be read: {shortened(str(error) or type(error).__name__)}"
        package.findings.append(found(reading.DESCRIPTOR_UNREADABLE, text))
        return {}
    named: dict[str, type[Row]] = {}
    for name, path in resources:
        if name not in TABLES:
            near = process.extractOne(name, list(TABLES), score_cutoff=60)
            fix = f"name the resource {near[0]}" if near else None
            text = f"{DESCRIPTOR}: the resource {shortened(name)} is not a table"
            package.findings.append(found(reading.FILE_UNKNOWN, text, value=name, fix=fix))
        elif path not in files:
            text = f"{DESCRIPTOR} names {shortened(path)}, which is not there"
            package.findings.append(found(reading.FILE_MISSING, text, table=name))
        else:
            named[path] = TABLES[name]
    return named
