"""Large catalogues of invented forks: seeded, streamed, any size, and accepted by every rule that rejects.

    write_package(folder, chassis=27_000)      a package of some two million statements
    rows(chassis=40, seed=3)                   a small one, in memory

A chassis depends only on the seed and its number, so a larger catalogue contains a smaller one; every maker has its own
habits. Two chassis are one family: two generations of a name that share their springs."""

import csv
from collections.abc import Collection, Iterator
from contextlib import ExitStack
from pathlib import Path

from app.catalogue.tables import TABLES, Row, from_cells
from tests.catalogue_generator.families import FAMILIES_PER_MAKER
from tests.catalogue_generator.forks import Fork
from tests.catalogue_generator.makers import Cells, shared


def cells(chassis: int, seed: int = 1) -> Iterator[tuple[str, Cells]]:
    """(table, cells) of every row, chassis by chassis; within a table the ids ascend."""
    makers = -(-chassis // (2 * FAMILIES_PER_MAKER))
    yield from sorted(shared(seed, makers), key=_place)
    for number in range(chassis):
        yield from sorted(Fork(seed, number).build(), key=_place)


def rows(chassis: int, seed: int = 1, tables: Collection[str] = TABLES) -> Iterator[Row]:
    """Every row of those tables, validated."""
    for name, given in cells(chassis, seed):
        if name in tables:
            yield TABLES[name].checked(from_cells(TABLES[name], given))


def write_package(folder: Path, chassis: int, seed: int = 1) -> int:
    """Writes a package without a descriptor; returns the number of rows. Memory does not grow with its size."""
    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    with ExitStack() as stack:
        writers = {}
        for name, table in TABLES.items():
            stream = stack.enter_context((folder / f"{name}.csv").open("w", newline="", encoding="utf-8"))
            writers[name] = csv.DictWriter(stream, [*table.columns()], restval="", lineterminator="\n")
            writers[name].writeheader()
        for name, given in cells(chassis, seed):
            writers[name].writerow(given)
            count += 1
    return count


def _place(row: tuple[str, Cells]) -> tuple[str, str]:
    return row[0], row[1]["id"]
