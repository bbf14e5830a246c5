"""Figures that hardly any fork has: a warning to take a second look at the page, never a refusal."""

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date
from functools import lru_cache

from app.catalogue.tables import Chassis, Fastener, Fill, Fit, Row, Torque, is_row_of
from app.rules.bands import GREATEST, SMALL_BRAKE, SMALL_CAP, SOFT, Bounds, first_known, torque_band
from app.rules.checks.envelope import FORM
from app.rules.checks.slips import BEYOND
from app.rules.family import NOMINAL, Family
from app.rules.registry import Violation, edit, rule
from app.rules.threads import thread_of
from app.rules.view import RowView

# The range of nearly all forks, in N·m; the first word found in the position counts. Common practice.
USUAL_TORQUE: tuple[tuple[str, Bounds], ...] = (
    ("spacer", Bounds(1.5, 6)),
    ("foot", Bounds(3.5, 15)),
    ("pinch", Bounds(1.5, 12)),
    ("axle", Bounds(7, 18)),
    ("brake", Bounds(5.5, 10.6)),
    ("crown", Bounds(2.8, 12)),
    ("knob", Bounds(0.4, 1.6)),
    ("seal head", Bounds(10, 42)),
    ("cap", Bounds(10, 42)),
    ("valve core", Bounds(0.2, 0.8)),
)
USUAL_FILL: dict[str, Bounds] = {
    "above the air piston": Bounds(0.8, 8),
    "foam ring": Bounds(0.4, 4),
}  # mL; common practice
LEGS = 2.0  # the oil of one lower leg over that of the other; common practice, no source
TOLD = (*FORM, *BEYOND, "unit-slip", "digit-slip", "unit-unlike-source", "disagree-unrelated", "exception-far-off")
CROWDED = 0.6  # share of a leg's free volume; common practice, no source
LEGS_OF_FORK = ("spring-side lower leg", "damper-side lower leg")


@rule(
    "torque-unusual",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*TOLD, "torque-differs-from-siblings", "torque-differs-from-twin", "torque-above-proof-load"),
    passes=edit("torques", "torque-cap", value="42"),
    fails=edit("torques", "torque-cap", value="42.5"),
)
def torque_unusual(family: Family, today: date) -> Iterator[Violation]:
    """A torque is outside what nearly all forks use at that place.

    It may be right, but more often it belongs to another line, thread or unit. The ranges are common practice.

    Fix: check figure, unit and fastener against the page; if they are printed so, copy the words of the page into
    as_printed.
    """
    for row, fastener, column, torque in family.tightened:
        band = _usual_torque(fastener.position)
        if band is None or band.holds(torque) or family.is_not_last_pass(row):
            continue
        if family.is_small(row.chassis) or _is_small(fastener):
            continue
        yield _beyond(row, column, torque, "N·m", band)


def _is_small(fastener: Fastener) -> bool:
    """True for a fastener that is smaller or softer than others of its place: the bands do not apply to it."""
    thread = None if fastener.thread is None else thread_of(fastener.thread)
    millimetres = None if thread is None else round(thread.diameter_m * 1000, 3)
    unusual = (torque_band(fastener.position, fastener.kind, millimetres, fastener.material), None)
    return unusual[0] in (SMALL_CAP, SOFT, SMALL_BRAKE)


@lru_cache(maxsize=1024)
def _usual_torque(position: str) -> Bounds | None:
    return next((band for word, band in USUAL_TORQUE if word in position), None)


def _beyond(row: Row, column: str, given: float, unit: str, band: Bounds) -> Violation:
    return Violation(row, column, f"{given:.3g} {unit}; most forks have {band.low:g} to {band.high:g} {unit}")


@rule(
    "fill-unusual",
    shape="row",
    severity="warn",
    tables=(Fill,),
    silenced_by=TOLD,
    passes=edit("fills", "fill-foam", chassis="fork-a", chamber="foam ring", fluid="oil-bath", value="4", unit="mL",
                source="manual-a", page="15"),
    fails=edit("fills", "fill-foam", chassis="fork-a", chamber="foam ring", fluid="oil-bath", value="4.1", unit="mL",
               source="manual-a", page="15"),
    reads=("chamber", "value", "min", "max", "unit", "confirmed"),
)  # fmt: skip
def fill_unusual(view: RowView, today: date) -> Iterator[Violation]:
    """A piston or foam ring gets more or less oil than on nearly all forks.

    These places take a few millilitres. It is easy to read the lower leg volume from the next line instead.

    Fix: check volume and chamber against the page; if they are right, set confirmed after a second look.
    """
    row = view.row
    assert is_row_of(row, Fill)
    band = USUAL_FILL.get(row.chamber)
    found = None if band is None or row.confirmed else first_known(row, NOMINAL, "unit", "volume", "mL")
    if band is not None and found is not None and not band.holds(found[1]):
        yield _beyond(row, *found, "mL", band)


@rule(
    "legs-filled-unlike",
    shape="family",
    severity="warn",
    tables=(Fill,),
    silenced_by=(*TOLD, "fill-differs-from-siblings", "fluid-of-another-use", "fluid-differs-from-siblings"),
    passes=edit("fills", "fill-damper-leg-b", chassis="fork-b", chamber="damper-side lower leg", fluid="oil-bath",
                value="20", unit="mL", source="manual-a", page="15"),
    fails=edit("fills", "fill-damper-leg-b", chassis="fork-b", chamber="damper-side lower leg", fluid="oil-bath",
               value="21", unit="mL", source="manual-a", page="15"),
)  # fmt: skip
def legs_filled_unlike(family: Family, today: date) -> Iterator[Violation]:
    """One lower leg takes far more bath oil than the other.

    Both legs have bushings and a wiper of the same size. More than twice as much is the volume of another line.

    Fix: check both volumes against the page; if they are right, set confirmed after a second look.
    """
    legs: dict[tuple[str, str | None], dict[str, list[tuple[float, str, Fill]]]]
    legs = defaultdict(lambda: defaultdict(list))
    for row in family.of(Fill):
        fluid = family.fluids.get(row.fluid or "")
        if row.chamber not in LEGS_OF_FORK or row.confirmed or (fluid is not None and fluid.kind == "damper oil"):
            continue
        found = first_known(row, NOMINAL, "unit", "volume", "mL")
        if found is not None and found[1] > 0:
            legs[row.chassis, row.condition][row.chamber].append((found[1], found[0], row))
    for sides in legs.values():
        if len(sides) == 2:
            yield from _unlike(*sides.values())


def _unlike(here: Sequence[tuple[float, str, Fill]], there: Sequence[tuple[float, str, Fill]]) -> Iterator[Violation]:
    for volume, column, row in here:
        near, _, other = min(there, key=lambda each: (abs(each[0] - volume), each[2].id))
        if max(volume, near) > LEGS * min(volume, near):
            yield Violation(row, column, f"{volume:.3g} mL; the other leg takes {near:.3g} mL", other, mutual=True)


NAMED_BY = Bounds(28, 46)  # stanchion diameters in mm that forks are named after; common practice, no source
TWO_DIGITS = re.compile(r"(?<![0-9])([0-9]{2})(?![0-9])")


@rule(
    "stanchion-unlike-name",
    shape="row",
    severity="warn",
    tables=(Chassis,),
    silenced_by=(*FORM, "dimension-implausible", "bore-wider-than-stanchion"),
    passes=edit("chassis", "fork-b", name="Fork 35"),
    fails=edit("chassis", "fork-b", name="Fork 36"),
)
def stanchion_unlike_name(view: RowView, today: date) -> Iterator[Violation]:
    """A fork is named after another stanchion diameter than the one listed for it.

    Forks are often named after the outside diameter of their stanchions in mm (common practice, no source).

    Fix: check the diameter against the page. The number in the name may also mean something else.
    """
    row = view.row
    assert is_row_of(row, Chassis)
    for text in (row.name, row.id):
        numbers = [
            int(each) for each in TWO_DIGITS.findall(text) if NAMED_BY.holds(int(each)) and not _is_travel(row, each)
        ]
        if len(numbers) == 1 and row.stanchion_diameter_mm is not None:
            if int(row.stanchion_diameter_mm) != numbers[0]:
                yield Violation(
                    row, "stanchion_diameter_mm", f"{row.stanchion_diameter_mm:g} mm, but the name says {numbers[0]}"
                )
            return


def _is_travel(row: Chassis, digits: str) -> bool:
    """True if a number in a name is the travel, or the 29 of a large wheel."""
    low, high = row.travel_min_mm, row.travel_max_mm
    if digits == "29":
        return True
    return low is not None and high is not None and low <= int(digits) <= high


@rule(
    "oil-crowds-leg",
    shape="family",
    severity="warn",
    tables=(Fill,),
    silenced_by=(*TOLD, "oil-above-leg-volume", "fill-differs-from-siblings", "legs-filled-unlike"),
    passes=edit("chassis", "fork-a", leg_free_volume_ml="20"),
    fails=edit("chassis", "fork-a", leg_free_volume_ml="19.9"),
)
def oil_crowds_leg(family: Family, today: date) -> Iterator[Violation]:
    """Bath oil takes up more than three fifths of the room in a lower leg at full compression.

    The air above it would act like a second spring. Usually it takes a tenth to two fifths (common practice).

    Fix: check the volume, its unit and the free volume of the leg against the pages.
    """
    for row in family.of(Fill):
        room = family.chassis[row.chassis].leg_free_volume_ml
        fluid = family.fluids.get(row.fluid or "")
        bath = fluid is not None and fluid.kind == "damper oil"
        if room is None or row.chamber not in LEGS_OF_FORK or row.confirmed or bath:
            continue
        found = first_known(row, GREATEST, "unit", "volume", "mL")
        if found is not None and found[1] > CROWDED * float(room):
            yield Violation(row, found[0], f"{found[1]:.3g} mL of the {room} mL that the leg has room for")


@rule(
    "spacers-fitted-to-the-limit",
    shape="row",
    severity="warn",
    nature="implausible",
    tables=(Fit,),
    silenced_by=(*FORM, "spacers-fitted-above-limit", "spacer-limit-grows-with-travel", "limit-differs-by-wheel"),
    passes=edit("fits", "fit-150", spacers_fitted="3"),
    fails=edit("fits", "fit-160", spacers_fitted="3"),
    reads=("spacers_fitted", "spacer_limit"),
)
def spacers_fitted_to_the_limit(view: RowView, today: date) -> Iterator[Violation]:
    """A fork leaves the factory with all the volume spacers it can have, three or more.

    Makers leave room to add some (common practice, no source). One cell was probably copied into the other.

    Fix: check both counts against the page; if they are printed so, copy the words of the page into as_printed.
    """
    row = view.row
    assert is_row_of(row, Fit)
    fitted = row.spacers_fitted or 0
    if fitted >= 3 and fitted == row.spacer_limit:
        yield Violation(row, "spacers_fitted", f"all {row.spacer_limit} allowed spacers are fitted")
