"""The parts of answers, and how rows become them. Missing values are absent, never null."""

from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Literal, NotRequired

from typing_extensions import TypedDict

from app.catalogue.columns import write_number
from app.catalogue.tables import SCOPE, Chassis, Fit, Maker, Row, Source, Statement
from app.questions.configuration.cited_sources import CitedSources, Newer
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


class NewerSource(TypedDict):
    """A document that is newer than the source: another one that replaces it, or a later edition of it."""

    id: str
    title: str
    edition: NotRequired[str]


class SourceRef(TypedDict):
    """The source of a value. With `superseded_by` or `newer_edition`, the value is to be read again there."""

    id: str
    title: str
    edition: NotRequired[str]
    page: NotRequired[str]
    published_on: NotRequired[str]
    kind: NotRequired[str]
    superseded_by: NotRequired[NewerSource]
    newer_edition: NotRequired[NewerSource]


class AlsoIn(TypedDict):
    """A statement from another source that agrees with the one shown."""

    id: str
    source: NotRequired[SourceRef]


class ScopeView(TypedDict, total=False):
    """The scope of a statement, as the source gives it; absent members are not restricted."""

    variant: list[str]
    serial_from: str
    serial_to: str
    model_year_from: int
    model_year_to: int
    travel: Quantity
    spring: str
    damper: list[str]
    wheel_size: list[int]
    fitted_part: str


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
    values: list[str]
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
    newer = sources.newer(source.id) if isinstance(sources, CitedSources) else Newer()
    return source_view(source, row["page"], newer)


def source_view(source: Source, page: str | None, newer: Newer) -> SourceRef:
    """A source with a page of it, and the documents that are newer."""
    shown: SourceRef = {"id": source.id, "title": source.title}
    if source.edition is not None:
        shown["edition"] = source.edition
    if page is not None:
        shown["page"] = page
    if source.published_on is not None:
        shown["published_on"] = source.published_on
    shown["kind"] = source.kind
    if newer.superseded_by is not None:
        shown["superseded_by"] = _newer_view(newer.superseded_by)
    if newer.edition is not None:
        shown["newer_edition"] = _newer_view(newer.edition)
    return shown


def _newer_view(source: Source) -> NewerSource:
    shown: NewerSource = {"id": source.id, "title": source.title}
    if source.edition is not None:
        shown["edition"] = source.edition
    return shown


def scope_view(row: Statement, to: Units) -> ScopeView:
    """The scope columns that are given, both ends of the travel as one quantity."""
    shown: dict[str, object] = {}
    for name in SCOPE:
        value = getattr(row, name, None)
        if value is not None and name not in _TRAVEL:
            shown[name] = list(value) if isinstance(value, tuple) else value
        elif value is not None and "travel" not in shown:
            low, high = (getattr(row, end) for end in _TRAVEL)
            shown["travel"] = travels(low, high, to)
    return shown  # type: ignore[return-value]


_TRAVEL = ("travel_from_mm", "travel_to_mm")


def travels(low_mm: float | None, high_mm: float | None, to: Units) -> Quantity:
    """The travels from one to another; an end that is None is open. A single travel is a length like any other."""
    if low_mm is not None and low_mm == high_mm:
        return length(low_mm, to)
    low, high = (None if each is None else _digits(each) for each in (low_mm, high_mm))
    return quantity("length", None, "mm", minimum=low, maximum=high, to=to)


def scope_of_fit(row: Statement, to: Units) -> ScopeView:
    """The scope of a fit without its spring, which is the answer, not a condition."""
    shown = scope_view(row, to)
    shown.pop("spring", None)
    return shown


def length(value_mm: float, to: Units) -> Quantity:
    """A length that is stored as a number of millimetres."""
    return quantity("length", _digits(value_mm), "mm", to=to)


def own_length(value_mm: float, to: Units) -> Quantity:
    """A length that no source published: a reading, or an assumption of ours."""
    shown = length(value_mm, to)
    shown.pop("as_published", None)
    return shown


def share(percent: float, to: Units) -> Quantity:
    """A share in percent, to a tenth."""
    return quantity("percent", _digits(round(percent, 1)), "%", to=to)


@lru_cache(maxsize=1024)
def _digits(number: float) -> Decimal:
    return Decimal(write_number(number))


def axle_to_crown_ends(fit: Fit) -> tuple[Decimal, Decimal] | None:
    """The shortest and the longest axle-to-crown in mm that a fit permits; None if it states no length."""
    stated, off = fit.axle_to_crown_mm, fit.axle_to_crown_tolerance_mm or Decimal(0)
    return None if stated is None else (stated - off, stated + off)


def axle_to_crown_view(fit: Fit, to: Units) -> Quantity | None:
    """The axle-to-crown of a fit with its tolerance; None if it states no length."""
    ends = axle_to_crown_ends(fit)
    if ends is None:
        return None
    low, high = (None, None) if fit.axle_to_crown_tolerance_mm is None else ends
    return quantity("length", fit.axle_to_crown_mm, "mm", minimum=low, maximum=high, to=to)


def figure(
    row: Row, kind: Kind, column: str | None, unit: str | None, to: Units, *,
    minimum: str | None = None, maximum: str | None = None, is_set: bool = False,
) -> Quantity | None:  # fmt: skip
    """The quantity in a row's columns; None if none of them is given or the unit is unknown.

    `unit` names a unit, not a column. `is_set`: a mechanic sets it.
    """
    value = None if column is None else getattr(row, column)
    low = None if minimum is None else getattr(row, minimum)
    high = None if maximum is None else getattr(row, maximum)
    if unit is None or (value is None and low is None and high is None):
        return None
    if all(each.kind != kind for each in find(unit)):
        return None
    return quantity(kind, value, unit, minimum=low, maximum=high, is_set=is_set, to=to)
