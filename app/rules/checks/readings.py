"""Readings compared with the fork they were taken on: travel, state, spacers and the fitted spring."""

from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import (
    Fit,
    Reading,
)
from app.rules.checks.envelope import FORM
from app.rules.checks.fitting import possible_springs
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule

MEASURED_MM = 5.0  # a measured travel may exceed the printed one by this much; common practice, no source
READ_STATES: dict[str, tuple[float, float]] = {"extended": (0.0, 0.12), "at sag": (0.02, 0.65), "full travel": (0.8, 9)}


@rule(
    "reading-beyond-travel",
    shape="family",
    tables=(Reading,),
    beside=(Fit,),
    silenced_by=(*FORM, "reading-implausible", "spring-not-of-chassis", "travel-outside-chassis"),
    passes=edit("readings", "reading-full", at_travel_mm="155"),
    fails=edit("readings", "reading-full", at_travel_mm="156"),
)
def reading_beyond_travel(family: Family, today: date) -> Iterator[Violation]:
    """A reading was taken further into the travel than the fork can go.

    The ring on the stanchion cannot be pushed further than the fork moves. The travel or the reading belongs to another
    fork.

    Fix: check the reading against your notes, and name the spring that was fitted.
    """
    for row in family.of(Reading):
        greatest = _travel(family, row)
        if row.at_travel_mm is not None and greatest is not None and row.at_travel_mm > greatest + MEASURED_MM:
            yield Violation(row, "at_travel_mm", f"at {row.at_travel_mm} mm, but the fork has only {greatest:g} mm")


def _travel(family: Family, row: Reading) -> float | None:
    fits = family.fits_of_chassis.get(row.chassis, [])
    travels = [fit.travel_mm for fit in fits if row.spring in (None, fit.spring)]
    known = max(travels, default=None)
    return family.chassis[row.chassis].travel_max_mm if known is None else known


@rule(
    "reading-unlike-its-state",
    shape="family",
    nature="implausible",
    tables=(Reading,),
    beside=(Fit,),
    silenced_by=(
        *FORM,
        "reading-implausible",
        "reading-beyond-travel",
        "spring-not-of-chassis",
        "pressure-unlike-load",
    ),
    passes=edit("readings", "reading-full", at_travel_mm="121"),
    fails=edit("readings", "reading-full", at_travel_mm="110"),
)
def reading_unlike_its_state(family: Family, today: date) -> Iterator[Violation]:
    """A fork read at full travel was far from it, or one read at full extension was compressed.

    The state or the travel was copied from another line of the notes. The limits are common practice.

    Fix: check both against your notes.
    """
    for row in family.of(Reading):
        shares = READ_STATES.get(row.state or "")
        travel = _travel(family, row)
        if shares is None or travel is None or travel <= 0 or row.at_travel_mm is None:
            continue
        share = float(row.at_travel_mm) / travel
        if not shares[0] <= share <= shares[1]:
            yield Violation(row, "at_travel_mm", f"{row.state} at {row.at_travel_mm} mm, {share:.0%} of the travel")


@rule(
    "reading-spacers-above-limit",
    shape="family",
    nature="implausible",
    tables=(Reading,),
    beside=(Fit,),
    silenced_by=(*FORM, "spring-not-of-chassis"),
    passes=edit("readings", "reading-full", spacers="4"),
    fails=edit("readings", "reading-full", spacers="5"),
)
def reading_spacers_above_limit(family: Family, today: date) -> Iterator[Violation]:
    """A fork was read with more volume spacers than its fit allows, or with some in a fork with a coil.

    The number belongs to another fork, or the fork was measured in a set-up that nobody should ride.

    Fix: check the number against your notes; if it is right, copy the words into as_printed.
    """
    for row in family.of(Reading):
        fits = [fit for fit in family.fits_of_chassis.get(row.chassis, []) if row.spring in (None, fit.spring)]
        limits = [fit.spacer_limit for fit in fits]
        springs = possible_springs(family, row)
        coils = bool(springs) and all(spring.kind == "coil" for spring in springs)
        if row.spacers and coils:
            yield Violation(row, "spacers", f"{row.spacers} spacers, but the spring is a coil")
        elif row.spacers is not None and limits and None not in limits:
            most = max(limit for limit in limits if limit is not None)
            if row.spacers > most:
                yield Violation(row, "spacers", f"{row.spacers} spacers, at most {most} are allowed")


@rule(
    "reading-for-another-spring",
    shape="family",
    tables=(Reading,),
    beside=(Fit,),
    silenced_by=(*FORM, "spring-not-of-chassis"),
    passes=edit("readings", "reading-coil", chassis="fork-a", spring="spring-coil", state="at sag", at_travel_mm="30",
                rider_mass="75", mass_unit="kg", source="bench-a"),
    fails=edit("readings", "reading-coil", chassis="fork-a", spring="spring-coil", state="at sag", at_travel_mm="30",
               pressure="70", pressure_unit="psi", source="bench-a"),
)  # fmt: skip
def reading_for_another_spring(family: Family, today: date) -> Iterator[Violation]:
    """A pressure was read on a coil.

    A coil holds no air. Another spring was fitted.

    Fix: name the spring that was fitted.
    """
    for row in family.of(Reading):
        springs = possible_springs(family, row)
        if row.pressure is not None and springs and all(spring.kind == "coil" for spring in springs):
            yield Violation(row, "pressure", f"{row.pressure} {row.pressure_unit}, but {springs[0].id} is a coil")
