"""The parts of answers, and how rows become them. Missing values are absent, never null."""

from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal, NotRequired

from typing_extensions import TypedDict

from app.catalogue.columns import write_number
from app.catalogue.tables import SCOPE, Chassis, Maker, Row, Source, Statement
from app.units.preferences import Units
from app.units.quantity import Quantity, quantity
from app.units.table import Kind, find


class Named(TypedDict):
    """An entity of the catalogue by id and name."""

    id: str
    name: str


class ChassisRef(TypedDict):
    """The chassis that a question is about."""

    id: str
    name: str
    maker: Named
    model_year_from: NotRequired[int]
    model_year_to: NotRequired[int]


class SourceRef(TypedDict):
    """The source of a value."""

    id: str
    title: str
    edition: NotRequired[str]
    page: NotRequired[str]
    published_on: NotRequired[str]
    kind: NotRequired[str]


class AlsoIn(TypedDict):
    """A statement from another source that agrees with the one shown."""

    id: str
    source: NotRequired[SourceRef]


class ScopeView(TypedDict, total=False):
    """The scope of a statement, as the source gives it; absent members are not restricted. Travel in mm."""

    variant: str
    serial_from: str
    serial_to: str
    model_year_from: int
    model_year_to: int
    travel_from_mm: float
    travel_to_mm: float
    spring: str
    damper: str
    wheel_size: int


class SpringRef(TypedDict):
    """A spring assembly by its part number."""

    id: str
    name: NotRequired[str]
    part_number: NotRequired[str]
    kind: NotRequired[Literal["air", "coil"]]
    superseded_by: NotRequired[str]
    colour_mark: NotRequired[str]


class Undecided(TypedDict):
    """A parameter that was not given and would decide between what is shown, and its possible values."""

    parameter: str
    values: list[str | int | float]
    names: NotRequired[list[str]]
    text: str


class Caution(TypedDict):
    """A hazard in the work that the answer leads to."""

    code: str
    text: str


def named(row: Maker | Row) -> Named:
    """Id and name; the id alone if the row has no name."""
    return {"id": row.id, "name": getattr(row, "name", row.id)}


def chassis_ref(chassis: Chassis, maker: Maker | None) -> ChassisRef:
    """A chassis by name, maker and model years; the id of the maker if its row is missing."""
    shown: ChassisRef = {
        "id": chassis.id,
        "name": chassis.name,
        "maker": named(maker) if maker is not None else {"id": chassis.maker, "name": chassis.maker},
    }
    if chassis.model_year_from is not None:
        shown["model_year_from"] = chassis.model_year_from
    if chassis.model_year_to is not None:
        shown["model_year_to"] = chassis.model_year_to
    return shown


def source_ref(row: Row, sources: Mapping[str, Source]) -> SourceRef | None:
    """The source of a row with its page; None if it names no existing source."""
    source = sources.get(row["source"]) if row["source"] else None
    if source is None:
        return None
    shown: SourceRef = {"id": source.id, "title": source.title}
    if source.edition is not None:
        shown["edition"] = source.edition
    if row["page"] is not None:
        shown["page"] = row["page"]
    if source.published_on is not None:
        shown["published_on"] = source.published_on
    shown["kind"] = source.kind
    return shown


def scope_view(row: Statement) -> ScopeView:
    """The scope columns that are given."""
    shown: dict[str, object] = {}
    for name in SCOPE:
        value = getattr(row, name, None)
        if value is not None:
            shown[name] = int(value) if isinstance(value, float) and value == int(value) else value
    return shown  # type: ignore[return-value]


def scope_of_fit(row: Statement) -> ScopeView:
    """The scope of a fit without its spring, which is the answer, not a condition."""
    shown = scope_view(row)
    shown.pop("spring", None)
    return shown


def length(value_mm: float, to: Units) -> Quantity:
    """A length that is stored as a number of millimetres."""
    return quantity("length", _digits(value_mm), "mm", to=to)


@lru_cache(maxsize=1024)
def _digits(number: float) -> Decimal:
    return Decimal(write_number(number))


def figure(
    row: Row, kind: Kind, column: str | None, unit: str | None, to: Units, *, role: Any = "nominal",
    minimum: str | None = None, maximum: str | None = None,
) -> Quantity | None:  # fmt: skip
    """The quantity in a row's columns; None if none of them is given or the unit is unknown.

    `unit` names a unit, not a column.
    """
    value = None if column is None else getattr(row, column)
    low = None if minimum is None else getattr(row, minimum)
    high = None if maximum is None else getattr(row, maximum)
    if unit is None or (value is None and low is None and high is None):
        return None
    if all(each.kind != kind for each in find(unit)):
        return None
    return quantity(kind, value, unit, minimum=low, maximum=high, role=role, to=to)
