"""What every row has: an id, described columns, one text form per cell; values of the right kind or no row at all."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from functools import cache, lru_cache
from typing import Any, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict

from app.catalogue.columns import Boolean, Column, Integer, Number, Slug, Text, column, describe

SCOPE = (
    "variant",
    "model_year_from",
    "model_year_to",
    "travel_from_mm",
    "travel_to_mm",
    "spring",
    "damper",
    "wheel_size",
)
CLAIM = ("source", "page", "as_printed", "confirmed", "exception_to", "note")


# The slots of a pydantic model, set one by one: a row that was read is not validated again.
_SLOTS: tuple[Any, ...] = tuple(
    BaseModel.__dict__[name].__set__
    for name in ("__dict__", "__pydantic_fields_set__", "__pydantic_extra__", "__pydantic_private__")
)
KEPT = 4096  # texts of figures and lists whose values are kept: the same few recur


class Row(BaseModel):
    """A row of one table as exchanged. `model_validate` takes values, `from_cells` reads them from text."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    table: ClassVar[str]
    meaning: ClassVar[str]
    role: ClassVar[Literal["entity", "statement"]] = "entity"

    id: Slug = column("readable name of this row, chosen by the author, stable for ever", required=True)
    as_printed: Text | None = column(
        "the words of the page, figures included, where the source prints something unusual",
        example="Foot bolts, hollow alloy: 2.2 N·m",
    )

    @classmethod
    @cache
    def columns(cls) -> dict[str, Column]:
        """The columns in exchange order: id, own columns with the scope after the chassis, the claim at the end."""
        names = list(cls.model_fields)
        scope = [name for name in SCOPE if name in names] if "wheel_size" in names else []
        claim = [name for name in CLAIM if name in names]
        own = [name for name in names if name not in (*scope, *claim, "id")]
        if scope:
            if cls.role == "statement":
                own = ["chassis", *(name for name in own if name != "chassis")]
            at = own.index("chassis") + 1
            own = [*own[:at], *scope, *own[at:]]
        return {name: describe(name, cls.model_fields[name]) for name in ("id", *own, *claim)}

    @classmethod
    def from_database(cls, values: Sequence[Any]) -> Self:
        """The row of values as they lie in the database, in exchange order; validated when they were written."""
        return cls.all_from_database((values,))[0]

    @classmethod
    def all_from_database(cls, rows: Iterable[Sequence[Any]]) -> list[Self]:
        """The same of many; a full check reads millions, so nothing is looked up twice."""
        names, nothing, converters = _layout(cls)
        set_fields, set_given, set_extra, set_private = _SLOTS
        new = object.__new__
        found = []
        for values in rows:
            fields = nothing.copy()  # has its final size: it need not grow
            fields.update(zip(names, values, strict=True))
            for name, convert in converters:
                value = fields[name]
                if value is not None:
                    fields[name] = convert(value)
            row = new(cls)
            set_fields(row, fields)
            set_given(row, names)
            set_extra(row, None)
            set_private(row, None)
            found.append(row)
        return found

    @classmethod
    def from_parsed(cls, fields: dict[str, Any]) -> Self:
        """The row of values that the column kinds have read from text; every column is there, in exchange order."""
        row = object.__new__(cls)
        set_fields, set_given, set_extra, set_private = _SLOTS
        set_fields(row, fields)
        set_given(row, _layout(cls)[0])
        set_extra(row, None)
        set_private(row, None)
        return row

    def stored(self) -> dict[str, Any]:
        """The values as the database holds them: figures and lists as their text."""
        fields = dict(self.__dict__)
        for name, write in _writers(type(self)):
            value = fields[name]
            if value is not None:
                fields[name] = write(value)
        return fields

    def cells(self) -> dict[str, str]:
        """The row as text, in exchange order; what is not given is empty."""
        return {
            name: "" if (value := self.__dict__[name]) is None else described.kind.write(value)
            for name, described in self.columns().items()
        }

    def exchanged(self) -> dict[str, Any]:
        """The row as JSON: only what is given; figures as published are decimal strings, lists are lists."""
        given: dict[str, Any] = {}
        for name in self.columns():
            value = self.__dict__[name]
            if value is None:
                continue
            given[name] = [_shown(item) for item in value] if isinstance(value, tuple) else _shown(value)
        return given


def _shown(value: Any) -> Any:
    """A value as JSON: a figure as its digits, a whole number without a point."""
    if isinstance(value, Decimal):
        return str(value)
    return int(value) if isinstance(value, float) and value == int(value) else value


@cache
def _layout(model: type[Row]) -> tuple[tuple[str, ...], dict[str, Any], tuple[tuple[str, Any], ...]]:
    """The columns, a row of nothing, and what reads a column as it lies in the database."""
    converters: list[tuple[str, Any]] = []
    for name, described in model.columns().items():
        kind = described.kind
        if kind.name == "figure as published":
            converters.append((name, _figure))
        elif kind.items is not None:
            converters.append((name, lru_cache(KEPT)(kind.read)))
        elif kind.sql == "boolean":
            converters.append((name, bool))  # SQLite's driver gives 0 and 1
    names = tuple(model.columns())
    return names, dict.fromkeys(names), tuple(converters)


_figure = lru_cache(KEPT)(Decimal)


@cache
def _writers(model: type[Row]) -> tuple[tuple[str, Any], ...]:
    return tuple(
        (name, described.kind.write)
        for name, described in model.columns().items()
        if described.kind.name == "figure as published" or described.kind.items is not None
    )


def from_cells(model: type[Row], cells: Mapping[str, str]) -> dict[str, Any]:
    """Values of the given cells; an empty cell is not given. Raises Unreadable at the first that cannot be read."""
    columns = model.columns()
    return {name: columns[name].kind.read(text) for name, text in cells.items() if text != ""}


class Entity(Row):
    """A thing that statements are about, with the document that describes it."""

    source: Slug | None = column("the document this row comes from", to="sources")
    page: Text | None = column("page or section of that document", example="14")


class Scope(Row):
    """What a row holds for; an empty end is the chassis's own, an empty name means any (design: scope)."""

    variant: Slug | None = column("holds for this variant only", to="variants")
    model_year_from: Integer | None = column("first model year", unit="year", example="2022")
    model_year_to: Integer | None = column("last model year, included", unit="year", example="2025")
    spring: Slug | None = column("holds with this spring only", to="springs")
    damper: Slug | None = column("holds with this damper only", to="dampers")
    wheel_size: Integer | None = column(
        "holds for this wheel only: ISO 5775 bead seat diameter", unit="mm", example="622"
    )


class TravelScope(Scope):
    """A scope that can also be narrowed by travel."""

    travel_from_mm: Number | None = column("least travel", unit="mm", example="140")
    travel_to_mm: Number | None = column("greatest travel, included", unit="mm", example="160")


class Claim(Row):
    """Where a statement comes from, and what it is allowed to contradict."""

    role: ClassVar[Literal["entity", "statement"]] = "statement"

    source: Slug | None = column("the document that says so", to="sources")
    page: Text | None = column("page or section of that document", example="14")
    confirmed: Boolean | None = column("read twice against the page", example="true")
    exception_to: Slug | None = column("id of the wider statement of this subject that this one overrules in its scope")
    note: Text | None = column("anything a mechanic should read with it")
