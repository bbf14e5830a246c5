"""The content of a draft besides its grids: how it began, meanings and answers, corrections, stored rows as first seen,
and ticks of the second reader."""

import hashlib
import json
from collections.abc import Mapping
from typing import Annotated, Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.tables import Row

DraftKind = Literal["empty", "fork", "edition", "undo"]
ReaderVerdict = Literal["so", "not so"]


class DraftStart(TypedDict):
    """How a draft began: empty, like a fork, as a new edition of a source, or as the reversal of a revision."""

    kind: DraftKind
    like: NotRequired[Annotated[str, Field(description="The fork or source whose rows are to be seen again.")]]
    revision: NotRequired[Annotated[int, Field(description="The revision to undo.")]]
    maker: NotRequired[Annotated[str, Field(description="The maker whose headings are remembered.")]]


class Tick(TypedDict):
    """The verdict of the second reader on a row. It belongs to the row's content and falls with any change."""

    content: str
    said: ReaderVerdict
    by: str
    key: str
    at: str
    note: NotRequired[str]


class DraftContent(TypedDict):
    """Everything that was given besides the grids.

    `answers` are meanings and answers by question. `corrections` are by place (`Torques!B7`) and column: the text to
    read instead of the cell if the column is empty, else the value of a column (`torques.as_printed`) of its row.
    `seen` has the cells of each stored row as first seen, `ticks` are by row (`torques/id`), and `authors` are the keys
    that changed the draft.
    """

    start: DraftStart
    answers: dict[str, str]
    corrections: dict[str, dict[str, str]]
    seen: dict[str, dict[str, str]]
    ticks: dict[str, Tick]
    authors: list[str]


CONTENT = TypeAdapter(DraftContent)


def new_content(start: DraftStart, answers: Mapping[str, str], author: str) -> DraftContent:
    """The content of a draft that begins."""
    return DraftContent(
        start=start, answers=dict(answers), corrections={}, seen={}, ticks={}, authors=[author]
    )  # fmt: skip


def given_cells(row: Row) -> dict[str, str]:
    """The cells of a row that are not empty, as text."""
    return {name: text for name, text in row.cells().items() if text}


def content_digest(row: Row | None) -> str:
    """A digest of a row's content, which a tick names; of a withdrawal if there is no row."""
    cells = {} if row is None else given_cells(row)
    return hashlib.sha256(json.dumps(cells, sort_keys=True).encode()).hexdigest()[:24]
