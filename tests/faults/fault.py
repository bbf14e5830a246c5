"""A fault is one slip of the hand, given as the rows it writes. The other modules here register the kinds."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from random import Random
from typing import TypeVar

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import STATEMENTS, Row, Statement, from_cells, is_row_of

R = TypeVar("R", bound=Row)
TOLERANCE = 0.10  # without limits a figure is right within a tenth; common practice, no source


@dataclass(frozen=True, slots=True)
class Put:
    """A submitted row; `before` is the old row with its id, None if the id is new; `after` is None for a withdrawal."""

    before: Row | None
    after: Row | None

    @property
    def row(self) -> Row:
        row = self.after or self.before
        assert row is not None
        return row


@dataclass(frozen=True, slots=True)
class Fault:
    """The rows that one slip writes, the row it is in, and the figure or word it changed."""

    puts: tuple[Put, ...]
    row: Row
    was: str
    now: str


class Ground(MemoryRows):
    """A sound catalogue in memory, with its rows in order for random draws."""

    def __init__(self, rows: Iterable[Row]) -> None:
        super().__init__(rows)
        self._listed: dict[type[Row], list[Row]] = {}

    def listed(self, table: type[R]) -> list[R]:
        """The rows of a table by id."""
        if table not in self._listed:
            self._listed[table] = list(self.all(table))
        return self._listed[table]  # type: ignore[return-value]


Maker = Callable[[Ground, Random], Fault | None]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of slip. `beyond`: it changes a value beyond its tolerance. `missed`: why some cannot be found."""

    name: str
    beyond: bool
    missed: str
    make: Maker
    group: str = "slip"


KINDS: dict[str, Kind] = {}


def kind(name: str, *, beyond: bool, missed: str = "", group: str = "slip") -> Callable[[Maker], Maker]:
    """Register a kind; `make` draws a row and spoils it, or returns None if that row cannot have this fault."""

    def register(make: Maker) -> Maker:
        assert name not in KINDS, name
        KINDS[name] = Kind(name, beyond, missed, make, group)
        return make

    return register


def made(rows: Ground, wanted: Kind, seed: int, count: int) -> Iterator[Fault]:
    """Up to `count` different faults of a kind: fewer if the catalogue has no room for more."""
    draw = Random(f"{seed}/{wanted.name}")
    seen: set[tuple[str, ...]] = set()
    for _ in range(count * 60):
        fault = wanted.make(rows, draw)
        if fault is None:
            continue
        key = tuple("|".join(put.row.cells().values()) for put in fault.puts)
        if key not in seen:
            seen.add(key)
            yield fault
            if len(seen) == count:
                return


def pick(rows: Ground, draw: Random, table: type[R]) -> R | None:
    """A row of the table, or None if it is empty."""
    listed = rows.listed(table)
    return draw.choice(listed) if listed else None


def pick_statement(rows: Ground, draw: Random) -> Statement | None:
    """A statement; each table is equally likely."""
    return pick(rows, draw, draw.choice(STATEMENTS))


def spoilt(row: R, **cells: str) -> R | None:
    """The row with these cells written into it, as text; None if they make no valid row.

    A freshly typed row has not been checked twice, so `confirmed` and `as_printed` are not kept.
    """
    unread = {name: "" for name in ("confirmed", "as_printed") if name in row.cells()}
    try:
        return row.model.model_validate(from_cells(row.model, {**row.cells(), **unread, **cells}))
    except ValueError:
        return None


def one_cell(row: Row, column: str, text: str) -> Fault | None:
    """The fault of one cell; None if the cell already has this text."""
    return several_cells(row, {column: text}, column)


def several_cells(row: Row, cells: dict[str, str], shown: str) -> Fault | None:
    """The fault of several cells; `shown` is the column that is reported."""
    before = row.cells()
    if all(before[name] == text for name, text in cells.items()):
        return None
    puts = written(row, cells)
    return None if puts is None else Fault(puts, puts[-1].row, before[shown], puts[-1].row.cells()[shown])


def written(row: Row, cells: dict[str, str]) -> tuple[Put, ...] | None:
    """The row with these cells. If they change the subject of a statement, it is submitted as a new row, so that the
    fault is judged as in a first load, not as a change of subject."""
    subject = is_row_of(row, Statement) and any(name in row.model.about for name in cells)
    after = spoilt(row, **cells, **({"id": f"{row.id}-x"} if subject else {}))
    if after is None:
        return None
    return (Put(row, None), Put(None, after)) if subject else (Put(row, after),)


def instead(row: Row, id: str, **cells: str) -> Fault | None:
    """The fault of a row that was wrong from the start: the true row is missing, and this one is new."""
    after = spoilt(row, id=id, **cells)
    if after is None:
        return None
    column = next(iter(cells))
    return Fault((Put(row, None), Put(None, after)), after, row.cells()[column], cells[column])


def plain(value: float) -> str:
    """A figure as it would be printed: three significant digits, no exponent."""
    text = f"{value:.3g}" if 0.001 < abs(value) < 1000 else f"{value:.0f}"
    return f"{float(text):.4f}".rstrip("0").rstrip(".") if "e" in text else text


def beyond(row: Row, column: str, now: float, low: str = "min", high: str = "max") -> bool:
    """True if a figure is outside its limits, or off by more than a tenth if it has none."""
    cells = row.cells()
    was = float(cells[column])
    least, most = cells.get(low), cells.get(high)
    if least and most:
        return not float(least) <= now <= float(most)
    return abs(now / was - 1) > TOLERANCE
