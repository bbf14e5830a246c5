"""Which forms an answer can take, by media type."""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from starlette.requests import Request

from app.json_types import JsonObject

SUFFIXES = ("json", "csv", "html", "txt", "svg")
"""The words that `format=` and the suffix of an address may have, most preferred first: `Accept: text/*` gets CSV."""


class Shape(Protocol):
    """What writes an answer: a pydantic TypeAdapter, or what does as one."""

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
    """An answer on its way out. `question` names what was asked (`fits`, `sheet` …), by which a form finds its
    template; `rows` is the member that is the list, where the answer is one; `shape` describes the answer."""

    question: str
    answer: Mapping[str, object]
    shape: Shape
    rows: str | None
    request: Request


@dataclass(frozen=True, slots=True)
class Representation:
    """One form. `can` tells whether it has this answer, before anything is rendered; `render` gives its bytes, of what
    `complete` made of the answer where a form has to look something up first."""

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
    """Adds a form; a second one of the same media type is a mistake in the program."""
    if form.media_type in REPRESENTATIONS or form.suffix not in SUFFIXES:
        raise ValueError(f"{form.media_type} is registered already, or .{form.suffix} is no suffix of ours")
    REPRESENTATIONS[form.media_type] = form


def available(answered: Answered) -> list[Representation]:
    """The forms this answer has, most preferred first."""
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
