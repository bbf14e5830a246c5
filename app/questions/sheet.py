"""All that the catalogue says of one configuration: the question `sheet`. What it does not say stands under `gaps`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.agreement import kilograms
from app.catalogue.rows import At
from app.catalogue.scopes import Scope
from app.catalogue.tables import (
    Damper,
    Fastener,
    Fill,
    Fit,
    Fluid,
    Grease,
    Guide,
    Interval,
    Limit,
    Part,
    Reading,
    Spacer,
    Spring,
    Tool,
    Torque,
    Use,
)
from app.questions.cautions import BEFORE_OPENING, caution, cautions
from app.questions.chassis_in_hand import InHand, in_hand
from app.questions.fits import (
    AskedShown,
    FitsAsked,
    FitShown,
    asked_shown,
    chosen_units,
    fit_shown,
    prevailing_fits,
)
from app.questions.gaps import Gap, gaps
from app.questions.open_choices import shown_undecided
from app.questions.preload import preload
from app.questions.prevailing import Shown, undecided
from app.questions.region import Given, Region, given
from app.questions.shapes import Caution, ChassisRef, Undecided, chassis_ref
from app.questions.statement_shapes import (
    FillShown,
    GreaseShown,
    GuideShown,
    IntervalShown,
    LimitShown,
    Named,
    ReadingShown,
    TorqueShown,
    UseShown,
    fill_shown,
    grease_shown,
    guide_shown,
    interval_shown,
    limit_shown,
    reading_shown,
    torque_shown,
    use_shown,
)
from app.units.preferences import Units


class ConfigurationAsked(FitsAsked):
    """A configuration: the parameters of `fits`, and the spring that is fitted."""

    spring: str | None = Field(None, max_length=80, description="Id of the spring assembly that is or will be fitted.")


class SheetAsked(ConfigurationAsked):
    """The parameters of `sheet`: a configuration, and what is to be computed beside it."""

    detail: Literal["preload"] | None = Field(
        None, description="`preload`: what each torque does to its bolt, as far as that can be judged."
    )


class ToolShown(TypedDict):
    """A tool of the catalogue that fits a drive on this sheet."""

    id: str
    name: str
    drive: NotRequired[str]


class SheetAnswer(TypedDict):
    """Everything that may hold for the configuration; alternatives are told apart by scope (see `undecided`)."""

    revision: int
    chassis: ChassisRef
    configuration: AskedShown
    fits: list[FitShown]
    torques: list[TorqueShown]
    fills: list[FillShown]
    greases: list[GreaseShown]
    uses: list[UseShown]
    limits: list[LimitShown]
    intervals: list[IntervalShown]
    guides: list[GuideShown]
    readings: list[ReadingShown]
    tools: list[ToolShown]
    undecided: list[Undecided]
    gaps: list[Gap]
    cautions: list[Caution]


SHEET = TypeAdapter(SheetAnswer)


@dataclass(slots=True)
class Sheet:
    """The statements that answer, before they are put into words: what the sheet, the job card and setup start from."""

    held: InHand
    wanted: Given
    where: Region
    offered: list[Fit]
    fits: list[Shown[Fit]]
    torques: list[Shown[Torque]]
    fills: list[Shown[Fill]]
    greases: list[Shown[Grease]]
    uses: list[Shown[Use]]
    limits: list[Shown[Limit]]
    intervals: list[Shown[Interval]]
    guides: list[Shown[Guide]]
    readings: list[Shown[Reading]]
    fasteners: dict[str, Fastener]
    fluids: dict[str, Fluid]
    springs: dict[str, Spring]
    spacers: dict[str, Spacer]
    dampers: dict[str, Damper]
    tools: dict[str, list[Tool]]

    def undecided(self) -> dict[str, list[str | int | float]]:
        """Each parameter that would decide between what is shown, with the values it may take."""
        found: dict[str, list[str | int | float]] = {}
        choices = self.held.choices(self.where, self.offered)
        every: tuple[Sequence[Shown[Any]], ...] = (
            self.fits, self.torques, self.fills, self.greases, self.uses, self.limits, self.intervals, self.guides,
            self.readings,
        )  # fmt: skip
        for shown in every:
            for name, values in undecided(shown, self.where, choices).items():
                found[name] = list(dict.fromkeys([*found.get(name, []), *values]))
        if self.wanted.travel is None and len({fit.travel_mm for fit in self.offered}) > 1:
            found.setdefault("travel", sorted({fit.travel_mm for fit in self.offered}))
        if len({each.statement.spring for each in self.fits}) > 1:
            found.setdefault("spring", sorted({each.statement.spring for each in self.fits}))
        return found


def sheet(at: At, chassis: str, asked: SheetAsked) -> SheetAnswer:
    """The answer at one revision. Raises NotFound, Gone, and Invalid for what the chassis cannot be."""
    units = chosen_units(asked)
    wanted = given(
        travel=asked.travel, model_year=asked.model_year, variant=asked.variant, spring=asked.spring,
        damper=asked.damper, wheel_size=asked.wheel_size,
    )  # fmt: skip
    found = gather(at, chassis, wanted)
    answer = sheet_shown(found, units)
    if asked.detail == "preload":
        for shown, each in zip(answer["torques"], found.torques, strict=True):
            shown["preload"] = preload(each.statement, found.fasteners[each.statement.fastener], units)
        answer["cautions"] += [caution("computed")]
    return answer


def gather(at: At, chassis: str, wanted: Given) -> Sheet:
    """Every statement that may hold for a configuration."""
    held = in_hand(at, chassis)
    offered = at.where(Fit, "chassis", chassis)
    where = held.region(wanted, offered)
    fits = prevailing_fits(held, offered, wanted, where)
    if wanted.spring is None and fits:
        where = replace(where, springs=frozenset(each.statement.spring for each in fits))
    torques = at.where(Torque, "chassis", chassis)
    fasteners = _fasteners(at, held, where, torques)
    uses = at.where(Use, "chassis", chassis)
    held.parts.update(at.many(Part, {use.part for use in uses}))
    fills = held.prevailing(at.where(Fill, "chassis", chassis), where)
    greases = held.prevailing(at.where(Grease, "chassis", chassis), where)
    fluids = {each.statement.fluid for each in fills} | {each.statement.fluid for each in greases}
    return Sheet(
        held=held,
        wanted=wanted,
        where=where,
        offered=offered,
        fits=fits,
        torques=_torques(held, torques, fasteners, where),
        fills=fills,
        greases=greases,
        uses=held.prevailing(uses, where),
        limits=held.prevailing(at.where(Limit, "chassis", chassis), where),
        intervals=held.prevailing(at.where(Interval, "chassis", chassis), where),
        guides=sorted(held.prevailing(at.where(Guide, "chassis", chassis), where), key=_by_mass),
        readings=held.prevailing(at.where(Reading, "chassis", chassis), where),
        fasteners=fasteners,
        fluids=at.many(Fluid, {fluid for fluid in fluids if fluid is not None}),
        springs=at.many(Spring, where.springs or ()),
        spacers=at.many(Spacer, {each.statement.spacer for each in fits if each.statement.spacer}),
        dampers=at.many(Damper, where.dampers or ()),
        tools=_tools(at),
    )


def _by_mass(each: Shown[Guide]) -> tuple[str, float, float]:
    """Guides read as a table: by chamber and travel, the lightest rider first."""
    guide = each.statement
    mass = kilograms(guide.rider_mass_from, guide.mass_unit)
    return guide.chamber or "", guide.travel_from_mm or 0.0, float(mass or 0)


def _fasteners(at: At, held: InHand, where: Region, torques: Sequence[Torque]) -> dict[str, Fastener]:
    """The fasteners of the chassis and of the springs and dampers it may carry, and those its torques name."""
    found = {row.id: row for row in at.where(Fastener, "chassis", held.chassis.id)}
    for spring in sorted(where.springs or ()):
        found.update((row.id, row) for row in at.where(Fastener, "spring", spring))
    for damper in sorted(where.dampers or ()):
        found.update((row.id, row) for row in at.where(Fastener, "damper", damper))
    missing = {torque.fastener for torque in torques} - found.keys()
    found.update(at.many(Fastener, missing) if missing else {})
    return {id: row for id, row in found.items() if row.chassis in (None, held.chassis.id)}


def fastener_scope(scope: Scope, fastener: Fastener) -> Scope:
    """A torque's scope, narrowed to the spring, damper and years its fastener belongs to."""
    low, high = fastener.model_year_from, fastener.model_year_to
    return scope._replace(
        spring=scope.spring if scope.spring is not None else fastener.spring,
        damper=scope.damper if scope.damper is not None else fastener.damper,
        year_from=scope.year_from if low is None else max(scope.year_from, low),
        year_to=scope.year_to if high is None else min(scope.year_to, high),
    )


def _torques(
    held: InHand, torques: Sequence[Torque], fasteners: Mapping[str, Fastener], where: Region
) -> list[Shown[Torque]]:
    scoped = [
        (row, fastener_scope(scope, fasteners[row.fastener]))
        for row, scope in held.scoped(torques)
        if row.fastener in fasteners
    ]
    return held.prevailing_of(scoped, where)


def _tools(at: At) -> dict[str, list[Tool]]:
    tools: dict[str, list[Tool]] = {}
    for tool in at.all(Tool):
        if tool.drive is not None:
            tools.setdefault(tool.drive, []).append(tool)
    return tools


def sheet_shown(found: Sheet, units: Units) -> SheetAnswer:
    """The gathered statements in words and quantities."""
    held = found.held
    named = Named(units, held.sources, found.fasteners, found.fluids, held.parts, found.tools)
    open_parameters = shown_undecided(found.undecided(), held)
    codes = [*BEFORE_OPENING, "shock-pump-only", "limits", "not-in-the-catalogue"]
    return {
        "revision": held.at.revision,
        "chassis": chassis_ref(held.chassis, held.maker),
        "configuration": asked_shown(found.wanted, found.where, units),
        "fits": [fit_shown(each, held, found.springs, found.spacers, units) for each in found.fits],
        "torques": [torque_shown(each, named) for each in found.torques],
        "fills": [fill_shown(each, named) for each in found.fills],
        "greases": [grease_shown(each, named) for each in found.greases],
        "uses": [use_shown(each, named) for each in found.uses],
        "limits": [limit_shown(each, named) for each in found.limits],
        "intervals": [interval_shown(each, named) for each in found.intervals],
        "guides": [guide_shown(each, named) for each in found.guides],
        "readings": [reading_shown(each, named) for each in found.readings],
        "tools": tools_shown(found),
        "undecided": open_parameters,
        "gaps": gaps(found),
        "cautions": cautions(*codes, *(["undecided"] if open_parameters else []), sources=held.sources.values()),
    }


def tools_shown(found: Sheet) -> list[ToolShown]:
    """The tools that fit a drive of a fastener or spacer on the sheet, by name."""
    drives = {drive for each in found.torques for drive in found.fasteners[each.statement.fastener].drives or ()}
    drives |= {drive for spacer in found.spacers.values() for drive in spacer.drives or ()}
    tools = {tool.id: tool for drive in drives for tool in found.tools.get(drive, ())}
    return [
        {"id": tool.id, "name": tool.name, "drive": tool.drive} if tool.drive else {"id": tool.id, "name": tool.name}
        for tool in sorted(tools.values(), key=lambda tool: (tool.name, tool.id))
    ]
