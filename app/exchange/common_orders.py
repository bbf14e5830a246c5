"""The orders of work in `app/orders`: common practice, a package of its own, added to a catalogue that has none.

`shipped_orders.csv` has a digest of every version of every row that a build has shipped: a stored row with another
digest was changed by its owner. `python -m app.exchange.common_orders` adds the digests of this build.
"""

import csv
from collections.abc import Collection, Iterator, Mapping
from functools import cache
from pathlib import Path

from app.catalogue.content_hash import digest_of
from app.catalogue.rows import Rows
from app.catalogue.tables import Row
from app.exchange.package import open_package
from app.exchange.reader import Batch, read_file

ORDERS = Path(__file__).parents[1] / "orders"
SHIPPED = Path(__file__).with_name("shipped_orders.csv")


@cache
def common_orders() -> Mapping[type[Row], tuple[Row, ...]]:
    """The rows of the package by table. Raises RuntimeError if this installation lacks them."""
    with open_package(ORDERS) as package:
        found: dict[type[Row], tuple[Row, ...]] = {}
        faults = list(package.findings)
        for table, file in package.files.items():
            for item in read_file(file):
                if isinstance(item, Batch):
                    found[table] = (*found.get(table, ()), *item.rows)
                else:
                    faults.append(item)
    if faults:
        raise RuntimeError(f"the common orders of work cannot be read: {faults[0].text}")
    return found


def not_in(rows: Rows) -> Iterator[tuple[type[Row], list[Row]]]:
    """The common orders without the rows whose id the catalogue already has in that table."""
    for table, common in common_orders().items():
        there = rows.many(table, [row.id for row in common])
        yield table, [row for row in common if row.id not in there]


@cache
def shipped() -> Mapping[tuple[str, str], Collection[str]]:
    """The digests of every version that this build or an earlier one has shipped of a row, by table and id."""
    found: dict[tuple[str, str], set[str]] = {}
    with SHIPPED.open(encoding="utf-8", newline="") as file:
        for table, id, sha256 in csv.reader(file):
            found.setdefault((table, id), set()).add(sha256)
    return found


def _record() -> None:
    """Add the digests of this build's rows to the file."""
    known = {(*row, each) for row, digests in shipped().items() for each in digests}
    now = {(table.table, row.id, digest_of(row)) for table, rows in common_orders().items() for row in rows}
    with SHIPPED.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(sorted(known | now))


if __name__ == "__main__":
    _record()
