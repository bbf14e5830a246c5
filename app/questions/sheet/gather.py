"""The statements that may apply to a configuration: the input of sheet, set-up and job card."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf
from operator import itemgetter
from typing import Any

from app.catalogue.agreement import kilograms
from app.catalogue.rows import Snapshot
from app.catalogue.scopes import Scope
from app.catalogue.tables import (
    Adjustment,
    Damper,
    Fastener,
    Fill,
    Fit,
    Fluid,
    Grease,
    Guide,
    Interval,
    Limit,
    Reading,
    Spacer,
    Spring,
    SpringChamber,
    Tool,
    Torque,
    Use,
)
from app.questions.configuration.chassis_context import ChassisContext, load_chassis
from app.questions.configuration.prevailing import Applicable, undecided
from app.questions.configuration.region import Given, Region
from app.questions.configuration.spring_travel import with_travel_of_spring
from app.questions.sheet.fits import prevailing_fits

WORK_ORDER = (
    "damper seal head", "damper cap", "spring seal head", "spacer cap", "top cap", "lower crown bolt",
    "upper crown bolt", "foot bolt", "foot nut", "adjuster knob screw", "axle", "brake caliper bolt", "stem bolt",
)  # fmt: skip
"""Positions in the order of assembly and refitting to the bike; common practice, no source."""


@dataclass
class Sheet:
    """The statements that apply, before they become views: the input of sheet, job card and set-up.

    `offered` and the `listed_` rows are all of the chassis, to be narrowed further.
    """

    context: ChassisContext
    wanted: Given
    where: Region
    offered: list[Fit]
    listed_guides: list[Guide]
    listed_adjustments: list[Adjustment]
    listed_readings: list[Reading]
    fits: list[Applicable[Fit]]
    torques: list[Applicable[Torque]]
    fills: list[Applicable[Fill]]
    greases: list[Applicable[Grease]]
    uses: list[Applicable[Use]]
    limits: list[Applicable[Limit]]
    intervals: list[Applicable[Interval]]
    guides: list[Applicable[Guide]]
    adjustments: list[Applicable[Adjustment]]
    readings: list[Applicable[Reading]]
    fasteners: dict[str, Fastener]
    fluids: dict[str, Fluid]
    springs: dict[str, Spring]
    chambers: list[SpringChamber]
    spacers: dict[str, Spacer]
    dampers: dict[str, Damper]

    @cached_property
    def tools(self) -> dict[str, list[Tool]]:
        """The tools by drive, for the drives of fasteners and spacers. Read when needed: a set-up needs none."""
        turned: tuple[Fastener | Spacer, ...] = (*self.fasteners.values(), *self.spacers.values())
        drives = {drive for row in turned for drive in row.drives or ()}
        tools: dict[str, list[Tool]] = {}
        for tool in self.context.snapshot.among(Tool, "drive", sorted(drives)):
            tools.setdefault(tool.drive or "", []).append(tool)
        return tools

    def chambers_of(self, spring: str) -> tuple[SpringChamber, ...]:
        """The air chambers that a spring lists."""
        return tuple(each for each in self.chambers if each.spring == spring)

    def undecided(self) -> dict[str, list[str | int | float]]:
        """Each parameter that would decide between the alternatives, with its possible values."""
        found: dict[str, list[str | int | float]] = {}
        choices = self.context.choices(self.where, self.offered)
        every: tuple[Sequence[Applicable[Any]], ...] = (
            self.fits, self.torques, self.fills, self.greases, self.uses, self.limits, self.intervals, self.guides,
            self.adjustments, self.readings,
        )  # fmt: skip
        for shown in every:
            for name, values in undecided(shown, self.where, choices).items():
                found[name] = list(dict.fromkeys([*found.get(name, []), *values]))
        if self.wanted.travel is None and len({fit.travel_mm for fit in self.offered}) > 1:
            found.setdefault("travel", sorted({fit.travel_mm for fit in self.offered}))
        if len({each.statement.spring for each in self.fits}) > 1:
            found.setdefault("spring", sorted({each.statement.spring for each in self.fits}))
        return found


def gather(snapshot: Snapshot, chassis: str, wanted: Given) -> Sheet:
    """Every statement that may apply to a configuration; a spring that gives one travel decides the travel.

    Raises NotFound, Gone, and Invalid for a configuration that the chassis cannot have or a travel that the spring does
    not give.
    """
    context = load_chassis(snapshot, chassis)
    offered = snapshot.where(Fit, "chassis", chassis)
    wanted = with_travel_of_spring(context, offered, wanted)
    where = context.region(wanted, offered)
    fits = prevailing_fits(context, offered, wanted, where)
    if wanted.spring is None and fits:
        where = replace(where, springs=frozenset(each.statement.spring for each in fits))
    torques = snapshot.where(Torque, "chassis", chassis)
    fasteners = _fasteners(snapshot, context, where, torques)
    uses = snapshot.where(Use, "chassis", chassis)
    context.with_parts(use.part for use in uses)
    guides = snapshot.where(Guide, "chassis", chassis)
    adjustments = snapshot.where(Adjustment, "chassis", chassis)
    readings = snapshot.where(Reading, "chassis", chassis)
    fills = context.prevailing(snapshot.where(Fill, "chassis", chassis), where)
    greases = context.prevailing(snapshot.where(Grease, "chassis", chassis), where)
    fluids = {each.statement.fluid for each in fills} | {each.statement.fluid for each in greases}
    chambers = snapshot.among(SpringChamber, "spring", sorted(where.springs)) if where.springs else []
    context.with_sources(chambers)
    return Sheet(
        context=context,
        wanted=wanted,
        where=where,
        offered=offered,
        listed_guides=guides,
        listed_adjustments=adjustments,
        listed_readings=readings,
        fits=fits,
        torques=_torques(context, torques, fasteners, where),
        fills=fills,
        greases=greases,
        uses=context.prevailing(uses, where),
        limits=context.prevailing(snapshot.where(Limit, "chassis", chassis), where),
        intervals=context.prevailing(snapshot.where(Interval, "chassis", chassis), where),
        guides=sorted(context.prevailing(guides, where), key=by_mass),
        adjustments=context.prevailing(adjustments, where),
        readings=context.prevailing(readings, where),
        fasteners=fasteners,
        fluids=snapshot.many(Fluid, {fluid for fluid in fluids if fluid is not None}),
        springs=snapshot.many(Spring, where.springs or ()),
        chambers=chambers,
        spacers=snapshot.many(Spacer, {each.statement.spacer for each in fits if each.statement.spacer}),
        dampers=snapshot.many(Damper, where.dampers or ()),
    )


def by_mass(each: Applicable[Guide]) -> tuple[str, float, float, str]:
    """Sort key of guides: chamber, travel, then the lightest rider first, with the kinds of riding side by side."""
    guide = each.statement
    mass = kilograms(guide.rider_mass_from, guide.mass_unit)
    return guide.chamber or "", guide.travel_from_mm or 0.0, float(mass or 0), guide.riding or ""


def _fasteners(
    snapshot: Snapshot, context: ChassisContext, where: Region, torques: Sequence[Torque]
) -> dict[str, Fastener]:
    """The fasteners of the chassis and of its possible springs and dampers, and those that torques name."""
    found = {row.id: row for row in snapshot.where(Fastener, "chassis", context.chassis.id)}
    for column, ids in (("spring", where.springs), ("damper", where.dampers)):
        rows = snapshot.among(Fastener, column, sorted(ids or ()))
        found.update((row.id, row) for row in sorted(rows, key=itemgetter(column)))
    missing = {torque.fastener for torque in torques} - found.keys()
    found.update(snapshot.many(Fastener, missing) if missing else {})
    return {id: row for id, row in found.items() if row.chassis in (None, context.chassis.id)}


def fastener_scope(scope: Scope, fastener: Fastener) -> Scope:
    """A torque's scope, narrowed to the spring, damper and years its fastener belongs to."""
    low, high = fastener.model_year_from, fastener.model_year_to
    return scope._replace(
        spring=scope.spring if scope.spring is not None else fastener.spring,
        damper=scope.damper if fastener.damper is None else _of_damper(scope.damper, fastener.damper),
        year_from=scope.year_from if low is None else max(scope.year_from, low),
        year_to=scope.year_to if high is None else min(scope.year_to, high),
    )


def _of_damper(stated: frozenset[str] | None, damper: str) -> frozenset[str]:
    """The damper of a fastener; the stated ones if it is not among them, so that the scope stays empty of forks."""
    return frozenset({damper}) if stated is None or damper in stated else stated


def _torques(
    context: ChassisContext, torques: Sequence[Torque], fasteners: Mapping[str, Fastener], where: Region
) -> list[Applicable[Torque]]:
    scoped = [
        (row, fastener_scope(scope, fasteners[row.fastener]))
        for row, scope in context.scoped(torques)
        if row.fastener in fasteners
    ]
    found = context.prevailing_of(scoped, where)
    groups = _first_of_group(fasteners[row.fastener] for row, _ in scoped)
    return sorted(found, key=lambda each: _in_work(fasteners[each.statement.fastener], each.statement, groups))


InWork = tuple[int, str]


def _first_of_group(fasteners: Iterable[Fastener]) -> dict[str, InWork]:
    """The place in the work of each group of fasteners that are tightened in turns: that of its first position."""
    first: dict[str, InWork] = {}
    for fastener in fasteners:
        if fastener.group is not None:
            first[fastener.group] = min(_place(fastener), first.get(fastener.group, _place(fastener)))
    return first


def _place(fastener: Fastener) -> InWork:
    place = WORK_ORDER.index(fastener.position) if fastener.position in WORK_ORDER else len(WORK_ORDER)
    return place, fastener.position


def _in_work(
    fastener: Fastener, torque: Torque, groups: Mapping[str, InWork]
) -> tuple[InWork, str, float, InWork, bool, str, int]:
    """Torques in the order of work: by position, a group in its own order, the spring side first, by stage."""
    place = _place(fastener)
    group, order = (None, None) if torque.order is None else (fastener.group, torque.order)
    return (
        place if group is None else groups[group], group or "", order or inf, place, fastener.side != "spring side",
        fastener.id, torque.stage or 1,
    )  # fmt: skip
