"""The bodies of the write routes and what they answer: one shape of a change everywhere."""

from typing import Annotated, Any, Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.exchange.editing import MOST_CHANGES
from app.questions.answers.views import Caution
from app.rules.finding import FindingCounts, FindingShape
from app.web.contract.openapi import json_body

ZIP = "application/zip"

EditReason = Annotated[str, Field(min_length=3, max_length=500, pattern=r"\S")]


class ChangeBody(TypedDict):
    """One change of one row: a row to put, or the id of one to withdraw."""

    table: Annotated[str, Field(max_length=80)]
    op: Literal["put", "withdraw"]
    row: NotRequired[dict[str, Any]]
    id: NotRequired[Annotated[str, Field(max_length=80)]]
    reason: NotRequired[EditReason]


class ChangesBody(TypedDict):
    """Several changes that are accepted or refused together."""

    changes: Annotated[list[ChangeBody], Field(min_length=1, max_length=MOST_CHANGES)]
    reason: NotRequired[EditReason]


class RowsRead(TypedDict):
    """Rows of a package, and what they do to the catalogue."""

    read: int
    added: int
    changed: int
    withdrawn: int


class WriteAnswer(TypedDict):
    """A report on changes: `accepted`, every finding with how to mend it, and the revision that holds now."""

    accepted: bool
    findings: list[FindingShape]
    counts: FindingCounts
    revision: int
    opened: bool
    rows: NotRequired[RowsRead]
    cautions: list[Caution]


CHANGE = TypeAdapter(ChangeBody)
CHANGES = TypeAdapter(ChangesBody)
WRITE = TypeAdapter(WriteAnswer)
BODIES = json_body(CHANGES, "Up to 200 changes, or a Data Package as a zip file.")
BODIES["requestBody"]["content"][ZIP] = {"schema": {"type": "string", "format": "binary"}}
