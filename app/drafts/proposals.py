"""The rows of another fork, or of an earlier edition, that are to be seen again: each asks for its page in the source.

A row that a table of the draft gives already is not asked about.
"""

from collections.abc import Iterator
from typing import TypeVar

from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS, Chassis, Fastener, Source, Statement
from app.drafts.cells import Unanswered
from app.drafts.content import DraftStart
from app.drafts.desk import LEAVE_OUT
from app.drafts.rows import DerivedRows, about_of
from app.drafts.statements import Cells

S = TypeVar("S", bound=Statement)
_NOT_TAKEN = ("id", "source", "page", "as_printed", "confirmed", "exception_to")
"""Columns that a row of another page does not hand on."""
_NOT_ASKED = (*_NOT_TAKEN, "chassis", "note")
"""Columns that the question about a row does not repeat."""


def propose(snapshot: Snapshot, start: DraftStart, rows: DerivedRows) -> None:
    """Ask about each row that a draft began with, and add those whose page is answered."""
    if start["kind"] not in ("fork", "edition") or "like" not in start:
        return
    source = rows.desk.answer("source", "which document do you have at hand?")
    if source is None or rows.base.one(Source, source) is None:
        return
    if start["kind"] == "edition":
        for row in _of(snapshot, "source", start["like"]):
            if (row.table, row.id) not in rows.found and (page := _page(rows, row)) is not None:
                rows.add(row.model, {"id": row.id, "source": source, "page": page}, f"page {page}", row, renews=True)
        return
    chassis = rows.desk.answer("chassis", "which fork do you enter?")
    if chassis is None or rows.base.one(Chassis, chassis) is None:
        return
    for row in _of(snapshot, "chassis", start["like"]):
        _propose_like(rows, row, chassis, source)


def _of(snapshot: Snapshot, column: str, id: str) -> Iterator[Statement]:
    for table in STATEMENTS:
        yield from snapshot.where(table, column, id)


def _page(rows: DerivedRows, row: Statement) -> str | None:
    """The page on which a row is seen again; None while that is open, or if it is left out."""
    page = row["page"] or ""
    words = ", ".join(f"{name} {text}" for name, text in row.cells().items() if text and name not in _NOT_ASKED)
    why = f"{words}. Does the document say so? Write the page, or {LEAVE_OUT} if it does not"
    answer = rows.desk.answer(f"page of {row.table}/{row.id}", why, [each for each in (page, LEAVE_OUT) if each])
    return None if answer in (None, LEAVE_OUT) else answer


def _propose_like(rows: DerivedRows, row: S, chassis: str, source: str) -> None:
    cells: Cells = {name: text or None for name, text in row.cells().items() if name not in _NOT_TAKEN}
    cells |= {"chassis": chassis, "source": source}
    if cells.get("variant") is not None:
        rows.desk.remark(f"{row.table}/{row.id} is about a variant of the other fork and is not taken over")
        return
    table: type[S] = row.model  # type: ignore[assignment]
    probe = row.replaced(chassis=chassis, source=source)
    fastener, there = cells.get("fastener"), None
    if fastener is not None:
        there = _fastener_there(rows, fastener, chassis)
        probe = probe.replaced(fastener=there)
    if any(about_of(each) == about_of(probe) for each in rows.of(table)):
        return
    if (page := _page(rows, row)) is None:
        return
    place = f"page {page}"
    try:
        if fastener is not None:
            cells["fastener"] = there or _add_fastener(rows, fastener, chassis, source, page)
        rows.state(table, {**cells, "page": page}, place)
    except Unanswered:
        return


def _fastener_there(rows: DerivedRows, like: str, chassis: str) -> str | None:
    """The fastener at the same place of the fork that is entered."""
    other = rows.base.one(Fastener, like)
    if other is None or other.chassis is None:
        return like  # of a spring or damper, which both forks may have
    same = [
        each.id for each in rows.known(Fastener, "chassis", chassis)
        if (each.position, each.side) == (other.position, other.side)
    ]  # fmt: skip
    return same[0] if same else None


def _add_fastener(rows: DerivedRows, like: str, chassis: str, source: str, page: str) -> str:
    other = rows.base.one(Fastener, like)
    assert other is not None
    own: Cells = {name: text or None for name, text in other.cells().items() if name not in _NOT_TAKEN}
    return rows.add_new(Fastener, {**own, "chassis": chassis, "source": source, "page": page}, f"page {page}").id
