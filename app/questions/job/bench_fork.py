"""A physical fork held against the catalogue: ids that exist, what no document lists, its intervals, its label.

A fork may be built as no document lists it: that is told, not refused, for the log says what is in it.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from app.catalogue.present import candidates, present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis, Damper, Fastener, Fluid, Interval, Part, Row, Source, Spacer, Spring, Variant
from app.errors import Fault, Gone, Invalid, NotFound
from app.questions.answers.views import figure, length
from app.questions.configuration.chassis_context import load_chassis
from app.questions.configuration.region import Given, given
from app.questions.sheet.gather import Sheet, gather
from app.units.preferences import AS_PUBLISHED

BLANK = "____"
_FITTED: tuple[type[Row], ...] = (Part, Spring, Spacer, Fastener)  # whatever the list of parts of a job card may name
_TABLES: dict[str, type[Row]] = {"variant": Variant, "spring": Spring, "damper": Damper}


def given_of(parameters: Mapping[str, Any]) -> Given:
    """The configuration of parameters such as a question is asked with; others are passed over."""
    names = ("travel", "model_year", "variant", "spring", "damper", "wheel_size")
    return given(**{name: parameters[name] for name in names if name in parameters})


def refuse_unknown(
    snapshot: Snapshot, chassis: str, context: Mapping[str, Any], parts: Sequence[Mapping[str, Any]], place: str
) -> None:
    """Raises Invalid with a fault for every id of a configuration that the catalogue has not, at its place in a body
    whose configuration stands under `place`."""
    faults: list[Fault] = []

    def look(tables: Sequence[type[Row]], id: str, pointer: str) -> None:
        if all(snapshot.one(table, id) is None for table in tables):
            near = candidates(snapshot, tables[0], id)
            text = f"There is nothing of the id {id} in {' or '.join(table.table for table in tables)}."
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
        raise Invalid(faults[0].text if len(faults) == 1 else f"{len(faults)} ids are not known.", faults)


def sources(snapshot: Snapshot, chassis: Collection[str]) -> Collection[Source]:
    """The sources of these chassis, as far as the catalogue has them."""
    rows = snapshot.many(Chassis, chassis).values()
    return snapshot.many(Source, {row.source for row in rows if row.source is not None}).values()


def unlisted(snapshot: Snapshot, chassis: str, parameters: Mapping[str, Any]) -> list[str]:
    """What of a fork as it is built no document of the catalogue lists, in sentences; empty where all is listed."""
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


def intervals(snapshot: Snapshot, chassis: str, parameters: Mapping[str, Any], riding: str | None) -> list[Interval]:
    """The intervals that may hold for a fork; those of that kind of riding go before the general ones of an operation.

    Raises NotFound, Gone, Invalid where the catalogue has no such chassis, or the fork is outside of what it can be.
    """
    found = [each.statement for each in gather(snapshot, chassis, given_of(parameters)).intervals]
    own = {each.operation for each in found if riding is not None and each.riding == riding}
    return [each for each in found if (each.riding == riding if each.operation in own else each.riding is None)]


def operations(snapshot: Snapshot, chassis: str) -> set[str]:
    """Every operation that the catalogue gives an interval for."""
    present(snapshot, Chassis, chassis)
    return {each.operation for each in snapshot.where(Interval, "chassis", chassis)}


def label(
    snapshot: Snapshot, chassis: str, parameters: Mapping[str, Any], *, fluids: Sequence[Mapping[str, Any]],
    pressure: str | None,
    last: str | None,
) -> list[str]:  # fmt: skip
    """The lines of the label for the leg: what is in the fork, and the limits the catalogue gives for just that.

    `pressure` and `last` (the last job) as they are to stand there. No serial: it stands on the fork.
    """
    context = load_chassis(snapshot, chassis)
    found: Sheet | None
    try:
        found = gather(snapshot, chassis, given_of(parameters))
    except Invalid:
        found = None  # built as nobody lists it: no limit can be named
    fit = found.fits[0].statement if found is not None and len(found.fits) == 1 and found.fits[0].surely else None
    spring = snapshot.one(Spring, parameters["spring"]) if "spring" in parameters else None
    travel = length(float(parameters["travel"]), AS_PUBLISHED)["text"] if "travel" in parameters else BLANK
    lines = [f"{context.chassis.name}, {travel} of travel"]
    part = f", {spring.part_number}" if spring is not None and spring.part_number is not None else ""
    lines.append(f"Spring: {BLANK if spring is None else spring.name}{part}")
    if spring is None or spring.kind == "air":
        limit = BLANK if fit is None or fit.spacer_limit is None else str(fit.spacer_limit)
        lines.append(f"Volume spacers: {parameters.get('spacers', BLANK)}, at most {limit}")
        most = None
        if fit is not None:
            most = figure(fit, "pressure", "pressure_limit", fit.pressure_unit, AS_PUBLISHED, role="maximum")
        if fit is not None and most is None and spring is not None:
            most = figure(spring, "pressure", "pressure_limit", spring.pressure_unit, AS_PUBLISHED, role="maximum")
        lines.append(f"Pressure: {pressure or BLANK}, at most {BLANK if most is None else most['text']}")
    names = snapshot.many(Fluid, {each["fluid"] for each in fluids})
    for each in fluids:
        name = names[each["fluid"]].name if each["fluid"] in names else each["fluid"]
        lines.append(f"{each['chamber'][:1].upper()}{each['chamber'][1:]}: {name}")
    return [*lines, f"Last: {last or BLANK}", f"Catalogue revision {snapshot.revision}"]
