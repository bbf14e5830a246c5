"""What altitude and temperature do to a filled fork: what the gauge shows where one rides, and what to fill."""

from app.errors import Invalid
from app.physics.atmosphere import gauge_elsewhere_pa, pressure_at_altitude_pa
from app.questions.explained import Assumption
from app.questions.setup_asked import Circumstances
from app.questions.setup_limits import Limits
from app.questions.setup_model import Shown
from app.questions.setup_shapes import AltitudeShown
from app.units.quantity import computed

WORKSHOP_K = 293.15  # 20 °C; common practice, no source


def ambient_pa(asked: Circumstances) -> float:
    """Pressure of the air around the fork where it is filled (ISO 2533); at sea level where no altitude is given."""
    return pressure_at_altitude_pa(asked.fill_altitude_m or 0.0)


def altitude_shown(
    asked: Circumstances, start_gauge_pa: float, limits: Limits, shown: Shown
) -> tuple[AltitudeShown, list[Assumption]] | None:
    """The block, or None where neither altitude nor temperature of the ride is given; and what was assumed for it.

    Raises Invalid where so little pressure would be left that the gauge cannot show it.
    """
    if asked.altitude_m is None and asked.temperature_k is None:
        return None
    here_m = asked.fill_altitude_m or 0.0
    here_k = WORKSHOP_K if asked.fill_temperature_k is None else asked.fill_temperature_k
    there_m = here_m if asked.altitude_m is None else asked.altitude_m
    there_k = here_k if asked.temperature_k is None else asked.temperature_k
    here_pa, there_pa = pressure_at_altitude_pa(here_m), pressure_at_altitude_pa(there_m)
    reading = gauge_elsewhere_pa(start_gauge_pa, here_pa, there_pa, here_k, there_k)
    fill = gauge_elsewhere_pa(start_gauge_pa, there_pa, here_pa, there_k, here_k)
    if not (reading > 0 and fill > 0):
        raise Invalid.one(
            "out-of-range", "altitude and temperature leave no pressure in the fork", parameter="altitude"
        )
    block: AltitudeShown = {
        "fill_altitude": computed("length", here_m, "m", to=shown.units, basis=None),
        "altitude": computed("length", there_m, "m", to=shown.units, basis=None),
        "fill_temperature": computed("temperature", here_k, "°C", to=shown.units, basis=None),
        "temperature": computed("temperature", there_k, "°C", to=shown.units, basis=None),
        "reading_there": shown.pressure(reading),
        "fill_to": shown.pressure(fill),
        "text": "`reading_there` is what the gauge shows there after filling to the start pressure; `fill_to` is what "
        "to fill here for the gauge to show the start pressure there. The pump must lose nothing either time.",
    }
    if limits.pressure_pa is not None:
        block["fill_within_limit"] = not limits.over_pressure(fill)
    assumed: list[Assumption] = []
    if asked.fill_temperature_k is None:
        text = "Filled in a workshop of this temperature (common practice, no source)."
        assumed.append({"name": "fill_temperature", "value": block["fill_temperature"], "text": text})
    return block, assumed
