"""Relations between the air chambers of a spring: valves, order of filling, maxima, pressures that depend on others."""

from collections.abc import Iterable, Iterator
from datetime import date
from fractions import Fraction

from app.catalogue.agreement import pascals
from app.catalogue.tables import Fit, Guide, Spring, SpringChamber, is_row_of
from app.rules.checks.envelope import FORM
from app.rules.checks.fitting import possible_springs
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import EntityView, RowView

FILLED = ("port", "own valve")
"""How a negative chamber of air is filled; anything else is no chamber of air."""


@rule(
    "chamber-relative-to-itself",
    shape="row",
    tables=(SpringChamber,),
    silenced_by=FORM,
    reads=("chamber", "relative_to"),
    passes=edit("chambers", "dual-second", relative_to="negative"),
    fails=edit("chambers", "dual-second", relative_to="second positive"),
)
def chamber_relative_to_itself(view: RowView, today: date) -> Iterator[Violation]:
    """The pressure of a chamber is given relative to its own pressure.

    No pressure follows from that. Another chamber was meant.

    Fix: name the chamber that the page compares it with.
    """
    if view.row["relative_to"] == view.row["chamber"]:
        yield Violation(view.row, "relative_to", f"the {view.row['chamber']} chamber is relative to itself")


@rule(
    "chamber-related-twice",
    shape="row",
    tables=(SpringChamber,),
    silenced_by=FORM,
    reads=("offset", "factor_min"),
    passes=edit("chambers", "dual-second", factor_min="1.5"),
    fails=edit("chambers", "dual-second", offset="10"),
)
def chamber_related_twice(view: RowView, today: date) -> Iterator[Violation]:
    """A chamber is so much above another one, and also at least so many times it.

    At most pressures of the other chamber the two give different pressures, and only one of them can be filled.

    Fix: enter the one that the page states for this spring, and clear the other.
    """
    offset, factor = view.row["offset"], view.row["factor_min"]
    if offset is not None and factor is not None:
        yield Violation(view.row, "factor_min", f"at least {factor} times, but also {offset} {view.row['unit']} above")


@rule(
    "chamber-of-a-coil",
    shape="entity",
    tables=(Spring,),
    passes=edit("chambers", "dual-second", valve=""),
    fails=edit("chambers", "coil-positive", spring="spring-coil", chamber="positive", valve="own valve"),
)
def chamber_of_a_coil(view: EntityView, today: date) -> Iterator[Violation]:
    """An air chamber is listed for a coil spring.

    A coil holds no air, so a mechanic would look for a valve that is not there.

    Fix: name the air spring that the line is about, or correct the kind of the spring.
    """
    for chamber in view.chambers:
        if view.row["kind"] == "coil":
            yield Violation(chamber, "spring", f"{view.row.id} is a coil", view.row, mutual=True)


@rule(
    "negative-unlike-chamber",
    shape="entity",
    tables=(Spring,),
    silenced_by=("chamber-of-a-coil",),
    passes=edit("chambers", "dual-negative", valve=""),
    fails=edit("springs", "spring-dual", negative="none"),
)
def negative_unlike_chamber(view: EntityView, today: date) -> Iterator[Violation]:
    """A spring says that its negative chamber is filled in one way, and the list of its chambers says another.

    Set-up and job card would follow one of them: a chamber would stay full of air, or its valve would be looked for
    in vain.

    Fix: check the spring against the page, and make `negative` of the spring and `valve` of the chamber agree.
    """
    stated = view.row["negative"]
    for chamber in view.chambers:
        if chamber.chamber != "negative":
            continue
        if stated is not None and stated not in FILLED:
            text = f"the negative chamber is listed, but {view.row.id} says {stated}"
            yield Violation(chamber, "chamber", text, view.row, mutual=True)
        elif chamber.valve is not None and chamber.valve != stated:
            text = f"{chamber.valve}, but {view.row.id} says {stated or 'nothing'}"
            yield Violation(chamber, "valve", text, view.row, mutual=True)


@rule(
    "chamber-order-twice",
    shape="entity",
    tables=(Spring,),
    passes=edit("chambers", "dual-second", order="4"),
    fails=edit("chambers", "dual-second", order="2"),
)
def chamber_order_twice(view: EntityView, today: date) -> Iterator[Violation]:
    """Two chambers of one spring have the same place in the order of filling.

    Filling one chamber moves the piston of the other, so the order decides how much air each holds.

    Fix: give each chamber its own number, in the order of the page.
    """
    first: dict[int, SpringChamber] = {}
    for chamber in view.chambers:
        if chamber.order is not None and (other := first.setdefault(chamber.order, chamber)) is not chamber:
            text = f"the {other.chamber} chamber is also number {chamber.order}"
            yield Violation(chamber, "order", text, other, mutual=True)


@rule(
    "chamber-relative-to-nothing",
    shape="entity",
    tables=(Spring,),
    passes=edit("chambers", "dual-second", relative_to="negative"),
    fails=edit("chambers", "dual-positive", relative_to="negative", offset="5"),
)
def chamber_relative_to_nothing(view: EntityView, today: date) -> Iterator[Violation]:
    """The pressure of a chamber depends on a chamber that the spring does not have, or on one that depends on it.

    No pressure follows from that, so the set-up could not give one.

    Fix: name a chamber of this spring whose own pressure the page states, or list that chamber.
    """
    related = {chamber.chamber: chamber.relative_to for chamber in view.chambers}
    has = {"positive", *related} | ({"negative"} if view.row["negative"] in FILLED else set())
    for chamber in view.chambers:
        wanted, seen = chamber.relative_to, [chamber.chamber]
        if wanted == chamber.chamber:
            continue  # the row itself shows that
        while wanted is not None and wanted in has and wanted not in seen:
            seen.append(wanted)
            wanted = related.get(wanted)
        if wanted is not None:
            text = f"{view.row.id} has no {wanted} chamber"
            if wanted in has:
                text = f"the {' chamber depends on the '.join([*seen, wanted])} chamber"
            yield Violation(chamber, "relative_to", text)


@rule(
    "chamber-maximum-above-spring",
    shape="entity",
    tables=(Spring,),
    silenced_by=("pressure-implausible",),
    passes=edit("springs", "spring-dual", pressure_limit="180"),
    fails=edit("springs", "spring-dual", pressure_limit="179"),
)
def chamber_maximum_above_spring(view: EntityView, today: date) -> Iterator[Violation]:
    """A chamber may be filled higher than the spring it belongs to.

    The limit of the spring is for the whole assembly, so it holds for each chamber.

    Fix: check both limits and their units against the pages. If the page gives one limit for each chamber, enter them
    with the chambers, and only the highest, or none, with the spring.
    """
    spring = view.row
    assert is_row_of(spring, Spring)
    allowed = pascals(spring.pressure_limit, spring.pressure_unit)
    for chamber in view.chambers:
        stated = pascals(chamber.maximum, chamber.unit)
        if allowed is not None and stated is not None and stated > allowed:
            text = f"{chamber.maximum} {chamber.unit}; {spring.id} is limited to {spring.pressure_limit} "
            yield Violation(chamber, "maximum", text + f"{spring.pressure_unit}", spring, mutual=True)


@rule(
    "pressure-above-chamber",
    shape="family",
    tables=(Guide,),
    beside=(Fit,),
    silenced_by=(*FORM, "pressure-implausible", "guide-pressure-above-limit", "spring-not-of-chassis"),
    passes=edit("guides", "guide-dual", pressure="120"),
    fails=edit("chambers", "dual-negative", maximum="89"),
)
def pressure_above_chamber(family: Family, today: date) -> Iterator[Violation]:
    """A set-up guide gives a chamber more pressure than its maximum, or leads to more in a chamber that depends on it.

    If you follow the guide, you exceed the limit of the chamber.

    Fix: check the pressure, the maximum, the offset or factor, and their units against the pages.
    """
    for row in family.of(Guide):
        springs = possible_springs(family, row)
        found = [_exceeded(row, family.chambers.get(spring.id, ())) for spring in springs]
        if found and (first := found[0]) is not None and None not in found:
            chamber, filled = first
            name = "pressure_max" if row.pressure_max is not None else "pressure"
            least = "at least " if chamber.factor_min is not None and chamber.chamber != _chamber_of(row) else ""
            text = f"the {chamber.chamber} chamber would hold {least}{float(filled) / 1000:.0f} kPa; its maximum is "
            yield Violation(row, name, text + f"{chamber.maximum} {chamber.unit}", chamber)


def _chamber_of(guide: Guide) -> str:
    return guide.chamber or "positive"


def _exceeded(guide: Guide, chambers: Iterable[SpringChamber]) -> tuple[SpringChamber, Fraction] | None:
    """The first chamber that a guide fills beyond its maximum, directly or by its relation, with that pressure."""
    figures = (pascals(each, guide.pressure_unit) for each in (guide.pressure_max, guide.pressure))
    stated = next((each for each in figures if each is not None), None)
    for chamber in chambers:
        most = pascals(chamber.maximum, chamber.unit)
        filled = stated if chamber.chamber == _chamber_of(guide) else None
        if chamber.relative_to == _chamber_of(guide) and stated is not None:
            offset = pascals(chamber.offset, chamber.unit)
            filled = stated + offset if offset is not None else None
            filled = stated * Fraction(chamber.factor_min) if chamber.factor_min is not None else filled
        if filled is not None and most is not None and filled > most:
            return chamber, filled
    return None


@rule(
    "second-positive-missing",
    shape="family",
    tables=(Guide,),
    beside=(Fit,),
    silenced_by=(*FORM, "spring-not-of-chassis", "guide-for-another-spring"),
    passes=edit("guides", "guide-second", chassis="fork-a", spring="spring-dual", chamber="second positive",
                rider_mass_from="70", rider_mass_to="80", mass_unit="kg", pressure="120", pressure_unit="psi",
                source="manual-a", page="12"),
    fails=edit("guides", "guide-second", chassis="fork-a", spring="spring-150", chamber="second positive",
               rider_mass_from="70", rider_mass_to="80", mass_unit="kg", pressure="120", pressure_unit="psi",
               source="manual-a", page="12"),
)  # fmt: skip
def second_positive_missing(family: Family, today: date) -> Iterator[Violation]:
    """A guide gives a pressure for a second positive chamber, but no spring it can apply to lists one.

    The set-up could not show the pressure, and the job card would not name the valve.

    Fix: list the second positive chamber of the spring, or correct the chamber or the spring of the line.
    """
    for row in family.of(Guide):
        if row.chamber != "second positive":
            continue
        springs = possible_springs(family, row)
        listed = [each.chamber == row.chamber for spring in springs for each in family.chambers.get(spring.id, ())]
        if springs and not any(listed):
            yield Violation(row, "chamber", f"{springs[0].id} lists no second positive chamber", springs[0])
