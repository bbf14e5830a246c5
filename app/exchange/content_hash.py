"""One hash of all that holds at a revision, by which two catalogues, or a copy and its origin, are compared.

Anyone can reckon it from an export: unpacked, it is `LC_ALL=C sha256sum *.csv | sha256sum`.
"""

import hashlib
import io
from typing import IO, Any, cast

from app.catalogue.rows import Rows
from app.exchange.writer import write


class _Hashed(io.RawIOBase):
    def __init__(self) -> None:
        self.hash = hashlib.sha256()

    def writable(self) -> bool:
        return True

    def write(self, part: Any) -> int:
        self.hash.update(part)
        return len(part)


class _Files:
    """A package that is written nowhere: the hash of each of its files."""

    def __init__(self) -> None:
        self.files: dict[str, _Hashed] = {}

    def open(self, name: str) -> IO[bytes]:
        self.files[name] = _Hashed()
        return cast(IO[bytes], self.files[name])


def content_hash(rows: Rows) -> str:
    """SHA-256, in hexadecimal, of the tables in canonical form; it says nothing of revisions or of when and why."""
    package = _Files()
    write(rows, None, package)
    lines = [
        f"{file.hash.hexdigest()}  {name}\n" for name, file in sorted(package.files.items()) if name[-4:] == ".csv"
    ]
    return hashlib.sha256("".join(lines).encode()).hexdigest()
