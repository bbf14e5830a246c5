"""Altitude and temperature: the pressure to fill for the same force where the fork is ridden, and the reading there."""

from collections.abc import Mapping

from app.errors import Invalid
from app.physics.air_chambers import disc_area_m2
from app.physics.atmosphere import SEA_LEVEL_PA, fill_for_equal_force_pa, pressure_at_altitude_pa, same_air_gauge_pa
from app.physics.band import GAUGE_HALF_WIDTH_PA, Band, Uncertain, band
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.model import Formatter
from app.questions.setup.parameters import Circumstances, shown_gauge_pa
from app.questions.setup.views import AltitudeView, SetupAnswer
from app.questions.setup.words import PRACTICE, surroundings_assumption
from app.units.quantity import computed

WORKSHOP_K = 293.15  # 20 °C; common practice, no source
WARMTH_GIVEN_K, WARMTH_ASSUMED_K, WEATHER_PA = 2.0, 5.0, 3000.0  # half-widths; common practice, no source
UNKNOWN_SHAFT_SHARE = Uncertain("shaft_share", 0.1, 0.1)  # As/c at sag: 0.08 to 0.19 on random springs (tests)


def ambient_pa(asked: Circumstances) -> float:
    """Pressure of the air around the fork where it is filled (ISO 2533); at sea level if no altitude is given."""
    return pressure_at_altitude_pa(asked.fill_altitude_m or 0.0)


def meant_for_pa(basis: str, asked: Circumstances) -> float:
    """The surrounding air that a start pressure applies to: sea level for a guide, which does not say; else
    where it is filled.
    """
    return SEA_LEVEL_PA if basis == "published" else ambient_pa(asked)


class _Places:
    """Where the fork is filled and ridden, in SI, with the uncertainty of both."""

    def __init__(self, asked: Circumstances, meant_pa: float) -> None:
        self.here_m = asked.fill_altitude_m or 0.0
        self.here_k = WORKSHOP_K if asked.fill_temperature_k is None else asked.fill_temperature_k
        self.there_m = self.here_m if asked.altitude_m is None else asked.altitude_m
        self.there_k = self.here_k if asked.temperature_k is None else asked.temperature_k
        self.here_pa, self.there_pa = (pressure_at_altitude_pa(each) for each in (self.here_m, self.there_m))
        here_off = WARMTH_ASSUMED_K if asked.fill_temperature_k is None else WARMTH_GIVEN_K
        there_off = WARMTH_ASSUMED_K if asked.temperature_k is None else WARMTH_GIVEN_K
        self.inputs = [
            Uncertain("gauge_pa", 0.0, GAUGE_HALF_WIDTH_PA),
            Uncertain("ambient_meant", meant_pa, WEATHER_PA),
            Uncertain("ambient_here", self.here_pa, WEATHER_PA),
            Uncertain("ambient_there", self.there_pa, WEATHER_PA),
            Uncertain("temperature_here", self.here_k, here_off),
            Uncertain("temperature_there", self.there_k, there_off),
        ]

    def fill(self, gauge_pa: float, shaft_share: Uncertain) -> Band:
        """The pressure to fill here, by a gauge with the same error both times."""

        def reading(at: Mapping[str, float]) -> float:
            return fill_for_equal_force_pa(
                gauge_pa, at["ambient_meant"], at["ambient_here"], at["ambient_there"], at["temperature_here"],
                at["temperature_there"], at["shaft_share"],
            ) - at["gauge_pa"]  # fmt: skip

        return band(reading, [*self.inputs, shaft_share])

    def reading(self, filled_pa: float) -> Band:
        """The gauge reading there after filling it here."""

        def reading(at: Mapping[str, float]) -> float:
            return same_air_gauge_pa(
                filled_pa + at["gauge_pa"], at["ambient_here"], at["ambient_there"], at["temperature_here"],
                at["temperature_there"],
            )  # fmt: skip

        return band(reading, [each for each in self.inputs if each.name != "ambient_meant"])


def put_altitude(
    answer: SetupAnswer, work: SetupBuilder, start_gauge_pa: float, basis: str, shaft_share: float | None,
    negative_pa: float | None, shown: Formatter,
) -> None:  # fmt: skip
    """Add the altitude block to the answer if an altitude or a temperature is given, with its assumptions.

    Raises Invalid if the pressure left is too low for the gauge.
    """
    asked = work.asked
    if asked.altitude_m is None and asked.temperature_k is None and asked.fill_altitude_m is None:
        return
    places = _Places(asked, meant_for_pa(basis, asked))
    share = UNKNOWN_SHAFT_SHARE if shaft_share is None else Uncertain("shaft_share", shaft_share, 0.0)
    fill = places.fill(start_gauge_pa, share)
    if not fill.value > 0:
        raise _nothing_left()
    reading = places.reading(fill.value)
    if not reading.value > 0:
        raise _nothing_left()
    units = shown.units
    block: AltitudeView = {
        "fill_altitude": computed("length", places.here_m, "m", to=units, basis=None),
        "altitude": computed("length", places.there_m, "m", to=units, basis=None),
        "fill_temperature": computed("temperature", places.here_k, "°C", to=units, basis=None),
        "temperature": computed("temperature", places.there_k, "°C", to=units, basis=None),
        "fill_to": shown.banded_pressure(fill),
        "reading_there": shown.banded_pressure(reading),
        "text": _text(places),
    }
    if negative_pa is not None:
        block["negative_fill_to"] = shown.banded_pressure(places.fill(negative_pa, Uncertain("shaft_share", 0.0, 0.0)))
    second = next((each for each in answer.get("chambers", ()) if each["chamber"] == "second positive"), None)
    if second is not None and "pressure" in second and second["pressure"]["kind"] != "at_least":
        second_pa = shown_gauge_pa(second["pressure"])
        block["second_positive_fill_to"] = shown.banded_pressure(
            places.fill(second_pa, Uncertain("shaft_share", 0.0, 0.0))
        )
    if work.limits.pressure_pa is not None:
        block["fill_within_limit"] = not work.limits.over_pressure(fill.value)
        if not block["fill_within_limit"]:
            work.codes.append("over-pressure-limit")
    _put_push(block, work, places, shown)
    answer["altitude"] = block
    work.add_band("altitude", fill.biggest)
    _assume(work, block, shown, basis)


def _nothing_left() -> Invalid:
    return Invalid.one("out-of-range", "altitude and temperature leave no pressure in the fork", parameter="altitude")


def _text(places: _Places) -> str:
    filled = (
        "“Fill to” gives the same sag under the same load where you ride; “reading there” is what the gauge then shows."
    )
    if places.there_m - places.here_m > 100 and places.there_k == places.here_k:
        return (
            f"{filled} You need not refill for a climb: the air in the fork stays the same, and only the "
            "gauge reads higher up there. Do not let air out to correct it. If in doubt, go by the sag."
        )
    return f"{filled} If in doubt, go by the sag."


def _put_push(block: AltitudeView, work: SetupBuilder, places: _Places, shown: Formatter) -> None:
    """The force that pushes both lower legs outward in thinner air than they were closed in."""
    stanchion_mm = work.found.context.chassis.stanchion_diameter_mm
    lost_pa = places.here_pa - places.there_pa
    if stanchion_mm is None or lost_pa < WEATHER_PA:
        return
    push = shown.force(2 * disc_area_m2(stanchion_mm / 1000) * lost_pa)
    block["lower_leg_push"] = push
    block["text"] += (
        f" Air trapped in the lower legs where you closed them pushes the fork out with {push['text']} in "
        "total there: let it out where you ride (extend the fork and slip a thin strap past each wiper)."
    )


def _assume(work: SetupBuilder, block: AltitudeView, shown: Formatter, basis: str) -> None:
    """The assumptions about both places."""
    asked, known = work.asked, {each["name"] for each in work.assumptions}
    if asked.fill_altitude_m is None and "fill_altitude" not in known:
        work.assumptions += surroundings_assumption(asked, work.units)
    if basis == "published":
        text = f"The guide does not state an altitude; sea level assumed, ±3 kPa ({PRACTICE})."
        work.assume("guide_altitude", computed("length", 0.0, "m", to=work.units, basis=None), text)
    if asked.altitude_m is None:
        work.assume("altitude", block["altitude"], "Ridden at the altitude at which it is filled.")
    if asked.fill_temperature_k is None:
        text = f"Filled in a workshop at this temperature, ±5 K ({PRACTICE})."
        work.assume("fill_temperature", block["fill_temperature"], text)
    if asked.temperature_k is None:
        work.assume("temperature", block["temperature"], f"As warm as where it is filled, ±5 K ({PRACTICE}).")
    weather = computed("absolute pressure", WEATHER_PA, "kPa(a)", to=work.units, basis=None)
    text = (
        "Weather changes the air pressure at either place by up to this much; a given temperature is good to "
        f"±2 K ({PRACTICE})."
    )
    work.assume("weather", weather, text)
    if "gauge" not in known:
        gauge = shown.pressure(GAUGE_HALF_WIDTH_PA)
        work.assume("gauge", gauge, f"The gauge may be off by this much either way ({PRACTICE}).")
