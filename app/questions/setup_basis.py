"""The start pressure on each basis that is possible, best first; the first is the answer, all are shown.

published, measured from two sags, measured from one force, measured geometry, computed. Volumes are never fitted to a
guide, guides never scaled. Where a basis is not possible for want of something, that is a gap.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from app.catalogue.tables import Guide, Reading
from app.errors import Invalid
from app.physics.air_spring import AirSpring, coefficient_m2, disc_area_m2
from app.physics.band import Band, Setup, Spreads, start_pressure_band
from app.physics.load import UNSPRUNG_FRONT_KG
from app.physics.readings import ReadingSpread, SagReading, mean_force_n, pressure_from_one_force, pressure_from_two_sags
from app.physics.roots import bracketed_root
from app.questions import spring_geometry
from app.questions.gaps import Gap
from app.questions.setup_asked import si_of
from app.questions.setup_ground import Ground, for_air, same_sag
from app.questions.setup_load import load_band
from app.questions.setup_shapes import Basis
from app.questions.spring_geometry import GaugeReading, Geometry, Triple, triple_of

SAME_RIDER_KG = 1.0
SAME_TRAVEL_M = 0.001
LIGHT_LOAD_N = 250.0  # where the rider is not given; only widens the band of two sags. Common practice, no source

TWO_SAGS = (
    "The shortest measurement that closes this: set the sag at two pressures, the second a tenth higher, and give both "
    "as reading=38mm@72psi&reading=33mm@80psi."
)
THREE_READINGS = (
    "Three readings of the gauge find the volumes: empty the fork, cycle it with the valve open, fill it without "
    "moving it and read; cycle it slowly and read; hold it compressed and read."
)


@dataclass(frozen=True, slots=True)
class Tier:
    """A start pressure on one basis, gauge, in Pa, with the range it lies in; `guide` where it is published, `geometry`
    where a spring was computed with."""

    basis: Basis
    gauge_pa: float
    low_pa: float
    high_pa: float
    text: str
    share: float | None = None
    biggest: str | None = None
    statements: tuple[str, ...] = ()
    guide: Guide | None = None
    geometry: Geometry | None = None


def tiers(ground: Ground) -> tuple[list[Tier], list[Gap]]:
    """Every basis that is possible, best first, and what stands in the way of the others."""
    found: list[Tier] = []
    gaps: list[Gap] = []
    for basis in (_published, _two_sags, _one_force, _geometry_measured, _computed):
        try:
            for each in basis(ground):
                if isinstance(each, Tier):
                    found.append(each)
                else:
                    gaps.append(each)
        except ValueError as impossible:
            gaps.append(_gap("start-pressure", "the readings or sizes do not go together", str(impossible)))
    return found, gaps


def _published(ground: Ground) -> Iterator[Tier | Gap]:
    rows = [each for each in ground.guides.sure if for_air(each.statement) and same_sag(each.statement, ground.target)]
    if any(for_air(each.statement) for each in ground.guides.maybe):
        yield _gap(
            "rider-mass-without-gear", "the guide goes by the rider without gear",
            "Two rows of the guide may be meant. Weigh the rider without gear and read the row of that mass.",
        )  # fmt: skip
    other_spacers = ground.asked.spacers is not None and ground.asked.spacers != ground.fit.spacers_fitted
    if len(rows) != 1 or not rows[0].surely or other_spacers:
        return
    guide = rows[0].statement
    low, value, high = published_range(guide)
    text = "As the guide states it for this rider, unscaled."
    if guide.sag_percent is None:
        text += " The guide does not say which sag it gives."
    yield Tier("published", value, low, high, text, statements=(guide.id,), guide=guide)


def published_range(guide: Guide) -> tuple[float, float, float]:
    """(least, value, greatest) gauge pressure of a guide row in Pa: its limits, else half a unit of its last digit."""
    if guide.pressure_unit is None:
        raise ValueError("A guide row without a unit gives no pressure.")
    values = [guide.pressure_min, guide.pressure, guide.pressure_max]
    low, value, high = (None if each is None else si_of("pressure", each, guide.pressure_unit) for each in values)
    half = 0.0
    if guide.pressure is not None:
        exponent = guide.pressure.as_tuple().exponent
        digit = guide.pressure.__class__(1).scaleb(exponent if isinstance(exponent, int) else 0)
        half = si_of("pressure", digit, guide.pressure_unit) / 2
    if value is None:
        ends = [each for each in (low, high) if each is not None]
        value = sum(ends) / len(ends)
    return (value - half if low is None else low), value, (value + half if high is None else high)


def _two_sags(ground: Ground) -> Iterator[Tier | Gap]:
    if ground.spring.negative in ("own valve", "coil"):
        return
    own = [(SagReading(each.travel_m, each.gauge_pa), "") for each in ground.asked.readings if each.travel_m > 0]
    if len(own) >= 2 and _own_triple(ground) is None:
        found, why = _best_pair(own, ground)
        yield found if found is not None else _gap("two-sags", "the readings given cannot be used", why or TWO_SAGS)
        return
    if len(own) == 1:
        yield _gap("second-sag", "one sag does not say how the pressure changes it", TWO_SAGS)
    listed = [
        (SagReading(_travel_m(row), _gauge_pa(row)), row.id) for row in _sags_of_this_rider(ground) if _travel_m(row) > 0
    ]
    if len(listed) >= 2:
        found, _ = _best_pair(listed, ground)
        if found is not None:
            yield found


def _best_pair(
    readings: list[tuple[SagReading, str]], ground: Ground
) -> tuple[Tier | None, str | None]:
    """The pair with the narrowest band, or the first reason why none will do."""
    spread = ReadingSpread(load_n=max(ReadingSpread().load_n, ground.asked.friction_n / math.sqrt(3)))
    load_n = ground.load_n if ground.load_n is not None else LIGHT_LOAD_N
    best: tuple[Band, tuple[str, ...]] | None = None
    why: str | None = None
    for (first, its_id), (second, other_id) in combinations(readings, 2):
        try:
            band = pressure_from_two_sags(first, second, ground.target.sag_m, load_n, ground.ambient_pa, spread)
        except ValueError as unfit:
            why = why or str(unfit)
            continue
        if best is None or band.high - band.low < best[0].high - best[0].low:
            best = band, tuple(id for id in (its_id, other_id) if id)
    if best is None:
        return None, why
    text = "From two sags of one rider: between them the pressure is read off, not computed from the spring's sizes."
    return _of_band("measured from two sags", best[0], text, best[1]), None


def _sags_of_this_rider(ground: Ground) -> list[Reading]:
    """Sags the catalogue lists with these spacers for a rider of this mass; their pressure is the start pressure."""
    rider = ground.asked.rider_kg
    return [
        row
        for row in (each.statement for each in ground.readings)
        if rider is not None
        and _at_sag(row)
        and row.rider_mass is not None
        and row.mass_unit is not None
        and abs(si_of("mass", row.rider_mass, row.mass_unit) - rider) <= SAME_RIDER_KG
        and row.spacers == ground.spacers
    ]


def _at_sag(row: Reading) -> bool:
    has_figures = row.at_travel_mm is not None and row.pressure is not None and row.pressure_unit is not None
    return has_figures and row.state is not None and "sag" in row.state.casefold()


def _one_force(ground: Ground) -> Iterator[Tier | Gap]:
    """A force that was read at the wanted sag, its pressure read at full extension."""
    forces = [
        row
        for row in (each.statement for each in ground.readings)
        if _at_sag(row) and row.force is not None and row.force_unit is not None and row.spacers == ground.spacers
        and abs(_travel_m(row) - ground.target.sag_m) <= SAME_TRAVEL_M
    ]  # fmt: skip
    if not forces or ground.load_n is None or ground.spring.negative in ("own valve", "coil"):
        return
    if ground.spring.shaft_diameter_mm is None:
        yield _gap("shaft-diameter", "the air outside pushes on the shaft", "Measure the shaft's diameter.")
        return
    row, force_n, extra_n = _spring_force(forces, ground.asked.friction_n)
    loads = load_band(ground.asked)
    spread_n = math.hypot(max(ReadingSpread().load_n, (loads.high - loads.low) / (2 * 1.96)), extra_n)
    shaft_m2 = disc_area_m2(ground.spring.shaft_diameter_mm / 1000)
    band = pressure_from_one_force(
        force_n, _gauge_pa(row), _travel_m(row), ground.load_n, shaft_m2, ground.ambient_pa,
        ReadingSpread(load_n=spread_n),
    )  # fmt: skip
    text = "From one force read at this sag: what this spring carries there grows with the pressure."
    yield _of_band("measured from one force", band, text, (row.id,))


def _spring_force(rows: list[Reading], friction_n: float) -> tuple[Reading, float, float]:
    """A reading, the force without friction, and the friction's spread where only one direction was read."""
    for row in rows:
        if row.direction == "mean":
            return row, _force_n(row), 0.0
    for inward in rows:
        for outward in rows:
            same = _travel_m(inward) == _travel_m(outward) and _gauge_pa(inward) == _gauge_pa(outward)
            if inward.direction == "compressing" and outward.direction == "extending" and same:
                return inward, mean_force_n(_force_n(inward), _force_n(outward))[0], 0.0
    return rows[0], _force_n(rows[0]), friction_n / math.sqrt(3)


def _geometry_measured(ground: Ground) -> Iterator[Tier | Gap]:
    triple = _own_triple(ground) or _listed_triple(ground)
    if triple is None or ground.spacers is None or spring_geometry.not_modelled(ground.spring):
        return
    geometry = spring_geometry.measured(
        triple, ground.spring, ground.fit, ground.spacer, ground.spacers, ground.ambient_pa
    )
    yield from _of_geometry("measured geometry", geometry, ground, triple.statements)


def _own_triple(ground: Ground) -> Triple | None:
    return triple_of([GaugeReading(each.travel_m, each.gauge_pa) for each in ground.asked.readings])


def _listed_triple(ground: Ground) -> Triple | None:
    rows = [each.statement for each in ground.readings]
    return triple_of(
        [
            GaugeReading(_travel_m(row), _gauge_pa(row), row.id)
            for row in rows
            if row.pressure is not None and row.at_travel_mm is not None and row.force is None
            and row.rider_mass is None and not _at_sag(row) and row.spacers == ground.spacers
        ]
    )  # fmt: skip


def _computed(ground: Ground) -> Iterator[Tier | Gap]:
    why_not = spring_geometry.not_modelled(ground.spring)
    if why_not is not None:
        yield _gap("geometry", "the start pressure and the curve are computed from it", f"Not computed: {why_not}.")
        return
    lacking = spring_geometry.missing(ground.spring, ground.fit)
    if lacking:
        text = f"The catalogue does not say {', '.join(lacking)}. {THREE_READINGS}"
        yield _gap("geometry", "the start pressure and the curve are computed from it", text)
        return
    if ground.spacers is None:
        return
    if ground.spacers and spring_geometry.spacer_volume_m3(ground.spacer) is None:
        yield _gap("spacer-volume", "spacers take room from the air", "Measure what one volume spacer displaces.")
        return
    geometry = spring_geometry.stated(ground.spring, ground.fit, ground.spacer, ground.spacers)
    yield from _of_geometry("computed", geometry, ground, ())


def _of_geometry(
    basis: Basis, geometry: Geometry, ground: Ground, statements: tuple[str, ...]
) -> Iterator[Tier | Gap]:
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
        yield _gap("start-pressure", "less than no pressure cannot be filled", "The load is too small for this spring.")
        return
    how = {"measured geometry": "three gauge readings found", "computed": f"are {geometry.known}"}[basis]
    text = f"From the load, the sag and the spring's volumes, which {how}."
    yield replace(_of_band(basis, band, text, statements), geometry=geometry)


def spreads_of(spreads: Spreads, ground: Ground) -> Spreads:
    """The spreads of a geometry with what this rider knows better or worse than usual."""
    asked = ground.asked
    return replace(
        spreads,
        front_share=asked.front_share.half_width,
        bike_kg=asked.bike_kg.half_width,
        head_angle_rad=asked.head_angle_rad.half_width,
        friction_n=asked.friction_n,
    )


def check_sag(air: AirSpring, ground: Ground) -> None:
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


def _of_band(basis: Basis, band: Band, text: str, statements: tuple[str, ...]) -> Tier:
    return Tier(basis, band.value, band.low, band.high, text, band.share, band.biggest, statements)


def disagreeing(found: list[Tier]) -> bool:
    """Whether two of the bases lie apart beyond their bands. A guide that states no sag cannot be compared."""
    compared = [each for each in found if each.guide is None or each.guide.sag_percent is not None]
    return any(a.high_pa < b.low_pa or b.high_pa < a.low_pa for a, b in combinations(compared, 2))


def _travel_m(row: Reading) -> float:
    return 0.0 if row.at_travel_mm is None else float(row.at_travel_mm) / 1000


def _gauge_pa(row: Reading) -> float:
    if row.pressure is None or row.pressure_unit is None:
        raise ValueError(f"The reading {row.id} has no pressure.")
    return si_of("pressure", row.pressure, row.pressure_unit)


def _force_n(row: Reading) -> float:
    if row.force is None or row.force_unit is None:
        raise ValueError(f"The reading {row.id} has no force.")
    return si_of("force", row.force, row.force_unit)


def _gap(what: str, why: str, text: str) -> Gap:
    return {"what": what, "why_needed": why, "text": text}
