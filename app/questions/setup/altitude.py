"""What altitude and temperature do to a filled fork: what the gauge shows where one rides, and what to fill."""

from app.errors import Invalid
from app.physics.atmosphere import gauge_elsewhere_band, pressure_at_altitude_pa
from app.physics.band import GAUGE_HALF_WIDTH_PA
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.model import Formatter
from app.questions.setup.parameters import Circumstances
from app.questions.setup.views import AltitudeView, SetupAnswer
from app.questions.setup.words import PRACTICE, surroundings_assumption
from app.units.quantity import computed

WORKSHOP_K = 293.15  # 20 °C; common practice, no source
WARMTH_GIVEN_K, WARMTH_ASSUMED_K, WEATHER_PA = 2.0, 5.0, 3000.0  # half-widths; common practice, no source


def ambient_pa(asked: Circumstances) -> float:
    """Pressure of the air around the fork where it is filled (ISO 2533); at sea level where no altitude is given."""
    return pressure_at_altitude_pa(asked.fill_altitude_m or 0.0)


def put_altitude(answer: SetupAnswer, work: SetupBuilder, start_gauge_pa: float, shown: Formatter) -> None:
    """Put the block into the answer where altitude or temperature of the ride is given, with what was assumed for it.

    Raises Invalid where so little pressure would be left that the gauge cannot show it.
    """
    asked, limits = work.asked, work.limits
    if asked.altitude_m is None and asked.temperature_k is None:
        return
    here_m = asked.fill_altitude_m or 0.0
    here_k = WORKSHOP_K if asked.fill_temperature_k is None else asked.fill_temperature_k
    there_m = here_m if asked.altitude_m is None else asked.altitude_m
    there_k = here_k if asked.temperature_k is None else asked.temperature_k
    here_pa, there_pa = pressure_at_altitude_pa(here_m), pressure_at_altitude_pa(there_m)
    here_off = WARMTH_ASSUMED_K if asked.fill_temperature_k is None else WARMTH_GIVEN_K
    there_off = WARMTH_ASSUMED_K if asked.temperature_k is None else WARMTH_GIVEN_K
    off = (GAUGE_HALF_WIDTH_PA, WEATHER_PA, WEATHER_PA)
    reading = gauge_elsewhere_band(
        start_gauge_pa, here_pa, there_pa, here_k, there_k, (*off, here_off, there_off)
    )  # fmt: skip
    fill = gauge_elsewhere_band(start_gauge_pa, there_pa, here_pa, there_k, here_k, (*off, there_off, here_off))
    if not (reading.value > 0 and fill.value > 0):
        raise Invalid.one(
            "out-of-range", "altitude and temperature leave no pressure in the fork", parameter="altitude"
        )
    block: AltitudeView = {
        "fill_altitude": computed("length", here_m, "m", to=shown.units, basis=None),
        "altitude": computed("length", there_m, "m", to=shown.units, basis=None),
        "fill_temperature": computed("temperature", here_k, "°C", to=shown.units, basis=None),
        "temperature": computed("temperature", there_k, "°C", to=shown.units, basis=None),
        "reading_there": shown.pressure(reading.value, (reading.low, reading.high)),
        "fill_to": shown.pressure(fill.value, (fill.low, fill.high)),
        "text": "“Reading there” is what the gauge shows there after filling to the start pressure; “fill to” is what "
        "to fill here for the gauge to show the start pressure there. The pump must lose nothing either time.",
    }
    if limits.pressure_pa is not None:
        block["fill_within_limit"] = not limits.over_pressure(fill.value)
        if not block["fill_within_limit"]:
            work.codes.append("over-pressure-limit")
    answer["altitude"] = block
    work.add_band("altitude", reading.share, reading.biggest)
    _assume(work, block, shown)


def _assume(work: SetupBuilder, block: AltitudeView, shown: Formatter) -> None:
    """What was taken for granted of both places, where nobody said so."""
    asked, known = work.asked, {each["name"] for each in work.assumptions}
    if asked.fill_altitude_m is None and "fill_altitude" not in known:
        work.assumptions += surroundings_assumption(asked, work.units)
    if asked.altitude_m is None:
        work.assume("altitude", block["altitude"], "Ridden at the altitude where it is filled.")
    if asked.fill_temperature_k is None:
        text = f"Filled in a workshop of this temperature, ±5 K ({PRACTICE})."
        work.assume("fill_temperature", block["fill_temperature"], text)
    if asked.temperature_k is None:
        work.assume("temperature", block["temperature"], f"As warm as where it is filled, ±5 K ({PRACTICE}).")
    weather = computed("absolute pressure", WEATHER_PA, "kPa(a)", to=work.units, basis=None)
    text = (
        f"Weather moves the air at either place this much either way; a temperature that is given, ±2 K ({PRACTICE})."
    )
    work.assume("weather", weather, text)
    if "gauge" not in known:
        gauge = shown.pressure(GAUGE_HALF_WIDTH_PA)
        work.assume("gauge", gauge, f"The gauge may be off this much either way ({PRACTICE}).")
