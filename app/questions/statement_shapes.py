"""Statements as answers show them: what each says, its scope and its source, in the chosen units."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NotRequired, TypeVar

from typing_extensions import TypedDict

from app.catalogue.tables import (
    Fastener,
    Fill,
    Fluid,
    Grease,
    Guide,
    Interval,
    Limit,
    Part,
    Reading,
    Source,
    Statement,
    Tool,
    Torque,
    Use,
)
from app.questions.preload import PreloadShown
from app.questions.prevailing import Shown
from app.questions.shapes import AlsoIn, ScopeShown, SourceRef, figure, scope_shown, source_ref
from app.units.preferences import Units
from app.units.quantity import Quantity
from app.units.table import Kind, find

S = TypeVar("S", bound=Statement)


class StatementShown(TypedDict):
    """What every statement in an answer has. `also_in` are agreeing sources, `narrows` what it is an exception to."""

    id: str
    scope: ScopeShown
    source: NotRequired[SourceRef]
    also_in: NotRequired[list[AlsoIn]]
    narrows: NotRequired[list[str]]
    note: NotRequired[str]


class FastenerShown(TypedDict):
    """A position that is tightened."""

    id: str
    position: str
    kind: str
    side: NotRequired[str]
    count: NotRequired[int]
    drives: NotRequired[list[str]]
    thread: NotRequired[str]
    hand: NotRequired[str]
    property_class: NotRequired[str]
    reuse: NotRequired[str]


class TorqueShown(StatementShown):
    """How a fastener is tightened, and the tools of the catalogue that fit its drive."""

    fastener: FastenerShown
    torque: NotRequired[Quantity]
    stage: NotRequired[int]
    thread_prep: NotRequired[str]
    instruction: NotRequired[str]
    recheck: NotRequired[str]
    tools: list[str]
    preload: NotRequired[PreloadShown]


class FluidShown(TypedDict):
    """An oil or grease by name and kind."""

    id: str
    name: str
    kind: NotRequired[str]


class FillShown(StatementShown):
    """Which oil goes where and how much, by volume or by level."""

    chamber: str
    fluid: NotRequired[FluidShown]
    alternatives: NotRequired[str]
    volume: NotRequired[Quantity]
    level: NotRequired[Quantity]
    level_datum: NotRequired[str]
    level_state: NotRequired[str]


class GreaseShown(StatementShown):
    """What is greased with what; `extent` is measured from the end."""

    place: str
    fluid: NotRequired[FluidShown]
    extent: NotRequired[Quantity]
    amount: NotRequired[str]


class PartShown(TypedDict):
    """A part by what it is ordered by."""

    id: str
    name: str
    kind: NotRequired[str]
    part_number: NotRequired[str]
    pack_count: NotRequired[int]
    superseded_by: NotRequired[str]


class UseShown(StatementShown):
    """A part that a job takes."""

    job: str
    part: PartShown
    position: NotRequired[str]
    count: NotRequired[int]
    when: NotRequired[str]


class LimitShown(StatementShown):
    """What must not be exceeded. A maximum is never rounded up, a minimum never down."""

    subject: str
    limit: NotRequired[Quantity]
    method: NotRequired[str]
    action: NotRequired[str]


class IntervalShown(StatementShown):
    """How often something is due: riding hours or months, whichever comes first."""

    operation: str
    hours: NotRequired[int]
    months: NotRequired[int]
    riding: NotRequired[str]


class GuideShown(StatementShown):
    """The published set-up for riders of a mass bracket, from `rider_mass_from` up to but not at `rider_mass_to`."""

    chamber: NotRequired[str]
    rider_mass_from: NotRequired[Quantity]
    rider_mass_to: NotRequired[Quantity]
    mass_is: NotRequired[str]
    pressure: NotRequired[Quantity]
    sag_percent: NotRequired[float]
    spring_choice: NotRequired[str]
    rebound_clicks: NotRequired[int]
    compression_clicks: NotRequired[int]
    preload_turns: NotRequired[float]


class ReadingShown(StatementShown):
    """Something that was measured on a fork of this kind."""

    spacers: NotRequired[int]
    state: NotRequired[str]
    at_travel: NotRequired[Quantity]
    pressure: NotRequired[Quantity]
    force: NotRequired[Quantity]
    direction: NotRequired[str]
    rider_mass: NotRequired[Quantity]
    temperature: NotRequired[Quantity]


@dataclass(slots=True)
class Named:
    """The entities that the statements of an answer name, and the units they are shown in."""

    units: Units
    sources: Mapping[str, Source]
    fasteners: Mapping[str, Fastener] = field(default_factory=dict)
    fluids: Mapping[str, Fluid] = field(default_factory=dict)
    parts: Mapping[str, Part] = field(default_factory=dict)
    tools: Mapping[str, list[Tool]] = field(default_factory=dict)  # by drive


def add_claim(shown: StatementShown, each: Shown[S], sources: Mapping[str, Source]) -> None:
    """Put source, agreeing sources, what it narrows and its note into a shown statement."""
    source = source_ref(each.statement, sources)
    if source is not None:
        shown["source"] = source
    if each.also_in:
        shown["also_in"] = [_also_in(row, sources) for row in each.also_in]
    if each.narrows:
        shown["narrows"] = [row.id for row in each.narrows]
    if each.statement.note is not None:
        shown["note"] = each.statement.note


def _also_in(row: Statement, sources: Mapping[str, Source]) -> AlsoIn:
    source = source_ref(row, sources)
    return {"id": row.id} if source is None else {"id": row.id, "source": source}


def _copy(shown: object, row: Statement | Fastener, *names: str) -> None:
    """The columns of those names that are given; lists as lists."""
    fields = row.__dict__
    for name in names:
        value = fields[name]
        if value is not None:
            shown[name] = list(value) if isinstance(value, tuple) else value  # type: ignore[index]


def fastener_shown(row: Fastener) -> FastenerShown:
    shown: FastenerShown = {"id": row.id, "position": row.position, "kind": row.kind}
    _copy(shown, row, "side", "count", "drives", "thread", "hand", "property_class", "reuse")
    return shown


def torque_shown(each: Shown[Torque], named: Named) -> TorqueShown:
    row = each.statement
    fastener = named.fasteners[row.fastener]
    tools = [tool.id for drive in fastener.drives or () for tool in named.tools.get(drive, ())]
    shown: TorqueShown = {
        "id": row.id, "fastener": fastener_shown(fastener), "scope": scope_shown(row), "tools": tools,
    }  # fmt: skip
    torque = figure(row, "torque", "value", row.unit, named.units, minimum="min", maximum="max")
    if torque is not None:
        shown["torque"] = torque
    _copy(shown, row, "stage", "thread_prep", "instruction", "recheck")
    add_claim(shown, each, named.sources)
    return shown


def fluid_shown(id: str, named: Named) -> FluidShown:
    fluid = named.fluids.get(id)
    return {"id": id, "name": id} if fluid is None else {"id": id, "name": fluid.name, "kind": fluid.kind}


def fill_shown(each: Shown[Fill], named: Named) -> FillShown:
    row = each.statement
    shown: FillShown = {"id": row.id, "chamber": row.chamber, "scope": scope_shown(row)}
    if row.fluid is not None:
        shown["fluid"] = fluid_shown(row.fluid, named)
    volume = figure(row, "volume", "value", row.unit, named.units, minimum="min", maximum="max")
    if volume is not None:
        shown["volume"] = volume
    level = figure(row, "length", "level_mm", "mm", named.units, minimum="level_min_mm", maximum="level_max_mm")
    if level is not None:
        shown["level"] = level
    _copy(shown, row, "alternatives", "level_datum", "level_state")
    add_claim(shown, each, named.sources)
    return shown


def grease_shown(each: Shown[Grease], named: Named) -> GreaseShown:
    row = each.statement
    shown: GreaseShown = {"id": row.id, "place": row.place, "scope": scope_shown(row)}
    if row.fluid is not None:
        shown["fluid"] = fluid_shown(row.fluid, named)
    if (extent := figure(row, "length", "extent_mm", "mm", named.units)) is not None:
        shown["extent"] = extent
    _copy(shown, row, "amount")
    add_claim(shown, each, named.sources)
    return shown


def part_shown(id: str, named: Named) -> PartShown:
    part = named.parts.get(id)
    if part is None:
        return {"id": id, "name": id}
    shown: PartShown = {"id": id, "name": part.name, "kind": part.kind}
    if part.part_number is not None:
        shown["part_number"] = part.part_number
    if part.pack_count is not None:
        shown["pack_count"] = part.pack_count
    if part.superseded_by is not None:
        shown["superseded_by"] = part.superseded_by
    return shown


def use_shown(each: Shown[Use], named: Named) -> UseShown:
    row = each.statement
    shown: UseShown = {
        "id": row.id, "job": row.job, "part": part_shown(row.part, named), "scope": scope_shown(row),
    }  # fmt: skip
    _copy(shown, row, "position", "count", "when")
    add_claim(shown, each, named.sources)
    return shown


def kind_of(unit: str | None) -> Kind | None:
    """The quantity kind of a unit whose kind the column does not fix; None for one that is not known."""
    found = find(unit) if unit is not None else ()
    return next((each.kind for each in found), None)


def limit_shown(each: Shown[Limit], named: Named) -> LimitShown:
    row = each.statement
    shown: LimitShown = {"id": row.id, "subject": row.subject, "scope": scope_shown(row)}
    kind = kind_of(row.unit)
    if kind is not None:
        limit = figure(row, kind, None, row.unit, named.units, minimum="min", maximum="max")
        if limit is not None:
            shown["limit"] = limit
    _copy(shown, row, "method", "action")
    add_claim(shown, each, named.sources)
    return shown


def interval_shown(each: Shown[Interval], named: Named) -> IntervalShown:
    row = each.statement
    shown: IntervalShown = {"id": row.id, "operation": row.operation, "scope": scope_shown(row)}
    _copy(shown, row, "hours", "months", "riding")
    add_claim(shown, each, named.sources)
    return shown


def guide_shown(each: Shown[Guide], named: Named) -> GuideShown:
    row = each.statement
    shown: GuideShown = {"id": row.id, "scope": scope_shown(row)}
    for name in ("rider_mass_from", "rider_mass_to"):
        if (mass := figure(row, "mass", name, row.mass_unit, named.units)) is not None:
            shown[name] = mass
    pressure = figure(
        row, "pressure", "pressure", row.pressure_unit, named.units, minimum="pressure_min", maximum="pressure_max"
    )
    if pressure is not None:
        shown["pressure"] = pressure
    if row.sag_percent is not None:
        shown["sag_percent"] = float(row.sag_percent)
    if row.preload_turns is not None:
        shown["preload_turns"] = float(row.preload_turns)
    _copy(shown, row, "chamber", "mass_is", "spring_choice", "rebound_clicks", "compression_clicks")
    add_claim(shown, each, named.sources)
    return shown


def reading_shown(each: Shown[Reading], named: Named) -> ReadingShown:
    row = each.statement
    shown: ReadingShown = {"id": row.id, "scope": scope_shown(row)}
    figures: tuple[tuple[str, Kind, str, str | None], ...] = (
        ("at_travel", "length", "at_travel_mm", "mm"),
        ("pressure", "pressure", "pressure", row.pressure_unit),
        ("force", "force", "force", row.force_unit),
        ("rider_mass", "mass", "rider_mass", row.mass_unit),
        ("temperature", "temperature", "temperature_c", "°C"),
    )
    for name, kind, column, unit in figures:
        if (found := figure(row, kind, column, unit, named.units)) is not None:
            shown[name] = found  # type: ignore[literal-required]
    _copy(shown, row, "spacers", "state", "direction")
    add_claim(shown, each, named.sources)
    return shown
