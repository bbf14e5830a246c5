"""A start pressure from measurements on a fork whose geometry is unknown or has to be found.

Best first: two sags of one rider, one sag on a spring of known sizes, one force, three gauge readings. Gauge pressures
are start pressures: read at full extension after cycling through the port, unless a name says otherwise.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from app.physics.air_spring import AirSpring, force_n, pressure_for_sag_pa
from app.physics.band import Band, Move, Spreads, Uncertain, band, combined, moved_springs, scaled
from app.physics.stroke import FilledSpring

EXTRAPOLATION_SHARE = 0.2  # of the span between the two sags, on either side
SAG_RATIO_MIN, SAG_RATIO_MAX = 1.08, 2.0

# |d2 ln(p + pa) / d(ln sag)2| that springs with a port stay below, found on 20,000 random springs (99.9 % below 0.6).
_CURVATURE = 0.6
# d ln(force) / d ln(travel) near sag that the same springs stay below; moves a force that was read off the travel.
_STEEPNESS = 1.5


@dataclass(frozen=True, slots=True)
class SagReading:
    """The sag a rider had, > 0, at a gauge start pressure, > 0."""

    sag_m: float
    start_gauge_pa: float


@dataclass(frozen=True, slots=True)
class ReadingSpread:
    """Standard deviations of one reading: load, sag, gauge. Defaults: common practice, no source."""

    load_n: float = 12.0
    sag_m: float = 0.001
    gauge_pa: float = 0.7 * 6894.757293168


def _scattered(name: str, value: float, standard_deviation: float) -> Uncertain:
    """A reading that scatters about its value with this standard deviation."""
    return Uncertain(name, value, math.sqrt(3) * standard_deviation, normal=True)


def pressure_from_two_sags(
    first: SagReading,
    second: SagReading,
    target_sag_m: float,
    load_n: float,
    ambient_pa: float,
    spread: ReadingSpread,
) -> Band:
    """Gauge start pressure for a sag, in Pa, with its band, from two sags of one rider on one spring.

    Between the readings ln(p + pa) is a straight line over ln(sag): for one load (p + pa)*c(sag) is constant, and c is
    close to a power of the sag. `load_n` is only used to make the spread of the load a share of it; a rough figure will
    do. What the straight line misses is bounded by 0.3*|ln(t/s1)*ln(s2/t)| and enters the band as "curvature"; it
    stays within 2 % of the pressure for sags of 15 to 35 % of the travel that differ by up to a factor of 1.4 and
    start pressures up to 15 bar (tests). Both sags and the target counted alike, from full extension or from rest.

    Raises ValueError when the sags differ by less than 1.08 or more than 2 times, when the higher pressure does not go
    with the smaller sag, and when the target lies outside the span by more than 20 % of it.
    """
    low, high = sorted((first, second), key=lambda reading: reading.sag_m)
    if not (low.sag_m > 0 and min(low.start_gauge_pa, high.start_gauge_pa) > 0 and load_n > 0 and ambient_pa > 0):
        raise ValueError("Sags, pressures and load must be greater than zero.")
    if not SAG_RATIO_MIN <= high.sag_m / low.sag_m <= SAG_RATIO_MAX:
        raise ValueError(f"The two sags must differ by a factor of {SAG_RATIO_MIN} to {SAG_RATIO_MAX:g}.")
    if not low.start_gauge_pa > high.start_gauge_pa:
        raise ValueError("The smaller sag must belong to the higher pressure: read both again.")
    beyond_m = EXTRAPOLATION_SHARE * (high.sag_m - low.sag_m)
    if not low.sag_m - beyond_m <= target_sag_m <= high.sag_m + beyond_m:
        raise ValueError(
            "The wanted sag lies too far outside the two sags that were read: take a reading nearer to it."
        )
    missed = 0.5 * _CURVATURE * abs(math.log(target_sag_m / low.sag_m) * math.log(high.sag_m / target_sag_m))
    inputs = [
        _scattered("first load", 0.0, spread.load_n / load_n),
        _scattered("second load", 0.0, spread.load_n / load_n),
        _scattered("first sag", low.sag_m, spread.sag_m),
        _scattered("second sag", high.sag_m, spread.sag_m),
        _scattered("first gauge reading", low.start_gauge_pa, spread.gauge_pa),
        _scattered("second gauge reading", high.start_gauge_pa, spread.gauge_pa),
        Uncertain("curvature", 0.0, missed),
    ]

    def gauge_pa(at: Mapping[str, float]) -> float:
        weight = math.log(target_sag_m / at["first sag"]) / math.log(at["second sag"] / at["first sag"])
        at_first = math.log((at["first gauge reading"] + ambient_pa) / (1 + at["first load"]))
        at_second = math.log((at["second gauge reading"] + ambient_pa) / (1 + at["second load"]))
        return math.exp((1 - weight) * at_first + weight * at_second + at["curvature"]) - ambient_pa

    return band(gauge_pa, inputs)


def pressure_from_one_sag(
    filled: FilledSpring, sag_m: float, target_sag_m: float, spreads: Spreads, spread: ReadingSpread, load_n: float
) -> Band:
    """Gauge start pressure for another sag, in Pa, with its band, from one sag of the rider on a spring of known sizes.

    `filled` is the spring at the pressure that gave `sag_m`. The load need not be known: it is what the spring carried
    there. How the rider stood the second time moves it by the spread of the load, taken as a share of `load_n`.
    ValueError if either sag lies above the point where the fork rests unloaded.
    """
    if not 0 < sag_m <= filled.spring.travel_m:
        raise ValueError("The sag that was read must lie within the travel.")
    springs = moved_springs(filled.spring, spreads)

    def wanted(spring: AirSpring, at: float = 0.0, heavier: float = 0.0, off_pa: float = 0.0) -> float:
        fill = filled.fill(off_pa)
        carried = force_n(spring, fill, sag_m + at) * (1 + heavier)
        return pressure_for_sag_pa(spring, target_sag_m, carried, fill.ambient_pa, fill.negative_pa) - off_pa

    value = wanted(filled.spring)
    moves = [Move(name, wanted(smaller) - value, wanted(larger) - value) for name, smaller, larger in springs]
    scatter = math.sqrt(3)
    for name, reach in (
        ("second load", {"heavier": scatter * spread.load_n * math.sqrt(2) / load_n}),
        ("the sag that was read", {"at": min(scatter * spread.sag_m, sag_m / 2)}),
        ("gauge_pa", {"off_pa": scatter * spread.gauge_pa}),
    ):
        less, more = (wanted(filled.spring, **{key: sign * by for key, by in reach.items()}) for sign in (-1, 1))
        moves.append(Move(name, less - value, more - value, True))
    return combined(value - filled.ambient_pa, moves)


def mean_force_n(force_inward_n: float, force_outward_n: float) -> tuple[float, float]:
    """(spring force, friction) from the force read while moving in and while moving out at the same travel.

    Friction adds on the way in and takes off on the way out: half the sum, half the difference. in >= out > 0.
    """
    if not force_inward_n >= force_outward_n > 0:
        raise ValueError("The force on the way in must be at least the force on the way out, both greater than zero.")
    return (force_inward_n + force_outward_n) / 2, (force_inward_n - force_outward_n) / 2


def coefficient_from_force_m2(force_n: float, start_gauge_pa: float, shaft_area_m2: float, ambient_pa: float) -> float:
    """c = (F + As*pa)/(p + pa) at the travel where the force was read; from F = c*(p + pa) - As*pa.

    F > 0, p > 0, As >= 0, else ValueError. Holds at that travel only, with the spacers that were fitted.
    """
    if not (force_n > 0 and start_gauge_pa > 0 and ambient_pa > 0 and shaft_area_m2 >= 0):
        raise ValueError("Force and pressures must be greater than zero, the shaft area zero or more.")
    return (force_n + shaft_area_m2 * ambient_pa) / (start_gauge_pa + ambient_pa)


def pressure_from_one_force(
    force_n: float,
    start_gauge_pa: float,
    travel_m: float,
    load: Band,
    shaft_area_m2: float,
    ambient_pa: float,
    spread: ReadingSpread,
) -> Band:
    """Gauge start pressure that carries the load at the travel where a force was read: (load + As*pa)/c - pa, in Pa.

    spread.load_n is the standard deviation of the force; spread.sag_m moves the force by 1.5 times its share of the
    travel (how steep c is near sag, from random springs). Validity as coefficient_from_force_m2, load > 0.
    """
    if not (load.value > 0 and travel_m > 0):
        raise ValueError("Load and travel must be greater than zero.")
    inputs = [
        _scattered("force", force_n, spread.load_n),
        _scattered("travel", 0.0, _STEEPNESS * spread.sag_m / travel_m),
        _scattered("gauge reading", start_gauge_pa, spread.gauge_pa),
    ]

    def gauge_pa(at: Mapping[str, float]) -> float:
        force = at["force"] * (1 + at["travel"])
        coefficient = coefficient_from_force_m2(force, at["gauge reading"], shaft_area_m2, ambient_pa)
        return (load.value + shaft_area_m2 * ambient_pa) / coefficient - ambient_pa

    found = band(gauge_pa, inputs)
    per_n = 1 / coefficient_from_force_m2(force_n, start_gauge_pa, shaft_area_m2, ambient_pa)
    return combined(found.value, [*found.moves, *scaled(load.moves, per_n)])


@dataclass(frozen=True, slots=True)
class GaugeReadings:
    """Three gauge readings of the positive chamber that find both volumes, taken in this order, slowly (see below).

    filled_gauge_pa: at full extension, filled without moving the fork after it was emptied and cycled with the
    valve open (so that the negative chamber was last closed off at the port, at ambient pressure);
    cycled_gauge_pa: at full extension, after cycling slowly through the port, nothing added or let out;
    compressed_gauge_pa: held at compressed_travel_m, beyond the port.
    """

    filled_gauge_pa: float
    cycled_gauge_pa: float
    compressed_gauge_pa: float
    compressed_travel_m: float


@dataclass(frozen=True, slots=True)
class ChamberLengths:
    """Chambers as lengths of bore: positive_m = V(0)/A, negative_m = V_neg/A."""

    positive_m: float
    negative_m: float


def chamber_lengths(
    readings: GaugeReadings, port_travel_m: float, shaft_share: float, ambient_pa: float
) -> ChamberLengths:
    """Volumes per bore area from three gauge readings; the bore itself is not needed (shaft_share = As/A, 0..1).

    All slow (isothermal), pressures absolute, L0 = V(0)/A, Ln = V_neg/A, y = x of the third reading:
    the trapped positive air gives  P2*L0 = P3*(L0 - y), so  L0 = y*P3/(P3 - P2);
    at the port both chambers are at Q = P2*L0/(L0 - x_p);
    no air is lost from filling to cycling:  P1*L0 + pa*(Ln + b) = Q*(L0 - x_p + Ln + b),
    with b = (1 - As/A)*x_p, so  Ln = (P1*L0 + pa*b - Q*(L0 - x_p + b))/(Q - pa).
    A pump left on throughout adds its volume to L0. Source: Boyle's law and
    conservation of mass. ValueError when the readings do not fall and rise as they must.
    """
    filled = readings.filled_gauge_pa + ambient_pa
    cycled = readings.cycled_gauge_pa + ambient_pa
    compressed = readings.compressed_gauge_pa + ambient_pa
    if not (readings.cycled_gauge_pa > 0 and ambient_pa > 0 and 0 <= shaft_share < 1):
        raise ValueError("The gauge pressures must be greater than zero and the shaft thinner than the bore.")
    if not filled > cycled:
        raise ValueError("Cycling through the port must lower the pressure: the negative chamber was not empty.")
    if not (compressed > cycled and 0 <= port_travel_m < readings.compressed_travel_m):
        raise ValueError("The third reading must be taken beyond the port and must be higher than the second.")
    positive_m = readings.compressed_travel_m * (compressed / (compressed - cycled))
    at_port = cycled * (positive_m / (positive_m - port_travel_m))
    to_port_m = (1 - shaft_share) * port_travel_m
    held_m = (filled * positive_m + ambient_pa * to_port_m) / at_port - (positive_m - port_travel_m + to_port_m)
    negative_m = held_m / (1 - ambient_pa / at_port)
    if not negative_m > 0:
        raise ValueError("The three readings leave no volume for the negative chamber: take them again.")
    return ChamberLengths(positive_m, negative_m)


def spring_from_readings(
    readings: GaugeReadings,
    bore_area_m2: float,
    shaft_area_m2: float,
    travel_m: float,
    port_travel_m: float,
    ambient_pa: float,
) -> AirSpring:
    """The spring that gave three gauge readings, as it was with the spacers that were fitted.

    The air in a pump that stayed on counts as part of the positive chamber. ValueError as chamber_lengths, and if
    what is left of the positive chamber is shorter than the travel.
    """
    lengths = chamber_lengths(readings, port_travel_m, shaft_area_m2 / bore_area_m2, ambient_pa)
    end_volume_m3 = bore_area_m2 * (lengths.positive_m - travel_m)
    if not end_volume_m3 > 0:
        raise ValueError("The readings give a positive chamber that is used up before full travel: take them again.")
    return AirSpring(
        bore_area_m2=bore_area_m2,
        shaft_area_m2=shaft_area_m2,
        travel_m=travel_m,
        end_volume_m3=end_volume_m3,
        negative_volume_m3=bore_area_m2 * lengths.negative_m,
        port_travel_m=port_travel_m,
    )
