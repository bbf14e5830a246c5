"""A coil spring with preload. ValueError for a rate that is not positive."""

from collections.abc import Iterable
from dataclasses import replace

from app.physics.band import Band, Move, Uncertain, combined, scaled


def _check(rate_n_per_m: float, preload_m: float) -> None:
    if not rate_n_per_m > 0:
        raise ValueError("The spring rate must be greater than zero.")
    if not preload_m >= 0:
        raise ValueError("The preload must not be negative.")


def force_n(rate_n_per_m: float, travel_m: float, preload_m: float) -> float:
    """F = k*(x + preload), Hooke's law; travel >= 0. The rate is per metre of fork travel."""
    _check(rate_n_per_m, preload_m)
    if not travel_m >= 0:
        raise ValueError("The travel must not be negative.")
    return rate_n_per_m * (travel_m + preload_m)


def sag_travel_m(rate_n_per_m: float, load_n: float, preload_m: float) -> float:
    """x = F/k - preload; zero if the preload alone carries the load (the stop holds the fork). load >= 0."""
    _check(rate_n_per_m, preload_m)
    if not load_n >= 0:
        raise ValueError("The load must not be negative.")
    travel_m = load_n / rate_n_per_m - preload_m
    return travel_m if travel_m > 0 else 0 * travel_m


def sag_band(rate: Uncertain, load: Band, preload: Uncertain) -> Band:
    """sag_travel_m with its band: x = F/k - preload, affine in load and preload.

    Rate in N/m, preload in m. Ends below zero are zero, because the stop holds the fork. ValueError as sag_travel_m,
    and if the rate may be zero.
    """
    _check(rate.value - rate.half_width, preload.value)
    x = load.value / rate.value
    less, more = (load.value / (rate.value + sign * rate.half_width) - x for sign in (-1, 1))
    moves = [*scaled(load.moves, 1 / rate.value), Move(rate.name, less, more)]
    moves.append(Move(preload.name, preload.half_width, -preload.half_width))
    free = combined(x - preload.value, moves)
    value = sag_travel_m(rate.value, load.value, preload.value)
    return replace(free, value=value, low=max(0.0, free.low), high=max(0.0, free.high))


def force_ends_n(rate: Uncertain, travel_m: float, preload: Uncertain) -> tuple[float, float]:
    """Lowest and highest F = k*(x + preload) that both half-widths allow; a preload is never below zero."""
    least, most = (
        force_n(rate.value + sign * rate.half_width, travel_m, max(0.0, preload.value + sign * preload.half_width))
        for sign in (-1, 1)
    )
    return least, most


def rate_for_sag_n_per_m(load_n: float, sag_m: float, preload_m: float) -> float:
    """k = F/(sag + preload); load > 0, sag > 0, preload >= 0."""
    if not (load_n > 0 and sag_m > 0 and preload_m >= 0):
        raise ValueError("Load and sag must be greater than zero, the preload zero or more.")
    return load_n / (sag_m + preload_m)


def next_rates(wanted_n_per_m: float, offered_n_per_m: Iterable[float]) -> tuple[float | None, float | None]:
    """The stiffest offered rate that is not above the wanted one, and the softest that is not below it.

    None beyond the ends of the offer; the same rate twice if it is offered exactly.
    """
    offered = sorted(offered_n_per_m)
    if not wanted_n_per_m > 0 or any(not rate > 0 for rate in offered):
        raise ValueError("Spring rates must be greater than zero.")
    softer = [rate for rate in offered if rate <= wanted_n_per_m]
    stiffer = [rate for rate in offered if rate >= wanted_n_per_m]
    return (softer[-1] if softer else None, stiffer[0] if stiffer else None)
