"""Start pressures measured on the bench: two sags of one rider, one sag, one force, or three gauge readings.

A catalogue reading whose state is a sag gives the start pressure, read at full extension; any other gives the pressure
at its travel.
"""

import math
from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations

from app.catalogue.tables import Reading
from app.physics.air_spring import disc_area_m2
from app.physics.band import Band
from app.physics.readings import (
    ReadingSpread,
    SagReading,
    mean_force_n,
    pressure_from_one_force,
    pressure_from_one_sag,
    pressure_from_two_sags,
)
from app.physics.stroke import FilledSpring
from app.questions.answers.gap import Gap
from app.questions.setup.estimate import StartPressureEstimate, estimate_of, gap
from app.questions.setup.inputs import SetupInputs, Target
from app.questions.setup.parameters import si_of
from app.questions.setup.spring_geometry import GaugeReading, Triple, triple_of
from app.questions.setup.words import LIGHT_LOAD_N
from app.units.table import unit

SAME_RIDER_KG = 1.0
SAME_TRAVEL_M = 0.001
READINGS_TEXT = (
    "The readings are too uncertain: the pressure could be off by more than half. Read again, a tenth apart."
)
EXAMPLE_PA = 72 * 6894.757293168  # an everyday start pressure, in examples only


def example_readings(target: Target, limit_pa: float | None, unit_name: str) -> tuple[str, str]:
    """Two plausible readings for a fork of this travel and maximum pressure, on both sides of the wanted sag."""
    sag_mm = target.sag_m * 1000
    usual_pa = min(EXAMPLE_PA, (limit_pa or 2 * EXAMPLE_PA) / 2)
    pressure = unit("pressure", unit_name)
    step = pressure.step

    def written(pressure_pa: float) -> str:
        steps = round(Fraction(pressure_pa) / pressure.factor / Fraction(step))
        return f"{step * steps}{unit_name.replace(' ', '')}"

    return f"{sag_mm * 1.15:.0f}mm@{written(usual_pa)}", f"{sag_mm * 0.95:.0f}mm@{written(usual_pa * 1.13)}"


def two_sags(ground: SetupInputs) -> Iterator[StartPressureEstimate | Gap]:
    """From the user's own sags, or else from those the catalogue lists for a rider of this mass."""
    if not ground.scales_together:
        return
    own = [(SagReading(each.travel_m, each.gauge_pa), "") for each in ground.asked.readings if each.travel_m > 0]
    if len(own) >= 2 and own_triple(ground) is None:
        found, why = _best_pair(own, ground)
        unusable = "Read both sags again."
        yield found if found is not None else gap("two-sags", "the readings given cannot be used", why or unusable)
        return
    if len(own) == 1 and ground.geometry is None:
        yield gap("second-sag", "one sag does not show how the sag changes with pressure", two_sags_of(ground))
    listed = [
        (SagReading(_travel_m(row), _gauge_pa(row)), row.id)
        for row in _sags_of_this_rider(ground)
        if _travel_m(row) > 0
    ]
    if len(listed) >= 2:
        found, _ = _best_pair(listed, ground)
        if found is not None:
            yield found


def two_sags_of(ground: SetupInputs) -> str:
    """How to close a gap with two sags, with an example that would get an answer for this fork."""
    first, second = examples_of(ground)
    return (
        "The quickest way to close this gap: read the rider's sag at two pressures, the second a tenth above "
        f"the first, and give both, as in reading={first}&reading={second}."
    )


def examples_of(ground: SetupInputs) -> tuple[str, str]:
    """Two plausible readings for this fork, in the unit of its maximum pressure."""
    limits = [(row.pressure_limit, row.pressure_unit) for row in (ground.fit, ground.spring)]
    known = [(si_of("pressure", limit, unit_name), unit_name) for limit, unit_name in limits if limit and unit_name]
    limit_pa, unit_name = min(known, default=(None, "psi"))
    return example_readings(ground.target, limit_pa, unit_name)


def one_sag(ground: SetupInputs) -> Iterator[StartPressureEstimate | Gap]:
    """From one sag of the user's on a spring whose sizes are known."""
    own = [each for each in ground.asked.readings if each.travel_m > 0]
    if len(own) != 1 or own_triple(ground) is not None or ground.geometry is None or ground.spacers is None:
        return
    if ground.geometry.air.port_travel_m is None and ground.negative_pa is None:
        return
    filled = FilledSpring(ground.geometry.air, own[0].gauge_pa, ground.ambient_pa, ground.negative_pa)
    load_n = ground.load_n if ground.load_n is not None else LIGHT_LOAD_N
    spread = _spread(ground)
    band = pressure_from_one_sag(
        filled, own[0].travel_m, ground.target.sag_m, ground.geometry.spreads, spread, load_n
    )  # fmt: skip
    text = "From one sag of this rider: at this pressure the spring carries the same load at the wanted sag."
    yield estimate_of("measured from one sag", band, text, ())


def _spread(ground: SetupInputs) -> ReadingSpread:
    return ReadingSpread(load_n=max(ReadingSpread().load_n, ground.asked.friction_n / math.sqrt(3)))


def _best_pair(
    readings: list[tuple[SagReading, str]], ground: SetupInputs
) -> tuple[StartPressureEstimate | None, str | None]:
    """The pair with the narrowest band, or the first reason why no pair will do."""
    spread = _spread(ground)
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
    text = (
        "From two sags of one rider: the pressure is interpolated between them, not computed from the spring's sizes."
    )
    return estimate_of("measured from two sags", best[0], text, best[1]), None


def _sags_of_this_rider(ground: SetupInputs) -> list[Reading]:
    """Sags that the catalogue lists with these spacers for a rider of this mass; their pressure is the start
    pressure.
    """
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


def one_force(ground: SetupInputs) -> Iterator[StartPressureEstimate | Gap]:
    """From a force that was read at the wanted sag, with its pressure read at full extension."""
    forces = [
        row
        for row in (each.statement for each in ground.readings)
        if _at_sag(row) and row.force is not None and row.force_unit is not None and row.spacers == ground.spacers
        and abs(_travel_m(row) - ground.target.sag_m) <= SAME_TRAVEL_M
    ]  # fmt: skip
    if not forces or ground.pushed is None or not ground.scales_together:
        return
    if ground.spring.shaft_diameter_mm is None:
        yield gap("shaft-diameter", "the outside air pushes on the shaft", "Measure the shaft's diameter.")
        return
    row, force_n, extra_n = _spring_force(forces, ground.asked.friction_n)
    spread_n = math.hypot(ReadingSpread().load_n, extra_n)
    shaft_m2 = disc_area_m2(ground.spring.shaft_diameter_mm / 1000)
    band = pressure_from_one_force(
        force_n, _gauge_pa(row), _travel_m(row), ground.pushed, shaft_m2, ground.ambient_pa,
        ReadingSpread(load_n=spread_n),
    )  # fmt: skip
    text = "From one force read at this sag: the load that this spring carries there grows with the pressure."
    yield estimate_of("measured from one force", band, text, (row.id,))


def _spring_force(rows: list[Reading], friction_n: float) -> tuple[Reading, float, float]:
    """A reading, the force without friction, and the friction's spread if only one direction was read."""
    for row in rows:
        if row.direction == "mean":
            return row, _force_n(row), 0.0
    for inward in rows:
        for outward in rows:
            same = _travel_m(inward) == _travel_m(outward) and _gauge_pa(inward) == _gauge_pa(outward)
            if inward.direction == "compressing" and outward.direction == "extending" and same:
                return inward, mean_force_n(_force_n(inward), _force_n(outward))[0], 0.0
    return rows[0], _force_n(rows[0]), friction_n / math.sqrt(3)


def own_triple(ground: SetupInputs) -> Triple | None:
    """The user's three gauge readings."""
    return triple_of([GaugeReading(each.travel_m, each.gauge_pa) for each in ground.asked.readings])


def listed_triple(ground: SetupInputs) -> Triple | None:
    """The catalogue's three gauge readings, taken with these spacers."""
    rows = [each.statement for each in ground.readings]
    return triple_of(
        [
            GaugeReading(_travel_m(row), _gauge_pa(row), row.id)
            for row in rows
            if row.pressure is not None and row.at_travel_mm is not None and row.force is None
            and row.rider_mass is None and not _at_sag(row) and row.spacers == ground.spacers
        ]
    )  # fmt: skip


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
