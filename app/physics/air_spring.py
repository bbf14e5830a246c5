"""The static force of an air spring: the load it carries at a sag, its rest position, and its travel under a load.

Positions are travel from full extension, x = 0, to full compression, x = T. Pressures in `GasFill` are absolute and
those at full extension: of the positive chamber after the spring was cycled through its port, or of both chambers if
each has a valve. Gauge readings become absolute by adding the ambient pressure. Everything here is slow (isothermal);
the fast stroke is in `stroke`.

Validity: air as an ideal gas (real air is within 1.5 % up to 25 bar absolute), no friction, no seal drag, no air
outside the two chambers. Source: Boyle's law and the force balance of the piston (Cengel & Boles, Thermodynamics).
"""

from dataclasses import dataclass

from app.physics.air_chambers import AirSpring as AirSpring
from app.physics.air_chambers import disc_area_m2 as disc_area_m2
from app.physics.air_chambers import spacers_held as spacers_held

_NEGATIVE_UNKNOWN = "The pressure of the negative chamber must be known: it has its own valve."


@dataclass(frozen=True, slots=True)
class GasFill:
    """The fill of a spring, absolute; `negative_pa` only if the negative chamber has its own valve."""

    positive_pa: float
    ambient_pa: float
    negative_pa: float | None = None

    def __post_init__(self) -> None:
        lowest = self.positive_pa if self.negative_pa is None else min(self.positive_pa, self.negative_pa)
        if not (lowest > 0 and self.ambient_pa > 0):
            raise ValueError("Absolute pressures must be greater than zero.")


def push_m2(spring: AirSpring, travel_m: float) -> float:
    """a(x) = A·V(0)/V(x): force of the positive chamber per pascal of its pressure at full extension."""
    _check(spring, travel_m)
    full = spring.positive_volume_m3(0 * travel_m)
    return spring.bore_area_m2 * (full / spring.positive_volume_m3(travel_m))


def pull_m2(spring: AirSpring, travel_m: float) -> float:
    """b(x): force of the negative chamber per pascal.

    Of the positive chamber's pressure if the chamber is filled through a port, b = An·V(0)/V(x_p)·Vn(x_p)/Vn(x): equal
    pressures at the port, sealed elsewhere. Of its own pressure at full extension otherwise, b = An·Vn(0)/Vn(x).
    """
    _check(spring, travel_m)
    return spring.annulus_area_m2 * (sealed_m3(spring) / spring.negative_chamber_m3(travel_m))


def sealed_m3(spring: AirSpring) -> float:
    """Pressure times volume of the negative chamber, per pascal of its fill pressure; constant along a slow stroke."""
    port_m = spring.port_travel_m
    if port_m is None:
        return spring.negative_volume_m3
    at_port: float = spring.positive_volume_m3(0 * port_m) / spring.positive_volume_m3(port_m)
    return at_port * spring.negative_chamber_m3(port_m)


def _check(spring: AirSpring, travel_m: float) -> None:
    if not 0 <= travel_m <= spring.travel_m:
        raise ValueError("The position must lie between full extension and full travel.")


def pulling_pa(spring: AirSpring, fill: GasFill) -> float:
    """The pressure that `pull_m2` is per pascal of. ValueError if it is unknown."""
    if spring.port_travel_m is not None:
        return fill.positive_pa
    if fill.negative_pa is None:
        raise ValueError(_NEGATIVE_UNKNOWN)
    return fill.negative_pa


def force_n(spring: AirSpring, fill: GasFill, travel_m: float) -> float:
    """F(x) = a·P0 - b·Pn - As·pa; below a port it may be negative."""
    pull = pull_m2(spring, travel_m) * pulling_pa(spring, fill)
    return push_m2(spring, travel_m) * fill.positive_pa - pull - spring.shaft_area_m2 * fill.ambient_pa


def pressure_for_sag_pa(
    spring: AirSpring, sag_m: float, load_n: float, ambient_pa: float, negative_pa: float | None = None
) -> float:
    """Absolute start pressure that carries a load at a sag: (F + As·pa)/(a - b), or (F + As·pa + b·Pn)/a for a negative
    chamber with its own valve.

    0 < sag <= T, load > 0. ValueError if no pressure can hold the fork there because the negative chamber is stronger.
    """
    if not (sag_m > 0 and load_n > 0 and ambient_pa > 0):
        raise ValueError("Sag, load and ambient pressure must be greater than zero.")
    push, pull, carried = push_m2(spring, sag_m), pull_m2(spring, sag_m), load_n + spring.shaft_area_m2 * ambient_pa
    if spring.port_travel_m is None:
        if negative_pa is None:
            raise ValueError(_NEGATIVE_UNKNOWN)
        return (carried + pull * negative_pa) / push
    if not push > pull:
        raise ValueError("No pressure holds the fork at this sag: it lies above the point where it rests unloaded.")
    return carried / (push - pull)


def balance_m(spring: AirSpring) -> float:
    """The travel at which a = b for a spring with a port: no pressure holds the fork above it. Closed form."""
    sealed = sealed_m3(spring)
    full, negative = spring.positive_volume_m3(0 * spring.travel_m), spring.negative_volume_m3
    area, ring = spring.bore_area_m2, spring.annulus_area_m2
    return max(0.0, full * (ring * sealed - area * negative) / (area * ring * (full + sealed)))


def sag_m(spring: AirSpring, fill: GasFill, load_n: float) -> float:
    """Travel at which the spring carries a load >= 0; with no load, where the fork rests. Closed form.

    With B = A·P0·V(0), C = An·Pn·Vn (sealed), D = As·pa + load and U = V(0), F(x) = load is B/(U - A·x) -
    C/(Vn + An·x) - D = 0, so D·A·An·x² + (B·An + C·A - D·(U·An - A·Vn))·x + B·Vn - C·U - D·U·Vn = 0; F grows with x,
    and the positive root is the one. Zero if the stop holds the fork extended. ValueError if it bottoms out.
    """
    if not load_n >= 0:
        raise ValueError("The load must not be negative.")
    area, ring = spring.bore_area_m2, spring.annulus_area_m2
    full, negative = spring.positive_volume_m3(0 * spring.travel_m), spring.negative_volume_m3
    push = area * fill.positive_pa * full
    pull = ring * pulling_pa(spring, fill) * sealed_m3(spring)
    outside = spring.shaft_area_m2 * fill.ambient_pa + load_n
    short = push * negative - pull * full - outside * full * negative
    if short >= 0:
        return 0.0 * spring.travel_m
    slope = push * ring + pull * area - outside * (full * ring - area * negative)
    travel_m: float = -2 * short / (slope + (slope**2 - 4 * outside * area * ring * short) ** 0.5)
    if travel_m > spring.travel_m:
        raise ValueError("The load is greater than the force of the spring at full travel: the fork bottoms out.")
    return travel_m
