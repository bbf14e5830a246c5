"""Column kinds: how a cell is written in a package, checked, held in memory and stored. Refuses what it cannot read.

Each kind has one text form. Reading a cell and writing it again gives the canonical text: `007` or `1e3` are refused,
never corrected, and the published figure `7.30` stays `7.30`.
"""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import AfterValidator, BeforeValidator, Field
from pydantic.fields import FieldInfo

from app.catalogue import words
from app.errors import Invalid
from app.units.measure import parse_wheel_size

SLUG = re.compile(r"[a-z0-9][a-z0-9-]{0,79}")
WHOLE = re.compile(r"-?(0|[1-9][0-9]{0,8})")
DECIMAL = re.compile(r"-?(0|[1-9][0-9]{0,8})(\.[0-9]{1,9})?")
DAY = re.compile(r"[0-9]{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12][0-9]|3[01]))?)?")
TEXT_MAX = 2000
FORBIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufeff]")


class Unreadable(ValueError):
    """A cell that its column cannot hold; the sentence says how to write it."""


def _slug(value: str) -> str:
    if not SLUG.fullmatch(value):
        raise Unreadable(
            "an id has at most 80 lower-case letters, digits and hyphens, and starts with a letter or digit"
        )
    return value


def _text(value: str) -> str:
    if FORBIDDEN.search(value):
        raise Unreadable("text may not contain control or text-direction characters")
    value = unicodedata.normalize("NFC", value)
    if not value.strip() or value != value.strip():
        raise Unreadable("text may not be blank, or begin or end with a space")
    if len(value) > TEXT_MAX:
        raise Unreadable(f"text may have at most {TEXT_MAX} characters")
    return value


def _item(value: str) -> str:
    if ";" in value:
        raise Unreadable("an item of a list may not contain a semicolon")
    return _text(value)


def _published(value: Decimal) -> Decimal:
    if not DECIMAL.fullmatch(str(value)):
        raise Unreadable(
            "write a figure in plain decimal digits, such as 7.30, with at most 9 before and 9 after the decimal point"
        )
    return value


def _day(value: str) -> str:
    if not DAY.fullmatch(value):
        raise Unreadable("write a date as 2024, 2024-05 or 2024-05-17")
    return value


def _number(value: float) -> float:
    if not DECIMAL.fullmatch(write_number(value)):
        raise Unreadable("write a number in plain decimal digits, such as 150 or 34.9")
    return value


def write_number(value: float) -> str:
    """The shortest text of a number: 150, not 150.0."""
    return str(int(value)) if value == int(value) else repr(value)


@dataclass(frozen=True, slots=True)
class CellKind:
    """One kind of column: its name, how a cell becomes a value and back, and its SQL type.

    `words` is the closed list that the rules hold its cells to. `entered` reads what somebody enters, if that differs
    from what may be stored already. A list that `takes_one` held a single value in earlier builds: in JSON it also
    takes that value without a list.
    """

    name: str
    read: Callable[[str], Any]
    write: Callable[[Any], str]
    sql: Literal["text", "integer", "double", "boolean"]
    field_type: str  # of Table Schema
    items: "CellKind | None" = None
    takes_one: bool = False
    words: str | None = None
    entered: Callable[[str], Any] | None = None

    @property
    def enter(self) -> Callable[[str], Any]:
        """How a cell that somebody enters becomes a value; `read` also reads all that was ever stored."""
        return self.entered or self.read


def _read_whole(text: str) -> int:
    if not WHOLE.fullmatch(text):
        raise Unreadable("write a whole number in digits, such as 3")
    return int(text)


def _read_number(text: str) -> float:
    if not DECIMAL.fullmatch(text):
        raise Unreadable("write a number in plain decimal digits, such as 150 or 34.9")
    return float(text)


def _read_published(text: str) -> Decimal:
    if not DECIMAL.fullmatch(text):
        raise Unreadable("write a figure in plain decimal digits, such as 7.30; put its unit in the unit column")
    return Decimal(text)


def _read_flag(text: str) -> bool:
    if text not in ("true", "false"):
        raise Unreadable("write true or false")
    return text == "true"


def _read_wheel(text: str) -> int:
    try:
        return parse_wheel_size(text, parameter="a wheel size")
    except Invalid as wrong:
        raise Unreadable(wrong.detail) from None


def _list_of(items: CellKind, *, takes_one: bool = False) -> CellKind:
    def reading(read_item: Callable[[str], Any]) -> Callable[[str], tuple[Any, ...]]:
        def read(text: str) -> tuple[Any, ...]:
            values = tuple(read_item(part) for part in text.split(";"))
            if len(set(values)) != len(values):
                raise Unreadable("a list may not contain the same item twice")
            return values

        return read

    return CellKind(
        f"list of {items.name}",
        reading(items.read),
        lambda values: ";".join(map(items.write, values)),
        "text",
        "string",
        items,
        takes_one,
        entered=None if items.entered is None else reading(items.entered),
    )


def _words_of(name: str) -> CellKind:
    """Text that means a word of a closed list."""
    return CellKind("text", lambda text: words.read(name, _text(text)), words.written, "text", "string", words=name)


SLUG_KIND = CellKind("id", _slug, str, "text", "string")
TEXT_KIND = CellKind("text", _text, str, "text", "string")
ITEM_KIND = CellKind("text", _item, str, "text", "string")
WHOLE_KIND = CellKind("whole number", _read_whole, str, "integer", "integer")
WHEEL_KIND = CellKind("whole number", _read_whole, str, "integer", "integer", entered=_read_wheel)
NUMBER_KIND = CellKind("number", _read_number, write_number, "double", "number")
PUBLISHED_KIND = CellKind("figure as published", _read_published, str, "text", "number")
DAY_KIND = CellKind("date", _day, str, "text", "string")
FLAG_KIND = CellKind("true or false", _read_flag, lambda value: "true" if value else "false", "boolean", "boolean")
SUBJECT_KIND, OPERATION_KIND, JOB_KIND = _words_of("subject"), _words_of("operation"), _words_of("job")
POSITION_KIND, SIDE_KIND, PLACE_KIND = _words_of("position"), _words_of("side"), _words_of("place")
PART_KIND_KIND = _words_of("part kind")
_WRITTEN = BeforeValidator(lambda value: words.written(value) if isinstance(value, str) else value)

Slug = Annotated[str, AfterValidator(_slug), SLUG_KIND]
Text = Annotated[str, AfterValidator(_text), TEXT_KIND]
SubjectWord = Annotated[str, _WRITTEN, AfterValidator(SUBJECT_KIND.read), SUBJECT_KIND]
Operation = Annotated[str, _WRITTEN, AfterValidator(OPERATION_KIND.read), OPERATION_KIND]
Job = Annotated[str, _WRITTEN, AfterValidator(JOB_KIND.read), JOB_KIND]
Position = Annotated[str, _WRITTEN, AfterValidator(POSITION_KIND.read), POSITION_KIND]
Side = Annotated[str, _WRITTEN, AfterValidator(SIDE_KIND.read), SIDE_KIND]
PlaceWord = Annotated[str, _WRITTEN, AfterValidator(PLACE_KIND.read), PLACE_KIND]
PartKind = Annotated[str, _WRITTEN, AfterValidator(PART_KIND_KIND.read), PART_KIND_KIND]
Integer = Annotated[int, Field(strict=True, ge=-999_999_999, le=999_999_999), WHOLE_KIND]
Number = Annotated[float, Field(allow_inf_nan=False), AfterValidator(_number), NUMBER_KIND]
Published = Annotated[Decimal, Field(allow_inf_nan=False), AfterValidator(_published), PUBLISHED_KIND]
PartialDate = Annotated[str, AfterValidator(_day), DAY_KIND]
Boolean = Annotated[bool, Field(strict=True), FLAG_KIND]
Slugs = Annotated[tuple[Annotated[str, AfterValidator(_slug)], ...], Field(min_length=1), _list_of(SLUG_KIND)]
TextList = Annotated[tuple[Annotated[str, AfterValidator(_item)], ...], Field(min_length=1), _list_of(ITEM_KIND)]
Wheel = Annotated[int, Field(strict=True, ge=-999_999_999, le=999_999_999), WHEEL_KIND]
Wheels = Annotated[tuple[Wheel, ...], Field(min_length=1), _list_of(WHEEL_KIND)]
Numbers = Annotated[tuple[Number, ...], Field(min_length=1), _list_of(NUMBER_KIND)]
Figures = Annotated[tuple[Published, ...], Field(min_length=1), _list_of(PUBLISHED_KIND)]

OneOrMoreSlugs = Annotated[
    tuple[Annotated[str, AfterValidator(_slug)], ...], Field(min_length=1), _list_of(SLUG_KIND, takes_one=True)
]
OneOrMoreWheels = Annotated[tuple[Wheel, ...], Field(min_length=1), _list_of(WHEEL_KIND, takes_one=True)]


def _read_choice(options: tuple[str, ...]) -> CellKind:
    def read(text: str) -> str:
        if text not in options:
            raise Unreadable("one of: " + ", ".join(options))
        return text

    return CellKind("choice", read, str, "text", "string")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table; everything else about the column derives from this.

    `unit` is a fixed unit and `unit_column` the column that names it. `measures` is the quantity kind of a figure with
    a unit column, or of that unit column itself. `refers_to` is the table of a reference.
    """

    name: str
    kind: CellKind
    meaning: str
    required: bool
    unit: str | None = None
    unit_column: str | None = None
    measures: str | None = None
    refers_to: str | None = None
    example: str | None = None
    options: tuple[str, ...] = ()
    positive: bool = True
    absent: int | None = None
    compared_by: str | None = None


def column(
    meaning: str,
    *,
    unit: str | None = None,
    unit_column: str | None = None,
    measures: str | None = None,
    to: str | None = None,
    example: str | None = None,
    required: bool = False,
    positive: bool = True,
    absent: int | None = None,
    compared_by: str | None = None,
) -> Any:
    """A described column; optional unless `required`.

    `positive=False` permits figures of zero and below. `absent` is the value that an empty cell stands for in a
    subject. `compared_by` is the column of the referenced row that a subject uses in place of its id.
    """
    facts = {
        "unit": unit, "unit_column": unit_column, "measures": measures, "refers_to": to, "example": example,
        "positive": positive, "absent": absent, "compared_by": compared_by,
    }  # fmt: skip
    default: Any = ... if required else None
    extra: Any = {"column": facts}
    return Field(default, description=meaning, json_schema_extra=extra)


def describe(name: str, field: FieldInfo) -> Column:
    """The column that a field of a row model describes."""
    annotation: Any = field.annotation
    metadata = list(field.metadata)
    while get_origin(annotation) in (Union, UnionType):
        annotation = next(part for part in get_args(annotation) if part is not type(None))
    if get_origin(annotation) is Annotated:
        annotation, *inner = get_args(annotation)
        metadata += inner
    options: tuple[str, ...] = ()
    if get_origin(annotation) is Literal:
        options = get_args(annotation)
        kind = _read_choice(options)
    else:
        kind = next(part for part in metadata if isinstance(part, CellKind))
    extra = field.json_schema_extra
    facts: dict[str, Any] = dict(extra.get("column", {})) if isinstance(extra, dict) else {}  # type: ignore[arg-type]
    return Column(name, kind, field.description or "", field.is_required(), options=options, **facts)
