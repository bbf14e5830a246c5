"""Bodies of the requests about drafts."""

from typing import Annotated, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.drafts.content import DraftKind, ReaderVerdict
from app.json_types import JsonObject
from app.web.contract.openapi import json_body
from app.web.edit_bodies import EditReason, Name

DraftTitle = Annotated[str, Field(min_length=1, max_length=120, pattern=r"\S")]
DraftText = Annotated[str, Field(max_length=1_000)]
CellPlace = Annotated[str, Field(max_length=140, pattern=r"^.+![A-Z]{1,3}[0-9]{1,7}$")]
ContentDigest = Annotated[str, Field(pattern=r"^[0-9a-f]{24}$")]

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
TABLE_TYPES = ("text/csv", "text/plain", "text/tab-separated-values", XLSX)


class DraftBody(TypedDict):
    """A draft to start. `like` is the id of a fork or source for the kinds `fork` and `edition`, `revision` the one to
    undo. `answers` may give meanings at once: `chassis`, `source`, `page of Torques`."""

    title: NotRequired[DraftTitle]
    kind: NotRequired[DraftKind]
    like: NotRequired[Name]
    revision: NotRequired[Annotated[int, Field(ge=1)]]
    answers: NotRequired[Annotated[dict[str, DraftText], Field(max_length=500)]]


class CorrectionBody(TypedDict):
    """The text to read instead of a cell; with `column` (`torques.as_printed`) the value of that column of its row.

    An empty text takes a correction back."""

    cell: CellPlace
    column: NotRequired[Name]
    text: DraftText


class DraftPatch(TypedDict, total=False):
    """Changes of a draft; whatever is not named stays. An empty answer takes an answer back."""

    title: DraftTitle
    answers: Annotated[dict[str, DraftText], Field(max_length=500)]
    corrections: Annotated[list[CorrectionBody], Field(max_length=500)]
    without: Annotated[
        list[Annotated[str, Field(max_length=120)]], Field(max_length=60, description="Names of tables to remove.")
    ]


class TickBody(TypedDict):
    """The verdict of the second reader on a row. `content` is that of the row as it was read."""

    table: Name
    id: Name
    content: ContentDigest
    said: ReaderVerdict
    note: NotRequired[Annotated[str, Field(max_length=300)]]


class TicksBody(TypedDict):
    """Rows that the second reader has compared with the page."""

    ticks: Annotated[list[TickBody], Field(min_length=1, max_length=500)]


class LoadBody(TypedDict, total=False):
    """Why the rows are entered; recorded with the revision. Without a reason it is the title of the draft."""

    reason: EditReason


DRAFT_BODY, DRAFT_PATCH = TypeAdapter(DraftBody), TypeAdapter(DraftPatch)
TICKS_BODY, LOAD_BODY = TypeAdapter(TicksBody), TypeAdapter(LoadBody)

_BINARY: JsonObject = {"schema": {"type": "string", "format": "binary"}}
TABLE_BODY: JsonObject = {
    "requestBody": {
        "required": True,
        "description": "A table as text (with commas, semicolons or tabs) or a workbook.",
        "content": dict.fromkeys(TABLE_TYPES, _BINARY),
    }
}
START_BODY = json_body(DRAFT_BODY, "How the draft begins.")
CHANGE_BODY = json_body(DRAFT_PATCH, "Answers, corrections, a title, or tables to remove.")
READ_BODY = json_body(TICKS_BODY, "The rows that were read.")
REASON_BODY = json_body(LOAD_BODY, "The reason.")
