"""Readings on the fork, checked on random springs whose force balance is written out in physics_springs."""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from physics_springs import EXACT, PA, PSI, random_spring, spring_of, true_gauge_pa

from app.physics import air_spring as air
from app.physics import readings
from app.physics.band import SPREADS, Band, Uncertain, band
from app.physics.readings import GaugeReadings, ReadingSpread, SagReading
from app.physics.stroke import FilledSpring

SPREAD = ReadingSpread(load_n=12.0, sag_m=0.001, gauge_pa=0.7 * PSI)
NONE = ReadingSpread(load_n=0.0, sag_m=0.0, gauge_pa=0.0)
CEILING_PA = 15e5


@dataclass(frozen=True)
class Case:
    spring: air.AirSpring
    load_n: float
    first_m: float
    second_m: float
    target_m: float


def cases(source: random.Random, count: int, ratio_max: float) -> Iterator[Case]:
    """Springs with two sags of 15 to 35 % of travel and a target up to 20 % of the span beyond; 2 to 15 bar."""
    while count:
        spring, load = random_spring(source), source.uniform(300, 900)
        ratio = source.uniform(1.15, ratio_max)
        first = spring.travel_m * source.uniform(0.15, 0.35 / ratio)
        second = first * ratio
        beyond = 0.2 * (second - first)
        target = source.uniform(first - beyond, second + beyond)
        pressures = [true_gauge_pa(spring, sag, load) for sag in (first, second, target)]
        if all(2e5 < pressure < CEILING_PA for pressure in pressures):
            count -= 1
            yield Case(spring, load, first, second, target)


def reading(case: Case, sag_m: float, load_n: float | None = None) -> SagReading:
    return SagReading(sag_m, true_gauge_pa(case.spring, sag_m, load_n or case.load_n))


def test_two_sags_without_noise_are_within_two_percent_on_3000_springs() -> None:
    source = random.Random(20240501)
    for case in cases(source, 3000, 1.4):
        found = readings.pressure_from_two_sags(
            reading(case, case.first_m), reading(case, case.second_m), case.target_m, case.load_n, PA, NONE
        )
        truth = true_gauge_pa(case.spring, case.target_m, case.load_n)
        assert found.value == pytest.approx(truth, rel=2e-2), case


def test_two_sags_read_from_the_resting_fork_are_within_two_percent() -> None:
    """The ring is pushed against the seal of a fork that rests at its free travel, so every sag is shorter by that."""
    source = random.Random(20240502)
    for case in cases(source, 1000, 1.4):
        pressures = [true_gauge_pa(case.spring, sag, case.load_n) for sag in (case.first_m, case.second_m)]
        rests = [air.sag_m(case.spring, air.GasFill(pressure + PA, PA), 0.0) for pressure in pressures]
        first, second = (
            SagReading(sag - rest, pressure)
            for sag, rest, pressure in zip((case.first_m, case.second_m), rests, pressures, strict=True)
        )
        truth = true_gauge_pa(case.spring, case.target_m, case.load_n)
        target = case.target_m - air.sag_m(case.spring, air.GasFill(truth + PA, PA), 0.0)
        beyond = 0.2 * (second.sag_m - first.sag_m)
        if first.sag_m - beyond < target < second.sag_m + beyond:
            found = readings.pressure_from_two_sags(first, second, target, case.load_n, PA, NONE)
            assert found.value == pytest.approx(truth, rel=2e-2), case


def test_what_the_straight_line_misses_is_in_the_band() -> None:
    """Readings without noise, sags up to 1.9 times apart: only the curvature is left, and the band contains it."""
    source, covered = random.Random(20240505), 0
    for case in cases(source, 2000, 1.9):
        found = readings.pressure_from_two_sags(
            reading(case, case.first_m), reading(case, case.second_m), case.target_m, case.load_n, PA, NONE
        )
        assert found.biggest == "curvature"
        covered += found.low <= true_gauge_pa(case.spring, case.target_m, case.load_n) <= found.high
    assert covered / 2000 >= 0.99


@pytest.mark.parametrize(("noise", "least"), [("rectangular", 0.95), ("normal", 0.95)])
def test_the_band_of_two_sags_covers_what_it_says(noise: str, least: float) -> None:
    """+-12 N, +-1 mm, +-0.7 psi on each reading, as standard deviations or, milder, as half-widths."""
    source = random.Random(20240503)

    def off(size: float) -> float:
        return source.uniform(-size, size) if noise == "rectangular" else source.gauss(0, size)

    covered = total = 0
    for case in cases(source, 3000, 1.9):
        noisy = [
            SagReading(sag + off(0.001), reading(case, sag, case.load_n + off(12.0)).start_gauge_pa + off(0.7 * PSI))
            for sag in (case.first_m, case.second_m)
        ]
        low, high = sorted(noisy, key=lambda one: one.sag_m)
        beyond = 0.2 * (high.sag_m - low.sag_m)
        refused = not (
            1.08 <= high.sag_m / low.sag_m <= 2
            and low.start_gauge_pa > high.start_gauge_pa
            and low.sag_m - beyond <= case.target_m <= high.sag_m + beyond
        )
        if refused:
            continue
        found = readings.pressure_from_two_sags(low, high, case.target_m, case.load_n, PA, SPREAD)
        total += 1
        covered += found.low <= true_gauge_pa(case.spring, case.target_m, case.load_n) <= found.high
    assert total > 2500
    assert covered / total >= least


def test_the_band_is_no_wider_than_is_useful() -> None:
    """A band that covers everything is useless: half of it stays below a tenth of the pressure for usual readings."""
    source = random.Random(20240504)
    halves = []
    for case in cases(source, 500, 1.4):
        found = readings.pressure_from_two_sags(
            reading(case, case.first_m), reading(case, case.second_m), case.target_m, case.load_n, PA, SPREAD
        )
        halves.append((found.high - found.low) / 2 / found.value)
    assert sorted(halves)[250] < 0.10


FIRST, SECOND = SagReading(0.030, 90 * PSI), SagReading(0.040, 70 * PSI)


def test_a_reading_is_returned_at_its_own_sag() -> None:
    for one in (FIRST, SECOND):
        found = readings.pressure_from_two_sags(SECOND, FIRST, one.sag_m, 500.0, PA, SPREAD)
        assert found.value == pytest.approx(one.start_gauge_pa, rel=1e-12)
        assert found.biggest is not None


@pytest.mark.parametrize(("target_m", "allowed"), [(0.0281, True), (0.0279, False), (0.0419, True), (0.0421, False)])
def test_no_extrapolation_beyond_a_fifth_of_the_span(target_m: float, allowed: bool) -> None:
    def ask() -> float:
        return readings.pressure_from_two_sags(FIRST, SECOND, target_m, 500.0, PA, SPREAD).value

    if allowed:
        assert ask() > 0
    else:
        with pytest.raises(ValueError, match="too far outside"):
            ask()


@pytest.mark.parametrize(
    ("second", "sentence"),
    [
        (SagReading(0.031, 88 * PSI), "differ by a factor"),
        (SagReading(0.062, 50 * PSI), "differ by a factor"),
        (SagReading(0.040, 90 * PSI), "belong to the higher pressure"),
        (SagReading(0.040, 0.0), "greater than zero"),
    ],
)
def test_readings_that_say_nothing_are_refused(second: SagReading, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        readings.pressure_from_two_sags(FIRST, second, 0.030, 500.0, PA, SPREAD)


def exactly(load_n: float) -> Band:
    return Band(load_n, load_n, load_n, None, ())


def test_one_force_scales_exactly_at_its_own_travel() -> None:
    source = random.Random(7)
    for case in cases(source, 200, 1.4):
        start = true_gauge_pa(case.spring, case.first_m, 450.0)
        found = readings.pressure_from_one_force(
            450.0, start, case.first_m, exactly(case.load_n), case.spring.shaft_area_m2, PA, NONE
        )
        truth = true_gauge_pa(case.spring, case.first_m, case.load_n)
        assert found.value == pytest.approx(truth, rel=1e-9)
        assert (found.low, found.high, found.biggest) == (found.value, found.value, None)


def test_the_band_of_one_force_covers_what_it_says() -> None:
    source = random.Random(8)
    covered = 0
    for case in cases(source, 2000, 1.4):
        force = 450.0 + source.gauss(0, 12)
        travel = case.first_m + source.gauss(0, 0.001)
        start = true_gauge_pa(case.spring, travel, force)
        load = case.load_n + source.uniform(-40, 40)
        found = readings.pressure_from_one_force(
            450.0, start + source.gauss(0, 0.7) * PSI, case.first_m,
            band(lambda at: at["load"], [Uncertain("load", case.load_n, 40.0)]), case.spring.shaft_area_m2, PA, SPREAD,
        )  # fmt: skip
        covered += found.low <= true_gauge_pa(case.spring, case.first_m, load) <= found.high
    assert covered / 2000 >= 0.95


def test_force_in_and_out_part_into_spring_and_friction() -> None:
    assert readings.mean_force_n(520.0, 470.0) == (495.0, 25.0)
    with pytest.raises(ValueError, match="way in"):
        readings.mean_force_n(470.0, 520.0)


def gauge_readings(spring: air.AirSpring, filled_gauge_pa: float, travel_m: float) -> GaugeReadings:
    """The gauge reading, by counting air (pressure times volume) in each chamber."""
    ring = spring.bore_area_m2 - spring.shaft_area_m2
    full = spring.end_volume_m3 + spring.bore_area_m2 * spring.travel_m
    at_port = full - spring.bore_area_m2 * spring.port_travel_m
    negative_at_port = spring.negative_volume_m3 + ring * spring.port_travel_m
    air_pa_m3 = (filled_gauge_pa + PA) * full + PA * negative_at_port
    equal = air_pa_m3 / (at_port + negative_at_port)
    cycled = equal * at_port / full
    compressed = equal * at_port / (full - spring.bore_area_m2 * travel_m)
    return GaugeReadings(filled_gauge_pa, cycled - PA, compressed - PA, travel_m)


def test_three_gauge_readings_find_both_volumes() -> None:
    source = random.Random(9)
    for _ in range(300):
        spring = replace(random_spring(source), spacer_volume_m3=None)
        seen = gauge_readings(spring, source.uniform(4e5, 12e5), source.uniform(0.5, 1) * spring.travel_m)
        found = readings.spring_from_readings(
            seen, spring.bore_area_m2, spring.shaft_area_m2, spring.travel_m, spring.port_travel_m, PA
        )
        assert found.end_volume_m3 == pytest.approx(spring.end_volume_m3, rel=1e-8)
        assert found.negative_volume_m3 == pytest.approx(spring.negative_volume_m3, rel=1e-8)


def test_three_gauge_readings_that_cannot_be_are_refused() -> None:
    spring = spring_of(32, 10, 150, 0.5, 0.3, 4)
    good = gauge_readings(spring, 8e5, 0.150)

    def lengths(seen: GaugeReadings) -> readings.ChamberLengths:
        return readings.chamber_lengths(seen, 0.004, 0.1, PA)

    with pytest.raises(ValueError, match="must lower the pressure"):
        lengths(replace(good, filled_gauge_pa=good.cycled_gauge_pa))
    with pytest.raises(ValueError, match="beyond the port"):
        lengths(replace(good, compressed_travel_m=0.003))
    with pytest.raises(ValueError, match="higher than the second"):
        lengths(replace(good, compressed_gauge_pa=good.cycled_gauge_pa))
    with pytest.raises(ValueError, match="no volume for the negative"):
        lengths(replace(good, filled_gauge_pa=good.cycled_gauge_pa * 1.001))
    with pytest.raises(ValueError, match="greater than zero"):
        lengths(replace(good, cycled_gauge_pa=math.nan))
    with pytest.raises(ValueError, match="used up before full travel"):
        readings.spring_from_readings(good, spring.bore_area_m2, spring.shaft_area_m2, 0.3, 0.004, PA)


def test_one_sag_on_a_known_spring_finds_the_pressure_for_another() -> None:
    """The load is not given: the spring carries at the wanted sag what it carried at the sag that was read."""
    source = random.Random(11)
    covered = total = 0
    for case in cases(source, 1500, 1.4):
        spread = SPREADS["stated"]
        own = moved(case.spring, source)
        load = case.load_n + source.gauss(0, 12)
        read = true_gauge_pa(own, case.first_m + source.gauss(0, 0.001), load) - source.gauss(0, 0.7) * PSI
        filled = FilledSpring(case.spring, read, PA)
        found = readings.pressure_from_one_sag(filled, case.first_m, case.target_m, spread, SPREAD, case.load_n)
        truth = true_gauge_pa(own, case.target_m, load + source.gauss(0, 12))
        total += 1
        covered += found.low <= truth <= found.high
    assert covered / total >= 0.95
    exact = FilledSpring(case.spring, true_gauge_pa(case.spring, case.first_m, 450.0), PA)
    found = readings.pressure_from_one_sag(exact, case.first_m, case.target_m, EXACT, NONE, 450.0)
    assert found.value == pytest.approx(true_gauge_pa(case.spring, case.target_m, 450.0), rel=1e-9)
    with pytest.raises(ValueError, match="within the travel"):
        readings.pressure_from_one_sag(exact, 1.0, 0.03, EXACT, NONE, 450.0)


def moved(spring: air.AirSpring, source: random.Random) -> air.AirSpring:
    """A spring with true sizes drawn for stated sizes: volumes ±3 %, bore ±0.1 mm, port ±0.5 mm."""
    bore = math.sqrt(4 * spring.bore_area_m2 / math.pi) + source.uniform(-1e-4, 1e-4)
    return replace(
        spring, bore_area_m2=math.pi / 4 * bore**2,
        end_volume_m3=spring.end_volume_m3 * source.uniform(0.97, 1.03),
        negative_volume_m3=spring.negative_volume_m3 * source.uniform(0.97, 1.03),
        port_travel_m=max(0.0, (spring.port_travel_m or 0.0) + source.uniform(-5e-4, 5e-4)),
    )  # fmt: skip
