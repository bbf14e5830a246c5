"""The export as text, to compare lists and rows in HTTP answers with."""

import csv
import io
import zipfile
from typing import Any

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import TABLES
from app.exchange.writer import zipped

Cells = dict[str, str]


def export_of(catalogue: Catalogue) -> dict[str, list[Cells]]:
    """The rows of each table in the current export, as text."""
    stream = io.BytesIO()
    with catalogue.snapshot() as snapshot:
        zipped(snapshot, snapshot.revision, stream)
    with zipfile.ZipFile(stream) as package:
        return {
            name: list(csv.DictReader(io.StringIO(package.read(f"{name}.csv").decode(), newline=""))) for name in TABLES
        }


def as_cell(value: Any) -> str:
    """A JSON value as a package writes it."""
    if isinstance(value, list):
        return ";".join(map(as_cell, value))
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)
