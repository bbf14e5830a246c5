"""The start pressure on each possible basis, best first; the first is the headline, all are shown.

The order: given, published, measured from two sags, measured from one sag, measured from one force, measured geometry,
computed. Volumes are never fitted to a guide, guides never scaled. Missing input for a basis is a gap.
"""

import math
from collections.abc import Callable, Iterator
from itertools import combinations

from app.catalogue.tables import Guide
from app.errors import Invalid
from app.physics.air_spring import AirSpring, balance_m, spacers_held
from app.physics.band import SPREADS
from app.physics.stroke import start_pressure
from app.questions.answers.gap import Gap
from app.questions.setup import spring_geometry
from app.questions.setup.estimate import StartPressureEstimate, estimate_of, gap
from app.questions.setup.inputs import SetupInputs, for_air, guide_rows, same_sag, stated_sag
from app.questions.setup.parameters import si, si_of
from app.questions.setup.readings import listed_triple, one_force, one_sag, own_triple, two_sags
from app.questions.setup.spring_geometry import SpringGeometry
from app.questions.setup.views import Basis
from app.units.convert import half_last_digit
from app.units.quantity import figure_to_set

THREE_READINGS = (
    "Three readings of the gauge find the volumes: empty the fork, cycle it with the valve open, fill it without "
    "moving it and read; cycle it slowly and read; hold it compressed and read."
)
Estimates = Iterator[StartPressureEstimate | Gap]


def estimates(ground: SetupInputs) -> tuple[list[StartPressureEstimate], list[Gap]]:
    """Every possible basis, best first, and the gaps of the others.

    A pressure that is too uncertain for the headline goes to the end, with a gap that says to read again.
    """
    found: list[StartPressureEstimate] = []
    gaps: list[Gap] = []
    bases: tuple[Callable[[SetupInputs], Estimates], ...] = (
        _given, _published, two_sags, one_sag, one_force, _geometry_measured, _computed,
    )  # fmt: skip
    for basis in bases:
        try:
            for each in basis(ground):
                if isinstance(each, StartPressureEstimate):
                    found.append(each)
                else:
                    gaps.append(each)
        except ValueError as impossible:
            gaps.append(gap("start-pressure", "the readings or sizes contradict each other", str(impossible)))
    if any(each.read_again for each in found):
        gaps.append(gap("read-again", "the readings are too uncertain", READ_AGAIN))
    return [each for each in found if not each.read_again] + [each for each in found if each.read_again], gaps


READ_AGAIN = (
    "Read again, a tenth apart: the second pressure a tenth above the first. The mean of six readings, three "
    "settling down and three coming up, is good to 1 mm."
)


def _given(ground: SetupInputs) -> Estimates:
    given = ground.asked.pressure
    if given is not None:
        text = "As given in `pressure`: the spring's behaviour at this pressure."
        pressure_pa = si(given)
        yield StartPressureEstimate("given", pressure_pa, pressure_pa, pressure_pa, text, given=given)


def _published(ground: SetupInputs) -> Estimates:
    rows = guide_rows(ground.guides, ground.target)
    if any(for_air(each.statement) for each in ground.guides.maybe):
        yield gap(
            "rider-mass-without-gear", "the guide goes by the rider without gear",
            "Either of two rows of the guide may apply. Weigh the rider without gear and use the row for that mass.",
        )  # fmt: skip
    why_not = _not_as_published(ground)
    if why_not is not None:
        yield gap("published", "a maker's figure takes precedence over a computed one", why_not)
    if why_not is not None or len(rows) != 1:
        return
    low, value, high = published_range(rows[0])
    added = ground.added.get(rows[0].id, [])
    text = "As stated in the guide for this rider, unscaled."
    if added:
        text += f" Added to it: {' and '.join(row.condition for row in added)}."
    if rows[0].rider_mass_from is not None and rows[0].rider_mass_to is None:
        text += " It is the guide's last line, which has no upper end."
    if stated_sag(rows[0]) is None:
        text += " The guide does not say what sag this gives."
    statements = (rows[0].id, *(row.id for row in added))
    yield StartPressureEstimate("published", value, low, high, text, statements=statements, guide=rows[0])


def _not_as_published(ground: SetupInputs) -> str | None:
    """Why the guide's rows for this rider do not apply here, or None."""
    listed = [each.statement for each in ground.guides.sure if for_air(each.statement)]
    if listed and not any(same_sag(guide, ground.target) for guide in listed):
        return f"The guide is not for {ground.target.percent:.3g} % sag, and guides are not scaled."
    if listed and ground.asked.spacers is not None and ground.asked.spacers != ground.fit.spacers_fitted:
        return "The guide is assumed to be for the factory spacers, and guides are not scaled."
    return None


def published_range(guide: Guide) -> tuple[float, float, float]:
    """(lowest, value, highest) gauge pressure of a guide row in Pa: its limits, else half a unit of its last digit."""
    if guide.pressure_unit is None:
        raise ValueError("A guide row without a unit gives no pressure.")
    unit = guide.pressure_unit
    ends = (guide.pressure_min, guide.pressure_max)
    value = si_of("pressure", figure_to_set(guide.pressure, *ends), unit)
    low, high = (None if each is None else si_of("pressure", each, unit) for each in ends)
    half = 0.0 if guide.pressure is None else si_of("pressure", half_last_digit(guide.pressure), unit)
    return (value - half if low is None else low), value, (value + half if high is None else high)


def geometries(ground: SetupInputs) -> tuple[tuple[SpringGeometry, ...], list[Gap]]:
    """The best-known spring that can be computed, and what is missing if there is none.

    If the number of spacers is unknown, the spring has none: its cases then cover every number.
    """
    why_not = spring_geometry.not_modelled(ground.spring, ground.chambers)
    if why_not is not None:
        return (), [
            gap("geometry", "the start pressure and the curve are computed from it", f"Not computed: {why_not}.")
        ]
    found: list[SpringGeometry] = []
    gaps: list[Gap] = []
    try:
        found += _measured(ground)
    except ValueError as impossible:
        gaps.append(gap("start-pressure", "the readings or sizes contradict each other", str(impossible)))
    lacking = spring_geometry.missing(ground.spring, ground.fit)
    if not lacking:
        try:
            found += _stated(ground, gaps)
        except ValueError as impossible:
            gaps.append(gap("start-pressure", "the readings or sizes contradict each other", str(impossible)))
    elif not found:
        text = f"The catalogue does not give {', '.join(lacking)}. {THREE_READINGS}"
        gaps.append(gap("geometry", "the start pressure and the curve are computed from it", text))
    return tuple(found), gaps


def _measured(ground: SetupInputs) -> Iterator[SpringGeometry]:
    triple = own_triple(ground) or listed_triple(ground)
    if triple is None or ground.spacers is None or ground.spring.negative == "own valve":
        return
    yield spring_geometry.measured(triple, ground.spring, ground.fit, ground.spacer, ground.spacers, ground.ambient_pa)


def _stated(ground: SetupInputs, gaps: list[Gap]) -> Iterator[SpringGeometry]:
    volume_m3 = spring_geometry.spacer_volume_m3(ground.spacer)
    if ground.spacers and volume_m3 is None:
        gaps.append(
            gap(
                "spacer-volume",
                "spacers reduce the air volume",
                ("Measure the volume that one volume spacer displaces."),
            )
        )
        return
    if volume_m3 is not None and ground.spring.end_volume_ml is not None and ground.asked.spacers is not None:
        surely = 1 - SPREADS[ground.spring.geometry_basis or "estimated"].end_volume_share
        most_spacers = spacers_held(float(ground.spring.end_volume_ml) * 1e-6 * surely, volume_m3)
        if ground.asked.spacers > most_spacers:
            text = f"spacers must be 0 to {most_spacers}: more would fill the chamber"
            raise Invalid.one("out-of-range", text, parameter="spacers", suggestion=str(most_spacers))
    yield spring_geometry.stated(ground.spring, ground.fit, ground.spacer, ground.spacers or 0)


def _geometry_measured(ground: SetupInputs) -> Estimates:
    for geometry in ground.geometries:
        if geometry.statements is not None:
            yield from _of_geometry("measured geometry", geometry, ground, geometry.statements)


def _computed(ground: SetupInputs) -> Estimates:
    for geometry in ground.geometries:
        if geometry.statements is None:
            yield from _of_geometry("computed", geometry, ground, ())


def _of_geometry(basis: Basis, geometry: SpringGeometry, ground: SetupInputs, statements: tuple[str, ...]) -> Estimates:
    if ground.pushed is None or ground.spacers is None:
        return
    if geometry.air.port_travel_m is None and ground.negative_pa is None:
        return
    check_sag(geometry.air, ground)
    band = start_pressure(
        geometry.air, ground.target.sag_m, ground.pushed, ground.ambient_pa, geometry.spreads, ground.negative_pa
    )
    if not band.value > 0:
        yield gap("start-pressure", "the pressure cannot be below zero", "The load is too small for this spring.")
        return
    how = {"measured geometry": "three gauge readings found", "computed": f"are {geometry.known}"}[basis]
    text = f"From the load, the sag and the spring's volumes, which {how}."
    yield estimate_of(basis, band, text, statements)


def check_sag(air: AirSpring, ground: SetupInputs) -> None:
    """Raises Invalid, naming the permitted range, if the wanted sag is above the point where the fork rests
    unloaded at any pressure; ValueError if the sag is a default.
    """
    if air.port_travel_m is None or ground.target.sag_m > balance_m(air):
        return
    least = balance_m(air) * 1000
    text = (
        f"sag must be more than {least:.1f} mm here: the negative chamber pulls this fork in that far at any pressure"
    )
    if ground.target.wanted_by != "asked":
        raise ValueError(text)
    nearest = math.ceil(least + 1)
    raise Invalid.one("out-of-range", text, parameter="sag", suggestion=f"{nearest}mm")


def disagreeing(found: list[StartPressureEstimate]) -> bool:
    """Whether two of the bases differ by more than their bands.

    A guide without a sag cannot be compared, nor can a pressure that was given.
    """
    compared = [
        each for each in found if each.given is None and (each.guide is None or stated_sag(each.guide) is not None)
    ]
    return any(a.high_pa < b.low_pa or b.high_pa < a.low_pa for a, b in combinations(compared, 2))
