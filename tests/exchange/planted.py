"""Thirty slips of more than ten kinds, planted into a correct package; each changes how a cell, line or file is
written."""

import csv
import io
from collections.abc import Callable
from pathlib import Path

from app.catalogue.tables import TABLES
from tests.conftest import SEED_DATA

Table = list[list[str]]  # the header, then the rows
Package = dict[str, Table]

CHASSIS = ("quembry-trivet-35", "tarnoch-raddle-37")


def true_package() -> Package:
    """The demo's rows about two chassis, every row that they refer to, and every tool."""
    everything = {
        name: list(csv.reader(io.StringIO((SEED_DATA / f"{name}.csv").read_text(encoding="utf-8"), newline="")))
        for name in TABLES
    }
    rows = {name: {row[0]: row for row in table[1:]} for name, table in everything.items()}
    kept: dict[str, set[str]] = {name: set() for name in TABLES}
    wanted = [("tools", id) for id in rows["tools"]] + [("chassis", id) for id in CHASSIS]
    for name, table in everything.items():
        if "chassis" in table[0]:
            at = table[0].index("chassis")
            wanted += [(name, row[0]) for row in table[1:] if row[at] in CHASSIS]
    while wanted:
        name, id = wanted.pop()
        if id in kept[name]:
            continue
        kept[name].add(id)
        for column, cell in zip(everything[name][0], rows[name][id], strict=True):
            target = name if column == "exception_to" else TABLES[name].columns()[column].refers_to
            if target and cell:
                wanted += [(target, each) for each in cell.split(";")]
    return {
        name: [table[0], *(row for row in table[1:] if row[0] in kept[name])]
        for name, table in everything.items()
        if kept[name]
    }


# (kind of slip, file, id, column, text typed in)
CELLS: tuple[tuple[str, str, str, str, str], ...] = (
    ("unit of another quantity", "torques", "torque-raddle-37-axle", "unit", "bar"),
    ("unit of another quantity", "fills", "fill-trivet-35-foam", "unit", "mm"),
    ("unit misspelt", "guides", "guide-trivet-35-run-two-150-160-140-lb", "pressure_unit", "ppsi"),
    ("id misspelt", "torques", "torque-trivet-35-top-cap", "fastener", "quembry-trivet-35-topcap"),
    ("id misspelt", "fits", "fit-raddle-37-170-622", "spacer", "tarnoch-plug-73"),
    ("id misspelt", "greases", "grease-raddle-37-dust-wiper", "source", "tarnoch-fork-manual-d"),
    ("comma for a point", "spacers", "tarnoch-plug-37", "volume_ml", "8,1"),
    ("comma for a point", "fits", "fit-raddle-37-160-622", "axle_to_crown_mm", "564,5"),
    ("two separators", "springs", "tarnoch-raddle-37-spring-160", "end_volume_ml", "7.9,9"),
    ("text in a number", "fills", "fill-raddle-37-foam", "value", "3 mL"),
    ("text in a number", "chassis", "quembry-trivet-35", "stanchion_diameter_mm", "35mm"),
    ("text in a number", "intervals", "interval-raddle-37-full", "hours", "about 150"),
    ("cell left empty", "fits", "fit-trivet-35-run-one-140-622", "travel_mm", ""),
    ("cell left empty", "fasteners", "quembry-trivet-35-axle", "position", ""),
    ("ends exchanged", "chassis", "tarnoch-raddle-37", "travel_min_mm", "190"),
    ("ends exchanged", "limits", "limit-raddle-37-rotor", "min", "253"),
    ("bad date", "sources", "quembry-shop-book-3", "published_on", "2022-3"),
    ("bad date", "sources", "tarnoch-fork-manual-b", "published_on", "01/2021"),
    ("word that is none", "uses", "use-raddle-37-full-service-washers", "when", "allways"),
    ("word that is none", "dampers", "tarnoch-tappet", "clicks_from", "shut"),
    ("figure of the wrong size", "torques", "torque-trivet-35-axle", "value", "1150"),
    ("figure of the wrong size", "guides", "guide-trivet-35-run-two-150-160-200-lb", "pressure", "10.7"),
    ("page left out", "limits", "limit-trivet-35-rotor", "page", ""),
    ("source left out", "torques", "torque-raddle-37-valve-core", "source", ""),
)  # fmt: skip


def _head(old: str, new: str) -> Callable[[Table], None]:
    def plant(table: Table) -> None:
        table[0][table[0].index(old)] = new

    return plant


def _twice(id: str) -> Callable[[Table], None]:
    def plant(table: Table) -> None:
        at = next(index for index, row in enumerate(table) if row[0] == id)
        table.insert(at + 1, list(table[at]))

    return plant


def _contradicted(table: Table) -> None:
    """The line above copied for the next bolt, with its figure typed in but the fastener not changed."""
    at = next(index for index, row in enumerate(table) if row[0] == "torque-raddle-37-caliper-bolt")
    row = list(table[at])
    row[0] = "torque-raddle-37-copied"
    row[table[0].index("value")] = "6"
    table.insert(at + 1, row)


# (kind of slip, file, change to the table)
TABLES_SPOILT: tuple[tuple[str, str, Callable[[Table], None]], ...] = (
    ("column misnamed", "fits", _head("spacer_limit", "spacers max")),
    ("column misnamed", "guides", _head("sag_percent", "Sag %")),
    ("row twice", "uses", _twice("use-trivet-35-full-service-ring")),
    ("contradiction", "torques", _contradicted),
)
DIALECTS = {"intervals": "semicolons", "torques": "Latin-1", "parts": "BOM and CRLF"}
NO_FAULT = {"parts"}  # spreadsheet formats are read unchanged


def plant(package: Package) -> None:
    """Puts every slip of cells and tables into the package."""
    for _, name, id, column, typed in CELLS:
        table = package[name]
        row = next(row for row in table if row[0] == id)
        assert row[table[0].index(column)] != typed
        row[table[0].index(column)] = typed
    for _, name, spoil in TABLES_SPOILT:
        spoil(package[name])


def kinds() -> list[str]:
    """The kind of each slip."""
    files = [kind for name, kind in DIALECTS.items() if name not in NO_FAULT]
    return [each[0] for each in CELLS] + [each[0] for each in TABLES_SPOILT] + files


def write(package: Package, folder: Path) -> None:
    """Writes the CSV files, three of them in the format of other programs."""
    for name, table in package.items():
        written = io.StringIO(newline="")
        dialect = DIALECTS.get(name)
        csv.writer(
            written,
            delimiter=";" if dialect == "semicolons" else ",",
            lineterminator="\r\n" if dialect == "BOM and CRLF" else "\n",
        ).writerows(table)
        encoding = {"Latin-1": "latin-1", "BOM and CRLF": "utf-8-sig"}.get(dialect or "", "utf-8")
        (folder / f"{name}.csv").write_bytes(written.getvalue().encode(encoding))
