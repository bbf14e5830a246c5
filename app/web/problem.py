"""Problem details (RFC 9457) of refusals; never a stack trace, a file path, SQL or long input."""

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, NotRequired

from pydantic import Field
from starlette.types import Scope
from typing_extensions import TypedDict

from app import errors
from app.errors import Fault, Refusal
from app.json_types import JsonObject
from app.rules.finding import Report
from app.web.contract.problem_types import PROBLEM_TYPES

MEDIA_TYPE = "application/problem+json"
LONGEST_TEXT = 400
MOST_ERRORS = 100


class FaultRow(TypedDict):
    """One fault: `code` is contract, `text` is a sentence that may be translated."""

    code: str
    text: str
    parameter: NotRequired[str]
    pointer: NotRequired[str]
    suggestion: NotRequired[str]


class Near(TypedDict):
    """A similar row; `score` is 1 for the same id."""

    id: str
    name: NotRequired[str]
    score: float


class FormThere(TypedDict):
    """A format of the answer."""

    media_type: Annotated[str, Field(description="Its media type, for Accept.")]
    suffix: Annotated[str, Field(description="Its name in `format` and as a suffix.")]


class PastVersion(TypedDict):
    """One version of a withdrawn row."""

    revision_from: int
    revision_to: int
    row: JsonObject


class OpenParameter(TypedDict):
    """A parameter that would decide, and its possible values."""

    parameter: str
    values: list[str]
    names: NotRequired[list[str]]


class Problem(TypedDict):
    """Why a request was refused (RFC 9457). It may have further members; clients ignore those they do not know."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    request_id: NotRequired[str]
    errors: NotRequired[list[FaultRow]]
    candidates: NotRequired[list[Near]]
    available: NotRequired[list[FormThere]]
    history: NotRequired[list[PastVersion]]
    withdrawn_with: NotRequired[int]
    current: NotRequired[str]
    undecided: NotRequired[list[OpenParameter]]
    about: NotRequired[str]
    chosen: NotRequired[dict[str, str]]
    offered: NotRequired[list[float]]
    report: NotRequired[Report]


SLUG_OF: dict[type[Refusal], str] = {
    errors.Malformed: "malformed",
    errors.Unauthorised: "key-missing",
    errors.Forbidden: "forbidden",
    errors.SentFromElsewhere: "sent-from-elsewhere",
    errors.NotFound: "not-found",
    errors.Conflict: "conflict",
    errors.Gone: "gone",
    errors.Stale: "stale",
    errors.TooLarge: "too-large",
    errors.Invalid: "invalid",
    errors.PreconditionMissing: "precondition-missing",
    errors.Unavailable: "unavailable",
    errors.NoRoom: "no-room",
}
"""The problem type of each refusal; a subclass without its own uses that of its nearest parent."""


def short(text: str, most: int = LONGEST_TEXT) -> str:
    """`text` without control characters or lone surrogates, cut to `most` characters."""
    cut = text if len(text) <= most else text[: most - 1] + "…"
    return "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in cut)


def problem_body(scope: Scope, slug: str, detail: str, faults: Sequence[Fault], extra: Mapping[str, Any]) -> JsonObject:
    """The members of a problem detail; `extra` adds members and cannot replace those of the contract."""
    kind = PROBLEM_TYPES[slug]
    body: JsonObject = {
        "type": kind.link,
        "title": kind.title,
        "status": kind.status,
        "detail": short(detail),
        "instance": instance_of(scope),
    }
    if request_id := scope.get("state", {}).get("request_id"):
        body["request_id"] = request_id
    if faults:
        body["errors"] = [_row(fault) for fault in faults[:MOST_ERRORS]]
    for name, value in extra.items():
        body.setdefault(name, value)
    return body


def slug_of(refusal: Refusal) -> str:
    """The slug of the problem type of a refusal."""
    return next(SLUG_OF[kind] for kind in type(refusal).__mro__ if kind in SLUG_OF)


def status_of(refusal: Refusal) -> int:
    """The HTTP status of a refusal."""
    return PROBLEM_TYPES[slug_of(refusal)].status


def problem_of(scope: Scope, refusal: Refusal) -> JsonObject:
    """The problem detail of a refusal as a value, for one of several questions in a batch."""
    body = problem_body(scope, slug_of(refusal), refusal.detail, refusal.faults, refusal.extra)
    found: JsonObject = json.loads(json.dumps(body, ensure_ascii=False, default=str))
    return found


def instance_of(scope: Scope) -> str:
    """The requested path as sent (percent-encoded, so ASCII), cut to 200 characters."""
    state = scope.get("state", {})
    raw: bytes = state.get("raw_path") or scope.get("raw_path") or scope["path"].encode("utf-8", "replace")
    return short(raw.decode("latin-1"), 200) if raw.startswith(b"/") else "/"


def _row(fault: Fault) -> FaultRow:
    row: FaultRow = {"code": fault.code, "text": short(fault.text)}
    if fault.parameter is not None:
        row["parameter"] = short(fault.parameter, 80)
    if fault.pointer is not None:
        row["pointer"] = short(fault.pointer, 200)
    if fault.suggestion is not None:
        row["suggestion"] = short(fault.suggestion, 120)
    return row
