"""A physical fork compared with the catalogue: unknown ids, unlisted builds, its intervals, its label.

A fork may be built in a way that no document lists: that is reported, not refused, because the log records what is in
it.
"""

from collections.abc import Collection, Container, Mapping, Sequence
from dataclasses import replace
from math import inf
from typing import Any, NamedTuple

from app.catalogue.present import candidates, present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import (
    Chassis,
    Damper,
    Fastener,
    Fit,
    Fluid,
    Interval,
    Part,
    Row,
    Source,
    Spacer,
    Spring,
    Variant,
)
from app.errors import Fault, Gone, Invalid, NotFound
from app.questions.answers.views import figure, length
from app.questions.configuration.chassis_context import load_chassis
from app.questions.configuration.region import Given, given
from app.questions.configuration.spring_travel import travels_of, with_travel_of_spring
from app.questions.setup.riding import refuse_unlisted
from app.questions.sheet.gather import Sheet, gather
from app.units.counts import End
from app.units.preferences import AS_PUBLISHED
from app.units.quantity import bare_limit

BLANK = "____"
# everything that the parts list of a job card may name
_FITTED: tuple[type[Row], ...] = (Part, Spring, Spacer, Fastener)
_TABLES: dict[str, type[Row]] = {"variant": Variant, "spring": Spring, "damper": Damper}


def given_of(parameters: Mapping[str, Any]) -> Given:
    """The configuration given by parameters like those of a question; other parameters are ignored."""
    names = ("travel", "model_year", "variant", "spring", "damper", "wheel_size", "serial")
    return given(**{name: parameters[name] for name in names if name in parameters})


def refuse_unknown(
    snapshot: Snapshot, chassis: str, context: Mapping[str, Any], parts: Sequence[Mapping[str, Any]], place: str
) -> None:
    """Raises Invalid with a fault for every id of a configuration that is not in the catalogue.

    `place` is the pointer to the configuration in the body.
    """
    faults: list[Fault] = []

    def look(tables: Sequence[type[Row]], id: str, pointer: str) -> None:
        if all(snapshot.one(table, id) is None for table in tables):
            near = candidates(snapshot, tables[0], id)
            text = f"There is nothing with the id {id} in {' or '.join(table.table for table in tables)}."
            faults.append(Fault("id-unknown", text, pointer=pointer, suggestion=near[0]["id"] if near else None))

    look([Chassis], chassis, "/chassis")
    for name, table in _TABLES.items():
        if name in context:
            look([table], context[name], f"{place}/{name}")
    for index, filled in enumerate(context.get("fluids", ())):
        look([Fluid], filled["fluid"], f"{place}/fluids/{index}/fluid")
    for index, each in enumerate(parts):
        look(_FITTED, each["part"], f"/parts/{index}/part")
    variant = snapshot.one(Variant, context["variant"]) if "variant" in context else None
    if variant is not None and variant.chassis != chassis:
        text = f"{variant.id} is a variant of {variant.chassis}, not of {chassis}."
        faults.append(Fault("variant-of-another-chassis", text, pointer=f"{place}/variant"))
    if faults:
        raise Invalid(faults[0].text if len(faults) == 1 else f"{len(faults)} ids are unknown.", faults)


def sources(snapshot: Snapshot, chassis: Collection[str]) -> Collection[Source]:
    """The sources of these chassis that are in the catalogue."""
    rows = snapshot.many(Chassis, chassis).values()
    return snapshot.many(Source, {row.source for row in rows if row.source is not None}).values()


def unlisted(snapshot: Snapshot, chassis: str, parameters: Mapping[str, Any]) -> list[str]:
    """The parts of a fork's build that no document lists, in sentences; empty if all is listed."""
    try:
        found = gather(snapshot, chassis, given_of(parameters))
    except (NotFound, Gone) as refusal:
        return [refusal.detail]
    except Invalid as refusal:
        return [fault.text for fault in refusal.faults]
    if not found.fits and {"travel", "spring"} & parameters.keys():
        return ["No fit is listed for this spring and travel in this chassis."]
    limits = [each.statement.spacer_limit for each in found.fits]
    spacers = parameters.get("spacers")
    if spacers is not None and limits and all(limit is not None and spacers > limit for limit in limits):
        return [f"It carries {spacers} volume spacers; at most {max(limit or 0 for limit in limits)} are listed."]
    return []


def decided_travel(
    snapshot: Snapshot, chassis: str, parameters: Mapping[str, Any], fitted: Container[str], place: str
) -> float | None:
    """The travel in mm given by the spring of a fork, or None if the spring leaves it open or is not listed.

    `fitted` holds the given spring and travel, `place` is their pointer in the body. Raises Invalid naming both if they
    contradict each other.
    """
    context = load_chassis(snapshot, chassis)
    offered = snapshot.where(Fit, "chassis", chassis)
    names = ("travel", "model_year", "variant", "spring", "wheel_size", "serial")
    known = given(**{name: parameters[name] for name in names if name in parameters})
    try:
        if "spring" in fitted and "travel" not in fitted and len(travels_of(context, offered, known)) == 1:
            known = replace(known, travel=None)
        decided = with_travel_of_spring(context, offered, known)
    except Invalid as refusal:
        both = [each for each in refusal.faults if each.code == "spring-gives-other-travel"]
        if not both:
            return None  # an unlisted build is reported, not refused
        faults = [Fault(each.code, each.text, None, f"{place}/travel", each.suggestion) for each in both]
        raise Invalid(both[0].text, faults) from None
    return None if decided.travel is None else float(decided.travel.value)


def datum_of_clicks(snapshot: Snapshot, chassis: str, damper: str | None) -> tuple[End | None, dict[str, int]]:
    """The end that the fork's damper counts clicks from, and the known totals of its adjusters.

    If the damper is unknown, only values that all dampers of the chassis share.
    """
    ids = [damper] if damper is not None else list(present(snapshot, Chassis, chassis).dampers or ())
    fitted = snapshot.many(Damper, ids)
    rows = [fitted[id] for id in ids if id in fitted]
    ends = {row.clicks_from for row in rows}
    totals: dict[str, int] = {}
    for name in ("rebound_clicks", "compression_clicks"):
        counts = {getattr(row, name) for row in rows}
        if len(counts) == 1 and (count := counts.pop()) is not None:
            totals[name] = int(count)
    return (ends.pop() if len(ends) == 1 else None), totals


class Due(NamedTuple):
    """The intervals for a fork, and the kinds of riding that they list."""

    intervals: list[Interval]
    listed: list[str]


def intervals(snapshot: Snapshot, chassis: str, parameters: Mapping[str, object], riding: str | None) -> Due:
    """The intervals that may hold for a fork, by operation: those of that kind of riding, else the general ones.

    Without a kind of riding, the strictest of each operation: every interval that no other undercuts in hours and
    months. Raises NotFound, Gone, and Invalid if the catalogue has no such chassis or the configuration cannot exist.
    """
    found = [each.statement for each in gather(snapshot, chassis, given_of(parameters)).intervals]
    listed = sorted({each.riding for each in found if each.riding is not None})
    chosen: list[Interval] = []
    for operation in dict.fromkeys(each.operation for each in found):
        mine = [each for each in found if each.operation == operation]
        own = [each for each in mine if riding is not None and each.riding == riding]
        general = [each for each in mine if riding is not None and each.riding is None]
        chosen += own or general or [each for each in mine if not any(_stricter(other, each) for other in mine)]
    return Due(chosen, listed)


def _stricter(one: Interval, other: Interval) -> bool:
    """Whether an interval is never later than another, and earlier in some respect."""
    pairs = [(one.hours, other.hours), (one.months, other.months)]
    ends = [(inf if a is None else a, inf if b is None else b) for a, b in pairs]
    return all(a <= b for a, b in ends) and any(a < b for a, b in ends)


def refuse_riding(snapshot: Snapshot, chassis: str, riding: str, *, parameter: str | None = None) -> None:
    """Raises Invalid `riding-unknown` for a kind of riding that no interval of the chassis lists, except `other`."""
    pointer = "/riding" if parameter is None else None
    refuse_unlisted(riding, ridings(snapshot, chassis), "intervals", parameter=parameter, pointer=pointer)


def ridings(snapshot: Snapshot, chassis: str) -> list[str]:
    """The kinds of riding that the intervals of a chassis list."""
    return sorted({each.riding for each in snapshot.where(Interval, "chassis", chassis) if each.riding is not None})


def operations(snapshot: Snapshot, chassis: str) -> set[str]:
    """Every operation that the catalogue gives an interval for."""
    present(snapshot, Chassis, chassis)
    return {each.operation for each in snapshot.where(Interval, "chassis", chassis)}


def label(
    snapshot: Snapshot, chassis: str, parameters: Mapping[str, Any], *, fluids: Sequence[Mapping[str, Any]],
    pressure: str | None,
    last: str | None,
) -> list[str]:  # fmt: skip
    """The lines of the label for the leg: the configuration, and the catalogue's limits for exactly that.

    `pressure` and `last` (the last job) are texts to print. There is no serial, because it is on the fork.
    """
    context = load_chassis(snapshot, chassis)
    found: Sheet | None
    try:
        found = gather(snapshot, chassis, given_of(parameters))
    except Invalid:
        found = None  # an unlisted build has no listed limit
    fit = found.fits[0].statement if found is not None and len(found.fits) == 1 and found.fits[0].surely else None
    spring = snapshot.one(Spring, parameters["spring"]) if "spring" in parameters else None
    known = found.wanted.travel if found is not None else given_of(parameters).travel
    travel = BLANK if known is None else length(float(known.value), AS_PUBLISHED)["text"]
    lines = [f"{context.chassis.name}, {travel} of travel"]
    part = f", {spring.part_number}" if spring is not None and spring.part_number is not None else ""
    lines.append(f"Spring: {BLANK if spring is None else spring.name}{part}")
    if spring is None or spring.kind == "air":
        limit = BLANK if fit is None or fit.spacer_limit is None else str(fit.spacer_limit)
        lines.append(f"Volume spacers: {parameters.get('spacers', BLANK)}, at most {limit}")
        most = None
        if fit is not None:
            most = figure(fit, "pressure", None, fit.pressure_unit, AS_PUBLISHED, maximum="pressure_limit")
        if fit is not None and most is None and spring is not None:
            most = figure(spring, "pressure", None, spring.pressure_unit, AS_PUBLISHED, maximum="pressure_limit")
        lines.append(f"Pressure: {pressure or BLANK}, at most {BLANK if most is None else bare_limit(most)}")
    names = snapshot.many(Fluid, {each["fluid"] for each in fluids})
    for each in fluids:
        name = names[each["fluid"]].name if each["fluid"] in names else each["fluid"]
        lines.append(f"{each['chamber'][:1].upper()}{each['chamber'][1:]}: {name}")
    return [*lines, f"Last: {last or BLANK}", f"Catalogue revision {snapshot.revision}"]
