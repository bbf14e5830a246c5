"""Bodies and answers of the write routes. A change has the same form everywhere."""

from typing import Annotated, Literal, NotRequired

from fastapi import Query
from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.tables import STATEMENTS
from app.exchange.cells import CellChange, CellCounts
from app.exchange.editing import MOST_CHANGES
from app.exchange.reports import OrdersAdded
from app.json_types import JsonObject
from app.questions.answers.views import Caution
from app.questions.tables.links import entry_shape
from app.rules.finding import FindingCounts, FindingShape
from app.web.contract.openapi import json_body

ZIP = "application/zip"

MERGE_PATCH = "application/merge-patch+json"

EditReason = Annotated[str, Field(min_length=3, max_length=500, pattern=r"\S")]
OrdersWanted = Literal["add", "none"]
ORDERS_TEXT = "Whether a first package that has no order of work gets the common ones."
Name = Annotated[str, Field(max_length=80)]
Empty = Annotated[
    str | None,
    Query(max_length=2000, description="Columns that a put may empty, separated by commas; it names no others."),
]


class ChangeBody(TypedDict):
    """One change of one row: a whole row to put, or the id of a row to withdraw.

    `empty` names the columns that a put may empty; without it a put whose row lacks a stored value is refused.
    """

    table: Name
    op: Literal["put", "withdraw"]
    row: NotRequired[JsonObject]
    empty: NotRequired[Annotated[list[Name], Field(max_length=100)]]
    id: NotRequired[Name]
    reason: NotRequired[EditReason]


class StatementPut(TypedDict):
    """The whole row of a statement, as GET gives it. Other members of GET's answer may be sent too and are ignored.

    `empty` names the columns that the put may empty; without it a put whose row lacks a stored value is refused.
    """

    row: JsonObject
    table: NotRequired[Name]
    op: NotRequired[Literal["put"]]
    empty: NotRequired[Annotated[list[Name], Field(max_length=100)]]
    reason: NotRequired[EditReason]


class StatementPatch(TypedDict):
    """A merge patch (RFC 7396) of GET's answer: in `row`, null empties a column and an absent column stays as it is."""

    row: JsonObject
    reason: NotRequired[EditReason]


class ChangesBody(TypedDict):
    """Several changes; all are accepted or none."""

    changes: Annotated[list[ChangeBody], Field(min_length=1, max_length=MOST_CHANGES)]
    reason: NotRequired[EditReason]


class RowsRead(TypedDict):
    """The effect of a package on the rows of the catalogue."""

    read: int
    added: int
    changed: int
    withdrawn: int


class WriteAnswer(TypedDict):
    """A report on changes: `accepted`, the changed cells of stored rows with emptied ones first, every finding with its
    fix, and the latest revision."""

    accepted: bool
    changed_cells: list[CellChange]
    cell_counts: CellCounts
    findings: list[FindingShape]
    counts: FindingCounts
    revision: int
    lineage: NotRequired[
        Annotated[str, Field(description="Of `revision`. A package has none; ask for the latest revision.")]
    ]
    opened: bool
    rows: NotRequired[RowsRead]
    orders: NotRequired[OrdersAdded]
    cautions: list[Caution]


BESIDE = {name for table in STATEMENTS for name in entry_shape(table).__annotations__} - {"row", "table"}
"""Members of GET's answer about a statement that a PUT ignores."""

CHANGE = TypeAdapter(ChangeBody)
PUT = TypeAdapter(StatementPut)
PATCH = TypeAdapter(StatementPatch)
CHANGES = TypeAdapter(ChangesBody)
WRITE = TypeAdapter(WriteAnswer)
BODIES = json_body(CHANGES, "Up to 200 changes, or a Data Package as a zip file.")
BODIES["requestBody"]["content"][ZIP] = {"schema": {"type": "string", "format": "binary"}}


def names_in(empty: str | None) -> frozenset[str]:
    """The columns that the parameter `empty` names."""
    return frozenset(name for name in (empty or "").split(",") if name)
