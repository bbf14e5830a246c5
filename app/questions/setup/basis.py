"""The start pressure on each basis that is possible, best first; the first is the answer, all are shown.

published, measured from two sags, measured from one force, measured geometry, computed. Volumes are never fitted to a
guide, guides never scaled. Where a basis is not possible for want of something, that is a gap.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from itertools import combinations

from app.catalogue.tables import Guide
from app.errors import Invalid
from app.physics.air_spring import AirSpring, coefficient_m2, spacers_held
from app.physics.band import SPREADS, Setup, Spreads, start_pressure_band
from app.physics.load import UNSPRUNG_FRONT_KG
from app.physics.roots import bracketed_root
from app.questions.answers.gap import Gap
from app.questions.setup import spring_geometry
from app.questions.setup.estimate import StartPressureEstimate, gap, tier_of
from app.questions.setup.inputs import SetupInputs, for_air, same_sag
from app.questions.setup.parameters import si_of
from app.questions.setup.readings import listed_triple, one_force, own_triple, two_sags
from app.questions.setup.spring_geometry import SpringGeometry
from app.questions.setup.views import Basis

THREE_READINGS = (
    "Three readings of the gauge find the volumes: empty the fork, cycle it with the valve open, fill it without "
    "moving it and read; cycle it slowly and read; hold it compressed and read."
)


def tiers(ground: SetupInputs) -> tuple[list[StartPressureEstimate], list[Gap]]:
    """Every basis that is possible, best first, and what stands in the way of the others."""
    found: list[StartPressureEstimate] = []
    gaps: list[Gap] = []
    for basis in (_published, two_sags, one_force, _geometry_measured, _computed):
        try:
            for each in basis(ground):
                if isinstance(each, StartPressureEstimate):
                    found.append(each)
                else:
                    gaps.append(each)
        except ValueError as impossible:
            gaps.append(gap("start-pressure", "the readings or sizes do not go together", str(impossible)))
    if any(each.geometry is not None for each in found):
        gaps = [each for each in gaps if each["what"] != "geometry"]
    return found, gaps


def _published(ground: SetupInputs) -> Iterator[StartPressureEstimate | Gap]:
    rows = [each for each in ground.guides.sure if for_air(each.statement) and same_sag(each.statement, ground.target)]
    if any(for_air(each.statement) for each in ground.guides.maybe):
        yield gap(
            "rider-mass-without-gear", "the guide goes by the rider without gear",
            "Two rows of the guide may be meant. Weigh the rider without gear and read the row of that mass.",
        )  # fmt: skip
    why_not = _not_as_published(ground)
    if why_not is not None:
        yield gap("published", "a maker's figure comes before a computed one", why_not)
    if why_not is not None or len(rows) != 1 or not rows[0].surely:
        return
    guide = rows[0].statement
    low, value, high = published_range(guide)
    text = "As the guide states it for this rider, unscaled."
    if guide.sag_percent is None:
        text += " The guide does not say which sag it gives."
    yield StartPressureEstimate("published", value, low, high, text, statements=(guide.id,), guide=guide)


def _not_as_published(ground: SetupInputs) -> str | None:
    """Why the guide's rows for this rider are not for what was asked, or None."""
    listed = [each.statement for each in ground.guides.sure if for_air(each.statement)]
    if listed and not any(same_sag(guide, ground.target) for guide in listed):
        return f"The guide is not for {ground.target.percent:.3g} % sag, and guides are not scaled."
    if listed and ground.asked.spacers is not None and ground.asked.spacers != ground.fit.spacers_fitted:
        return "The guide is taken to be for the spacers from the factory, and guides are not scaled."
    return None


def published_range(guide: Guide) -> tuple[float, float, float]:
    """(least, value, greatest) gauge pressure of a guide row in Pa: its limits, else half a unit of its last digit."""
    if guide.pressure_unit is None:
        raise ValueError("A guide row without a unit gives no pressure.")
    values = [guide.pressure_min, guide.pressure, guide.pressure_max]
    low, value, high = (None if each is None else si_of("pressure", each, guide.pressure_unit) for each in values)
    half = 0.0
    if guide.pressure is not None:
        exponent = guide.pressure.as_tuple().exponent
        digit = Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)
        half = si_of("pressure", digit, guide.pressure_unit) / 2
    if value is None:
        ends = [each for each in (low, high) if each is not None]
        value = sum(ends) / len(ends)
    return (value - half if low is None else low), value, (value + half if high is None else high)


def _geometry_measured(ground: SetupInputs) -> Iterator[StartPressureEstimate | Gap]:
    triple = own_triple(ground) or listed_triple(ground)
    if triple is None or ground.spacers is None or spring_geometry.not_modelled(ground.spring):
        return
    geometry = spring_geometry.measured(
        triple, ground.spring, ground.fit, ground.spacer, ground.spacers, ground.ambient_pa
    )
    yield from _of_geometry("measured geometry", geometry, ground, triple.statements)


def _computed(ground: SetupInputs) -> Iterator[StartPressureEstimate | Gap]:
    why_not = spring_geometry.not_modelled(ground.spring)
    if why_not is not None:
        yield gap("geometry", "the start pressure and the curve are computed from it", f"Not computed: {why_not}.")
        return
    lacking = spring_geometry.missing(ground.spring, ground.fit)
    if lacking:
        text = f"The catalogue does not say {', '.join(lacking)}. {THREE_READINGS}"
        yield gap("geometry", "the start pressure and the curve are computed from it", text)
        return
    if ground.spacers is None:
        return
    volume_m3 = spring_geometry.spacer_volume_m3(ground.spacer)
    if ground.spacers and volume_m3 is None:
        yield gap("spacer-volume", "spacers take room from the air", "Measure what one volume spacer displaces.")
        return
    if volume_m3 is not None and ground.spring.end_volume_ml is not None and ground.asked.spacers is not None:
        surely = 1 - SPREADS[ground.spring.geometry_basis or "estimated"].end_volume_share
        context = spacers_held(float(ground.spring.end_volume_ml) * 1e-6 * surely, volume_m3)
        if ground.asked.spacers > context:
            said = f"spacers is 0 to {context}: more fill the chamber"
            raise Invalid.one("out-of-range", said, parameter="spacers", suggestion=str(context))
    geometry = spring_geometry.stated(ground.spring, ground.fit, ground.spacer, ground.spacers)
    yield from _of_geometry("computed", geometry, ground, ())


def _of_geometry(
    basis: Basis, geometry: SpringGeometry, ground: SetupInputs, statements: tuple[str, ...]
) -> Iterator[StartPressureEstimate | Gap]:
    if ground.load_n is None or ground.asked.rider_kg is None:
        return
    check_sag(geometry.air, ground)
    asked = ground.asked
    setup = Setup(
        geometry.air, ground.target.sag_m, asked.rider_kg or 0.0, asked.bike_kg.value, asked.front_share.value,
        UNSPRUNG_FRONT_KG, asked.head_angle_rad.value, ground.ambient_pa,
    )  # fmt: skip
    band = start_pressure_band(setup, spreads_of(geometry.spreads, ground))
    if not band.value > 0:
        yield gap("start-pressure", "less than no pressure cannot be filled", "The load is too small for this spring.")
        return
    how = {"measured geometry": "three gauge readings found", "computed": f"are {geometry.known}"}[basis]
    text = f"From the load, the sag and the spring's volumes, which {how}."
    yield replace(tier_of(basis, band, text, statements), geometry=geometry)


def spreads_of(spreads: Spreads, ground: SetupInputs) -> Spreads:
    """The spreads of a geometry with what this rider knows better or worse than usual."""
    asked = ground.asked
    return replace(
        spreads,
        front_share=asked.front_share.half_width,
        bike_kg=asked.bike_kg.half_width,
        head_angle_rad=asked.head_angle_rad.half_width,
        friction_n=asked.friction_n,
    )


def check_sag(air: AirSpring, ground: SetupInputs) -> None:
    """Invalid, naming the permitted range, for a sag above the point where the fork rests unloaded at any pressure;
    ValueError where nobody asked for that sag."""
    if coefficient_m2(air, ground.target.sag_m) > 0:
        return
    least = bracketed_root(lambda share: coefficient_m2(air, share * air.travel_m), 0.0, 1.0) * ground.fit.travel_mm
    text = f"sag is more than {least:.1f} mm here: the negative chamber draws this fork in that far at any pressure"
    if ground.target.wanted_by != "asked":
        raise ValueError(text)
    nearest = math.ceil(least + 1)
    raise Invalid.one("out-of-range", text, parameter="sag", suggestion=f"{nearest}mm")


def disagreeing(found: list[StartPressureEstimate]) -> bool:
    """Whether two of the bases lie apart beyond their bands. A guide that states no sag cannot be compared."""
    compared = [each for each in found if each.guide is None or each.guide.sag_percent is not None]
    return any(a.high_pa < b.low_pa or b.high_pa < a.low_pa for a, b in combinations(compared, 2))
