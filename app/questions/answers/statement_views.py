"""Views of statements: values in the chosen units, scope and source."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NotRequired, TypeVar, cast

from typing_extensions import TypedDict

from app.catalogue.tables import (
    Adjustment,
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
from app.json_types import JsonObject
from app.questions.answers.clicks import ADJUSTERS, clicks_of_dampers, counted
from app.questions.answers.preload import PreloadView
from app.questions.answers.statement_members import FigureMember, ValueMember, members
from app.questions.answers.views import AlsoIn, ScopeView, SourceRef, scope_view, source_ref
from app.questions.answers.words import UNCHECKED, unchecked
from app.questions.configuration.prevailing import Applicable
from app.units.counts import AdjusterCount, Clicks, Turns, turns_view
from app.units.preferences import Units
from app.units.quantity import Quantity

S = TypeVar("S", bound=Statement)


class StatementView(TypedDict):
    """The members of every statement.

    `also_in` lists agreeing sources, `narrows` what it is an exception to, `as_printed` the words of the page.
    """

    id: str
    scope: ScopeView
    source: NotRequired[SourceRef]
    also_in: NotRequired[list[AlsoIn]]
    narrows: NotRequired[list[str]]
    as_printed: NotRequired[str]
    note: NotRequired[str]


class FastenerView(TypedDict):
    """A fastener."""

    id: str
    position: str
    kind: str
    side: NotRequired[str]
    count: NotRequired[int]
    group: NotRequired[str]
    drives: NotRequired[list[str]]
    thread: NotRequired[str]
    hand: NotRequired[str]
    property_class: NotRequired[str]
    reuse: NotRequired[str]


class TorqueView(StatementView):
    """How to tighten a fastener, and the names of the tools that fit its drive.

    `order` counts through all fasteners of its `group`. Without a torque, `instruction` says how tight it is.
    """

    fastener: FastenerView
    torque: NotRequired[Quantity]
    stage: NotRequired[int]
    order: NotRequired[int]
    mating_material: NotRequired[str]
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
    """The oil for a chamber, by volume, mass or level. `level_text` says from where the level is measured.

    `amount` says whether the chamber is filled, stays without oil, or is greased instead.
    """

    chamber: str
    condition: NotRequired[str]
    amount: NotRequired[str]
    fluid: NotRequired[FluidView]
    alternatives: NotRequired[str]
    volume: NotRequired[Quantity]
    mass: NotRequired[Quantity]
    level: NotRequired[Quantity]
    level_limit: NotRequired[Quantity]
    level_datum: NotRequired[str]
    level_state: NotRequired[str]
    level_text: NotRequired[str]


class GreaseView(StatementView):
    """The grease for a place; `extent` is measured from the end."""

    place: str
    fluid: NotRequired[FluidView]
    extent: NotRequired[Quantity]
    mass: NotRequired[Quantity]
    amount: NotRequired[str]


class PartView(TypedDict):
    """A part, by its part number."""

    id: str
    name: str
    kind: NotRequired[str]
    part_number: NotRequired[str]
    pack_count: NotRequired[int]
    superseded_by: NotRequired[str]


class UseView(StatementView):
    """A part that a job needs."""

    job: str
    part: PartView
    position: NotRequired[str]
    count: NotRequired[int]
    when: NotRequired[str]


class LimitView(StatementView):
    """A limit. A maximum is never rounded up, a minimum never down. `unchecked` says that no question uses it."""

    subject: str
    limit: NotRequired[Quantity]
    method: NotRequired[str]
    action: NotRequired[str]
    unchecked: NotRequired[str]


class IntervalView(StatementView):
    """A service interval: riding hours or months, whichever comes first."""

    operation: str
    hours: NotRequired[Quantity]
    months: NotRequired[Quantity]
    riding: NotRequired[str]


class GuideView(StatementView):
    """The published set-up for riders from `rider_mass_from` to just below `rider_mass_to`; without an end it is open.

    `instruction` replaces a figure.
    """

    chamber: NotRequired[str]
    rider_mass_from: NotRequired[Quantity]
    rider_mass_to: NotRequired[Quantity]
    mass_is: NotRequired[str]
    riding: NotRequired[str]
    pressure: NotRequired[Quantity]
    sag: NotRequired[Quantity]
    spring_choice: NotRequired[str]
    rebound_clicks: NotRequired[Clicks]
    compression_clicks: NotRequired[Clicks]
    preload_turns: NotRequired[Turns]
    instruction: NotRequired[str]


class AdjustmentView(StatementView):
    """What is added to a figure of the guide on a condition, as a figure with its unit or as a count.

    `text` says it in words. `added`: whether the figures of this answer contain it.
    """

    target: str
    condition: str
    adjustment: NotRequired[Quantity]
    count: NotRequired[float]
    text: NotRequired[str]
    added: NotRequired[bool]


class ReadingView(StatementView):
    """A measurement on a fork of this kind. `at_travel` is a compression from `at_travel_from`."""

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
class NamedEntities:
    """The entities that the statements of an answer name, and the units they are shown in."""

    units: Units
    sources: Mapping[str, Source]
    fasteners: Mapping[str, Fastener] = field(default_factory=dict)
    fluids: Mapping[str, Fluid] = field(default_factory=dict)
    parts: Mapping[str, Part] = field(default_factory=dict)
    tools: Mapping[str, list[Tool]] = field(default_factory=dict)  # by drive
    dampers: Mapping[str, Damper] = field(default_factory=dict)  # those that may be fitted


def add_claim(shown: StatementView, each: Applicable[S], sources: Mapping[str, Source]) -> None:
    """Add source, agreeing sources, what it narrows, the words of the page and its note to a statement's view."""
    source = source_ref(each.statement, sources)
    if source is not None:
        shown["source"] = source
    if each.also_in:
        shown["also_in"] = [_also_in(row, sources) for row in each.also_in]
    if each.narrows:
        shown["narrows"] = [row.id for row in each.narrows]
    if each.statement.as_printed is not None:
        shown["as_printed"] = each.statement.as_printed
    if each.statement.note is not None:
        shown["note"] = each.statement.note


def _also_in(row: Statement, sources: Mapping[str, Source]) -> AlsoIn:
    source = source_ref(row, sources)
    return {"id": row.id} if source is None else {"id": row.id, "source": source}


def _statement(each: Applicable[S], named: NamedEntities) -> dict[str, object]:
    """Every given column of a statement, as `app.questions.answers.statement_members` derives it."""
    row = each.statement
    shown: dict[str, object] = {"id": row.id, "scope": scope_view(row, named.units)}
    for member in members(row.model):
        value = _member(member, row, named)
        if value is not None:
            shown[member.name] = value
    add_claim(cast(StatementView, shown), each, named.sources)
    return shown


def _member(member: FigureMember | ValueMember, row: Statement, named: NamedEntities) -> Any:
    if isinstance(member, FigureMember):
        return member.quantity(row, named.units)
    value = member.value(row)
    if value is None:
        return None
    if member.refers_to == "fasteners":
        return fastener_view(named.fasteners[value])
    if member.refers_to == "fluids":
        return fluid_view(value, named)
    return part_view(value, named) if member.refers_to == "parts" else value


def fastener_view(row: Fastener) -> FastenerView:
    """A position that is tightened, with its given data."""
    shown: JsonObject = {"id": row.id}
    for name in FastenerView.__annotations__:
        value = getattr(row, name)
        if value is not None:
            shown[name] = list(value) if isinstance(value, tuple) else value
    return cast(FastenerView, shown)


def fluid_view(id: str, named: NamedEntities) -> FluidView:
    """An oil or grease by name and kind; the id alone if its row is missing."""
    fluid = named.fluids.get(id)
    return {"id": id, "name": id} if fluid is None else {"id": id, "name": fluid.name, "kind": fluid.kind}


def part_view(id: str, named: NamedEntities) -> PartView:
    """A part by its part number; the id alone if its row is missing."""
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


def torque_view(each: Applicable[Torque], named: NamedEntities) -> TorqueView:
    """How to tighten a fastener, with the tools that fit its drives."""
    drives = named.fasteners[each.statement.fastener].drives or ()
    tools = [tool.name for drive in drives for tool in named.tools.get(drive, ())]
    return cast(TorqueView, {**_statement(each, named), "tools": tools})


def fill_view(each: Applicable[Fill], named: NamedEntities) -> FillView:
    """The oil for a chamber; a level with its datum in words."""
    shown = cast(FillView, _statement(each, named))
    if "level" in shown:
        shown["level_text"] = _level_text(shown["level"]["text"], each.statement)
    return shown


def _level_text(level: str, row: Fill) -> str:
    """A level with the point it is measured from and the state of the fork, or the words that they are not stated."""
    datum = (
        "measuring point not stated" if row.level_datum is None else f"from the {row.level_datum.removeprefix('the ')}"
    )
    state = "state of the fork not stated" if row.level_state is None else row.level_state
    return f"{level} {datum}, {state}" if row.level_datum is not None else f"{level}, {datum}, {state}"


def grease_view(each: Applicable[Grease], named: NamedEntities) -> GreaseView:
    """The grease for a place."""
    return cast(GreaseView, _statement(each, named))


def use_view(each: Applicable[Use], named: NamedEntities) -> UseView:
    """A part that a job uses."""
    return cast(UseView, _statement(each, named))


def limit_view(each: Applicable[Limit], named: NamedEntities) -> LimitView:
    """A limit that must not be exceeded."""
    shown = cast(LimitView, _statement(each, named))
    if unchecked(each.statement.subject):
        shown["unchecked"] = UNCHECKED
    return shown


def interval_view(each: Applicable[Interval], named: NamedEntities) -> IntervalView:
    """A service interval."""
    return cast(IntervalView, _statement(each, named))


def guide_view(each: Applicable[Guide], named: NamedEntities) -> GuideView:
    """The published set-up for riders in a mass bracket; clicks and turns with their datum."""
    row = each.statement
    shown = cast(GuideView, _statement(each, named))
    dampers = [damper for id, damper in named.dampers.items() if row.damper is None or id in row.damper]
    for name in ADJUSTERS:
        if (clicks := counted(row, name)).is_given:
            shown[name] = clicks_of_dampers(clicks, name, dampers)
    if (turns := counted(row, "preload_turns")).is_given:
        shown["preload_turns"] = turns_view(turns)
    return shown


COUNTED_TARGETS = ("rebound clicks", "compression clicks", "preload turns")
"""The settings that an adjustment changes by a count, which has no unit."""


def adjustment_view(each: Applicable[Adjustment], named: NamedEntities) -> AdjustmentView:
    """What is added to a figure of the guide on a condition."""
    row = each.statement
    shown = cast(AdjustmentView, _statement(each, named))
    if row.value is None:
        return shown
    verb = "take off" if row.value < 0 else "add"
    if row.target in COUNTED_TARGETS:
        shown["count"] = float(row.value)
        shown["text"] = f"{verb} {AdjusterCount(abs(row.value)).worded(row.target.split()[-1].removesuffix('s'))}"
    elif "adjustment" in shown:
        shown["text"] = f"{verb} {shown['adjustment']['text'].lstrip('-−')}"
    return shown


def reading_view(each: Applicable[Reading], named: NamedEntities) -> ReadingView:
    """A measurement on a fork of this kind."""
    shown = cast(ReadingView, _statement(each, named))
    if "at_travel" in shown:
        shown["at_travel_from"] = "full extension"
    return shown
