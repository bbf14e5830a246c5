"""The formats an answer can have, by media type."""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from starlette.requests import Request

from app.json_types import JsonObject

SUFFIXES = ("json", "csv", "html", "txt", "svg")
"""The values of `format=` and of the suffix, most preferred first: `Accept: text/*` gets CSV."""


class Shape(Protocol):
    """Writes an answer: a pydantic TypeAdapter, or an object with the methods used here."""

    def dump_json(self, instance: Any, /) -> bytes:
        """An answer as JSON text."""
        ...

    def dump_python(self, instance: Any, /, *, mode: Literal["json"]) -> Any:
        """An answer as JSON values."""
        ...

    def json_schema(self, *, mode: Literal["serialization"]) -> JsonObject:
        """The schema of an answer."""
        ...


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer to be rendered.

    `question` is its name (`fits`, `sheet` …), by which a format finds its template; `rows` names the member that is
    the list, if the answer is one; `shape` is its model.
    """

    question: str
    answer: Mapping[str, object]
    shape: Shape
    rows: str | None
    request: Request


@dataclass(frozen=True, slots=True)
class Representation:
    """One format. `can` says whether it has this answer, before anything is rendered. `render` gives the bytes, from
    the result of `complete` if the format has to look something up first.
    """

    media_type: str
    suffix: str
    render: Callable[[Answered], bytes]
    can: Callable[[Answered], bool]
    charset: bool = True
    complete: Callable[[Answered], Awaitable[Answered]] | None = None

    @property
    def content_type(self) -> str:
        """The value of Content-Type."""
        return f"{self.media_type}; charset=utf-8" if self.charset else self.media_type


REPRESENTATIONS: dict[str, Representation] = {}


def register(form: Representation) -> None:
    """Register a format. Raises if its media type is registered already or its suffix is unknown."""
    if form.media_type in REPRESENTATIONS or form.suffix not in SUFFIXES:
        raise ValueError(f"{form.media_type} is registered already, or .{form.suffix} is no suffix of ours")
    REPRESENTATIONS[form.media_type] = form


def available(answered: Answered) -> list[Representation]:
    """The formats of this answer, most preferred first."""
    forms = sorted(REPRESENTATIONS.values(), key=lambda form: SUFFIXES.index(form.suffix))
    return [form for form in forms if form.can(answered)]


register(
    Representation(
        media_type="application/json",
        suffix="json",
        render=lambda answered: answered.shape.dump_json(answered.answer),
        can=lambda answered: True,
        charset=False,
    )
)
