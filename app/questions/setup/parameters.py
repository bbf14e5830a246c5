"""The parameters of a set-up, converted to SI. Raises Invalid naming each value that is out of range."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TypeVar

from pydantic import Field

from app.catalogue.columns import write_number
from app.errors import Fault, Invalid
from app.physics import load
from app.physics.atmosphere import ALTITUDE_MAX_M
from app.questions.sheet.sheet import ConfigurationAsked
from app.units.measure import Measure, parse_measure, parse_reading
from app.units.quantity import Quantity, to_set
from app.units.table import Kind, unit

T = TypeVar("T")
MOST_READINGS = 12
MOST_CONDITIONS = 6
_MASS = "Plain numbers are kilograms."


class SetupAsked(ConfigurationAsked):
    """The parameters of `setup`: those of `sheet`, the rider and the bike, and measurements."""

    spacers: int | None = Field(
        None, ge=0, le=30, description=("Volume spacers fitted; by default as from the factory.")
    )
    rider_mass: str | None = Field(
        None, max_length=64, description=f"Rider with all gear. {_MASS}", examples=["80", "176lb"]
    )
    bike_mass: str | None = Field(None, max_length=64, description=f"The whole bike. {_MASS}", examples=["15.2"])
    front_share: str | None = Field(
        None, max_length=64, description="Share of rider and bike on the front wheel in %, in riding position."
    )
    sag: str | None = Field(
        None, max_length=64, description="Wanted sag: % of the travel, or a length.", examples=["25", "38mm"]
    )
    head_angle: str | None = Field(None, max_length=64, description="Head angle in degrees.", examples=["65"])
    friction: str | None = Field(
        None, max_length=64, description="Friction of the fork in N, which moves the sag either way."
    )
    fill_altitude: str | None = Field(None, max_length=64, description="Altitude where it is filled, in m.")
    fill_temperature: str | None = Field(None, max_length=64, description="Temperature where it is filled, in °C.")
    altitude: str | None = Field(None, max_length=64, description="Altitude where it is ridden, in m.")
    temperature: str | None = Field(None, max_length=64, description="Temperature where it is ridden, in °C.")
    pressure: str | None = Field(
        None,
        max_length=64,
        description="Gauge start pressure to compute the sag for. Plain numbers are psi.",
        examples=["80", "5.5bar"],
    )
    negative_pressure: str | None = Field(
        None,
        max_length=64,
        description="Gauge pressure of a negative chamber with its own valve. Plain numbers are psi.",
    )
    riding: str | None = Field(
        None, max_length=80, description="Kind of riding, if the guide has a column for each.", examples=["park"]
    )
    condition: list[str] = Field(
        default=[],
        max_length=MOST_CONDITIONS,
        description="A condition on which the source adds to its guide, such as `e-bike`; may be repeated.",
        examples=[["e-bike"]],
    )
    reading: list[str] = Field(
        default=[],
        max_length=MOST_READINGS,
        description=(
            "A measurement, as travel@gauge pressure; may be repeated. Either two sags of this rider, each with "
            "its start pressure (`38mm@72psi`), or one if the spring's sizes are known. Or three gauge readings, "
            "taken slowly with no rider: at 0 mm after filling an empty fork without moving it, at 0 mm after "
            "cycling, and held compressed."
        ),
        examples=[["38mm@72psi", "33mm@80psi"]],
    )


@dataclass(frozen=True, slots=True)
class SetupFigure:
    """An input in SI with its half-width; `given` if the user gave it, else common practice."""

    value: float
    half_width: float
    given: bool


@dataclass(frozen=True, slots=True)
class GivenReading:
    """A reading by the user: travel from where they counted, gauge pressure, in SI, and its original text."""

    travel_m: float
    gauge_pa: float
    text: str


@dataclass(frozen=True, slots=True)
class Circumstances:
    """Rider, bike, targets and surroundings of a set-up, in SI; None if not given."""

    rider: Measure | None
    bike_kg: SetupFigure
    front_share: SetupFigure
    head_angle_rad: SetupFigure
    friction_n: float
    friction_given: bool
    sag: Measure | None
    spacers: int | None
    pressure: Measure | None
    negative: Measure | None
    fill_altitude_m: float | None
    fill_temperature_k: float | None
    altitude_m: float | None
    temperature_k: float | None
    readings: tuple[GivenReading, ...]
    riding: str | None = None
    conditions: tuple[str, ...] = ()

    @property
    def rider_kg(self) -> float | None:
        """Mass of the rider with gear."""
        return None if self.rider is None else float(self.rider.value)


def si(measure: Measure) -> float:
    """A measure in the coherent SI unit of its kind."""
    return si_of(measure.kind, measure.value, measure.unit)


def si_of(kind: Kind, value: Decimal, unit_name: str) -> float:
    """A catalogue figure in the coherent SI unit of its kind (gauge pressure in Pa, length in m …)."""
    found = unit(kind, unit_name)
    return float(Fraction(value) * found.factor + found.offset)


def shown_gauge_pa(shown: Quantity) -> float:
    """The figure to set of a shown pressure, in Pa gauge."""
    return si_of("pressure", Decimal(write_number(to_set(shown))), shown["unit"])


def circumstances(asked: SetupAsked) -> Circumstances:
    """Read all parameters of a set-up. Raises Invalid with a fault for each that cannot be read or is out of range.

    Given values have smaller half-widths than assumed ones; both are common practice, no source.
    """
    read = _Reader()

    def measure(name: str, kind: Kind, usual: str, low: str, high: str) -> Measure | None:
        text = getattr(asked, name)
        return None if text is None else read(lambda: _measure(text, name, kind, usual, low, high))

    rider = measure("rider_mass", "mass", "kg", "20", "250")
    bike = measure("bike_mass", "mass", "kg", "3", "60")
    share = measure("front_share", "percent", "%", "20", "80")
    angle = measure("head_angle", "angle", "°", "55", "80")
    friction = measure("friction", "force", "N", "0", "200")
    pressures = [measure(name, "pressure", "psi", "1", "600") for name in ("pressure", "negative_pressure")]
    top = str(int(ALTITUDE_MAX_M))
    heights = [measure(name, "length", "m", "0", top) for name in ("fill_altitude", "altitude")]
    warmths = [measure(name, "temperature", "°C", "-50", "70") for name in ("fill_temperature", "temperature")]
    sag_text = asked.sag
    sag = None if sag_text is None else read(lambda: _sag(sag_text))
    readings = [read(lambda text=text: _reading(text)) for text in asked.reading]  # type: ignore[misc]
    read.raise_faults()
    return Circumstances(
        rider=rider,
        bike_kg=_figure(bike, 0.5, load.BIKE_KG, load.BIKE_HALF_WIDTH_KG),
        front_share=_figure(share, 0.02, load.FRONT_SHARE, load.FRONT_SHARE_HALF_WIDTH),
        head_angle_rad=_figure(angle, math.radians(0.5), load.HEAD_ANGLE_RAD, load.HEAD_ANGLE_HALF_WIDTH_RAD),
        friction_n=load.FRICTION_HALF_WIDTH_N if friction is None else si(friction),
        friction_given=friction is not None,
        sag=sag,
        spacers=asked.spacers,
        pressure=pressures[0],
        negative=pressures[1],
        fill_altitude_m=_si(heights[0]),
        altitude_m=_si(heights[1]),
        fill_temperature_k=_si(warmths[0]),
        temperature_k=_si(warmths[1]),
        readings=tuple(reading for reading in readings if reading is not None),
        riding=asked.riding,
        conditions=tuple(asked.condition),
    )


class _Reader:
    """Call the parser of a parameter, and collect the faults until all have been read."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def __call__(self, read: Callable[[], T]) -> T | None:
        try:
            return read()
        except Invalid as refusal:
            self.faults += refusal.faults
            return None

    def raise_faults(self) -> None:
        if self.faults:
            raise Invalid(self.faults[0].text, self.faults)


def _measure(text: str, name: str, kind: Kind, usual: str, low: str, high: str) -> Measure:
    return parse_measure(text, kind=kind, usual=usual, parameter=name, minimum=Decimal(low), maximum=Decimal(high))


def _sag(text: str) -> Measure:
    return parse_measure(
        text, kind="percent", usual="%", parameter="sag", also={"length": "mm"}, minimum=Decimal(5), maximum=Decimal(60)
    )


def _reading(text: str) -> GivenReading:
    reading = parse_reading(text)
    if not 0 <= reading.travel.value <= 1000:
        raise Invalid.one("out-of-range", "reading: the travel must be 0 to 1000 mm", parameter="reading")
    if not 5 <= reading.pressure.value <= 600:
        raise Invalid.one("out-of-range", "reading: the pressure must be 5 to 600 psi", parameter="reading")
    return GivenReading(si(reading.travel), si(reading.pressure), text.strip())


def _figure(given: Measure | None, half_width: float, otherwise: float, wider: float) -> SetupFigure:
    return SetupFigure(otherwise, wider, False) if given is None else SetupFigure(si(given), half_width, True)


def _si(given: Measure | None) -> float | None:
    return None if given is None else si(given)
