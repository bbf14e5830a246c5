"""Statements as answers show them: what each says, its scope and its source, in the chosen units."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NotRequired, TypeVar

from typing_extensions import TypedDict

from app.catalogue.tables import (
    Damper,
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
from app.questions.answers.clicks import clicks_of_dampers, turns_view
from app.questions.answers.preload import PreloadView
from app.questions.answers.views import AlsoIn, Clicks, ScopeView, SourceRef, Turns, figure, scope_view, source_ref
from app.questions.configuration.prevailing import Applicable
from app.units.preferences import Units
from app.units.quantity import Quantity
from app.units.table import Kind, find

S = TypeVar("S", bound=Statement)


class StatementView(TypedDict):
    """What every statement in an answer has. `also_in` are agreeing sources, `narrows` what it is an exception to."""

    id: str
    scope: ScopeView
    source: NotRequired[SourceRef]
    also_in: NotRequired[list[AlsoIn]]
    narrows: NotRequired[list[str]]
    note: NotRequired[str]


class FastenerView(TypedDict):
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


class TorqueView(StatementView):
    """How a fastener is tightened, and the tools of the catalogue that fit its drive."""

    fastener: FastenerView
    torque: NotRequired[Quantity]
    stage: NotRequired[int]
    thread_prep: NotRequired[str]
    instruction: NotRequired[str]
    recheck: NotRequired[str]
    tools: list[str]
    preload: NotRequired[PreloadView]


class FluidView(TypedDict):
    """An oil or grease by name and kind."""

    id: str
    name: str
    kind: NotRequired[str]


class FillView(StatementView):
    """Which oil goes where and how much, by volume or by level. `level_text` says from where the level is measured."""

    chamber: str
    fluid: NotRequired[FluidView]
    alternatives: NotRequired[str]
    volume: NotRequired[Quantity]
    level: NotRequired[Quantity]
    level_datum: NotRequired[str]
    level_state: NotRequired[str]
    level_text: NotRequired[str]


class GreaseView(StatementView):
    """What is greased with what; `extent` is measured from the end."""

    place: str
    fluid: NotRequired[FluidView]
    extent: NotRequired[Quantity]
    amount: NotRequired[str]


class PartView(TypedDict):
    """A part by what it is ordered by."""

    id: str
    name: str
    kind: NotRequired[str]
    part_number: NotRequired[str]
    pack_count: NotRequired[int]
    superseded_by: NotRequired[str]


class UseView(StatementView):
    """A part that a job takes."""

    job: str
    part: PartView
    position: NotRequired[str]
    count: NotRequired[int]
    when: NotRequired[str]


class LimitView(StatementView):
    """What must not be exceeded. A maximum is never rounded up, a minimum never down."""

    subject: str
    limit: NotRequired[Quantity]
    method: NotRequired[str]
    action: NotRequired[str]


class IntervalView(StatementView):
    """How often something is due: riding hours or months, whichever comes first."""

    operation: str
    hours: NotRequired[int]
    months: NotRequired[int]
    riding: NotRequired[str]


class GuideView(StatementView):
    """The published set-up for riders of a mass bracket, from `rider_mass_from` up to but not at `rider_mass_to`."""

    chamber: NotRequired[str]
    rider_mass_from: NotRequired[Quantity]
    rider_mass_to: NotRequired[Quantity]
    mass_is: NotRequired[str]
    pressure: NotRequired[Quantity]
    sag_percent: NotRequired[float]
    spring_choice: NotRequired[str]
    rebound_clicks: NotRequired[Clicks]
    compression_clicks: NotRequired[Clicks]
    preload_turns: NotRequired[Turns]


class ReadingView(StatementView):
    """Something that was measured on a fork of this kind. `at_travel` is a compression from `at_travel_from`."""

    spacers: NotRequired[int]
    state: NotRequired[str]
    at_travel: NotRequired[Quantity]
    at_travel_from: NotRequired[Literal["full extension"]]
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
    dampers: Mapping[str, Damper] = field(default_factory=dict)  # those that may be fitted


def add_claim(shown: StatementView, each: Applicable[S], sources: Mapping[str, Source]) -> None:
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


def fastener_view(row: Fastener) -> FastenerView:
    shown: FastenerView = {"id": row.id, "position": row.position, "kind": row.kind}
    _copy(shown, row, "side", "count", "drives", "thread", "hand", "property_class", "reuse")
    return shown


def torque_view(each: Applicable[Torque], named: Named) -> TorqueView:
    row = each.statement
    fastener = named.fasteners[row.fastener]
    tools = [tool.id for drive in fastener.drives or () for tool in named.tools.get(drive, ())]
    shown: TorqueView = {
        "id": row.id, "fastener": fastener_view(fastener), "scope": scope_view(row), "tools": tools,
    }  # fmt: skip
    torque = figure(row, "torque", "value", row.unit, named.units, minimum="min", maximum="max")
    if torque is not None:
        shown["torque"] = torque
    _copy(shown, row, "stage", "thread_prep", "instruction", "recheck")
    add_claim(shown, each, named.sources)
    return shown


def fluid_view(id: str, named: Named) -> FluidView:
    fluid = named.fluids.get(id)
    return {"id": id, "name": id} if fluid is None else {"id": id, "name": fluid.name, "kind": fluid.kind}


def fill_view(each: Applicable[Fill], named: Named) -> FillView:
    row = each.statement
    shown: FillView = {"id": row.id, "chamber": row.chamber, "scope": scope_view(row)}
    if row.fluid is not None:
        shown["fluid"] = fluid_view(row.fluid, named)
    volume = figure(row, "volume", "value", row.unit, named.units, minimum="min", maximum="max")
    if volume is not None:
        shown["volume"] = volume
    level = figure(row, "length", "level_mm", "mm", named.units, minimum="level_min_mm", maximum="level_max_mm")
    if level is not None:
        shown["level"] = level
        shown["level_text"] = _level_text(level["text"], row)
    _copy(shown, row, "alternatives", "level_datum", "level_state")
    add_claim(shown, each, named.sources)
    return shown


def _level_text(level: str, row: Fill) -> str:
    """A level with the place it is measured from and the state of the fork, or the words that neither is stated."""
    datum = (
        "from where is not stated" if row.level_datum is None else f"from the {row.level_datum.removeprefix('the ')}"
    )
    state = "in which state is not stated" if row.level_state is None else row.level_state
    return f"{level} {datum}, {state}" if row.level_datum is not None else f"{level}, {datum}, {state}"


def grease_view(each: Applicable[Grease], named: Named) -> GreaseView:
    row = each.statement
    shown: GreaseView = {"id": row.id, "place": row.place, "scope": scope_view(row)}
    if row.fluid is not None:
        shown["fluid"] = fluid_view(row.fluid, named)
    if (extent := figure(row, "length", "extent_mm", "mm", named.units)) is not None:
        shown["extent"] = extent
    _copy(shown, row, "amount")
    add_claim(shown, each, named.sources)
    return shown


def part_view(id: str, named: Named) -> PartView:
    part = named.parts.get(id)
    if part is None:
        return {"id": id, "name": id}
    shown: PartView = {"id": id, "name": part.name, "kind": part.kind}
    if part.part_number is not None:
        shown["part_number"] = part.part_number
    if part.pack_count is not None:
        shown["pack_count"] = part.pack_count
    if part.superseded_by is not None:
        shown["superseded_by"] = part.superseded_by
    return shown


def use_view(each: Applicable[Use], named: Named) -> UseView:
    row = each.statement
    shown: UseView = {
        "id": row.id, "job": row.job, "part": part_view(row.part, named), "scope": scope_view(row),
    }  # fmt: skip
    _copy(shown, row, "position", "count", "when")
    add_claim(shown, each, named.sources)
    return shown


def kind_of(unit: str | None) -> Kind | None:
    """The quantity kind of a unit whose kind the column does not fix; None for one that is not known."""
    found = find(unit) if unit is not None else ()
    return next((each.kind for each in found), None)


def limit_view(each: Applicable[Limit], named: Named) -> LimitView:
    row = each.statement
    shown: LimitView = {"id": row.id, "subject": row.subject, "scope": scope_view(row)}
    kind = kind_of(row.unit)
    if kind is not None:
        limit = figure(row, kind, None, row.unit, named.units, minimum="min", maximum="max")
        if limit is not None:
            shown["limit"] = limit
    _copy(shown, row, "method", "action")
    add_claim(shown, each, named.sources)
    return shown


def interval_view(each: Applicable[Interval], named: Named) -> IntervalView:
    row = each.statement
    shown: IntervalView = {"id": row.id, "operation": row.operation, "scope": scope_view(row)}
    _copy(shown, row, "hours", "months", "riding")
    add_claim(shown, each, named.sources)
    return shown


def guide_view(each: Applicable[Guide], named: Named) -> GuideView:
    row = each.statement
    shown: GuideView = {"id": row.id, "scope": scope_view(row)}
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
        shown["preload_turns"] = turns_view(row.preload_turns)
    dampers = [damper for id, damper in named.dampers.items() if row.damper in (None, id)]
    if row.rebound_clicks is not None:
        shown["rebound_clicks"] = clicks_of_dampers(row.rebound_clicks, "rebound_clicks", dampers)
    if row.compression_clicks is not None:
        shown["compression_clicks"] = clicks_of_dampers(row.compression_clicks, "compression_clicks", dampers)
    _copy(shown, row, "chamber", "mass_is", "spring_choice")
    add_claim(shown, each, named.sources)
    return shown


def reading_view(each: Applicable[Reading], named: Named) -> ReadingView:
    row = each.statement
    shown: ReadingView = {"id": row.id, "scope": scope_view(row)}
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
    if "at_travel" in shown:
        shown["at_travel_from"] = "full extension"
    _copy(shown, row, "spacers", "state", "direction")
    add_claim(shown, each, named.sources)
    return shown
