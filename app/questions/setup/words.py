"""The text of a set-up: assumptions, formulas and their validity, bands, and the sentence on changing travel."""

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from app.catalogue.tables import Spring
from app.physics.atmosphere import SEA_LEVEL_PA
from app.physics.band import SHARE, Band
from app.physics.load import UNSPRUNG_FRONT_KG
from app.physics.readings import ReadingSpread
from app.questions.answers.explained import Assumption, Formula
from app.questions.answers.views import share
from app.questions.setup.inputs import Target
from app.questions.setup.parameters import Circumstances
from app.questions.setup.views import BandView, SagView
from app.units.preferences import Units
from app.units.quantity import Quantity, computed, quantity
from app.units.table import Kind

PRACTICE = "common practice, no source"
LIGHT_LOAD_N = 250.0  # if no rider is given; only widens the band of sags. Common practice, no source

MOVES_MOST = {
    "front_share": "the share of the weight on the front wheel",
    "bike_kg": "the mass of the bike",
    "unsprung_front_kg": "the unsprung mass at the front",
    "head_angle_rad": "the head angle",
    "friction_n": "friction",
    "end_volume_share": "the positive chamber's volume",
    "negative_volume_share": "the negative chamber's volume",
    "bore_m": "the bore",
    "port_m": "the position of the port",
    "gauge_pa": "the gauge",
    "first load": "the rider's position at the first sag",
    "second load": "the rider's position at the second sag",
    "curvature": "the straight line between the two sags",
    "force": "the force that was read",
    "load": "the load",
    "travel": "the travel at which the force was read",
    "ambient_here": "the weather where it is filled",
    "ambient_there": "the weather where it is ridden",
    "temperature_here": "the temperature where it is filled",
    "temperature_there": "the temperature where it is ridden",
    "ambient_meant": "the surrounding air of the start pressure",
    "shaft_share": "the size of the shaft, which is not stated",
    "exponent": "the speed of the stroke",
    "stanchion": "the diameter of the stanchions",
    "free volume": "the free volume of the lower legs",
    "oil": "the oil in the lower legs",
    "rate": "the last digit of the spring rate",
    "preload": "the last digit of the preload",
}

VALIDITY = (
    "Air as an ideal gas (within 1.5 % of real air up to 25 bar absolute), one spring leg, no damping. Sag "
    "is static: slow, damping open, mean of six readings, three settling down and three coming up. A band contains "
    "the true value at least as often as it says, if the inputs lie within their spreads and the fork is "
    "sound."
)
COIL_VALIDITY = VALIDITY.partition(" bar absolute), ")[2].replace("one spring leg", "One spring leg")


def band_view(biggest: str | None) -> BandView:
    """A band in words; `biggest` as the physics names it."""
    percent = round(SHARE * 100, 1)
    shown: BandView = {
        "share_percent": percent,
        "text": f"The true value lies in this band at least {percent:g} times in 100.",
    }
    if biggest is not None:
        shown["biggest"] = MOVES_MOST.get(biggest, biggest)
        shown["text"] += f" {shown['biggest'].capitalize()} affects it most."
    return shown


def sag_view(target: Target, units: Units, free_travel: Band | None, basis: str | None) -> SagView:
    """The wanted sag, with the zero it is counted from. The O-ring's reading is as uncertain as the rest position."""
    shown: SagView = {
        "percent": sag_percent(target, units),
        "travel": _sag_length(target, units),
        "text": _zero(target, basis),
    }
    if free_travel is None or basis in ("measured from two sags",):
        return shown
    shown["text"] = _EXTENDED if free_travel.value > 0 else f"{_EXTENDED} Without a load the fork rests there."
    if free_travel.value > 0:
        low_m, high_m = _ends_m(target)
        ends = low_m - free_travel.high, high_m - free_travel.low
        shown["from_rest"] = computed("length", target.sag_m - free_travel.value, "mm", band=ends, to=units)
        rests = computed("length", free_travel.value, "mm", to=units)["text"]
        shown["text"] += (
            f" With air in it the fork sits about {rests} into its travel, so an O-ring pushed to the seal there reads "
            f"{shown['from_rest']['text']} instead of {shown['travel']['text']}."
        )
    if target.wanted_by == "guide":
        shown["text"] += " The guide does not say where it counts from."
    return shown


def sag_percent(target: Target, units: Units) -> Quantity:
    """The wanted sag as a share of the travel; a range if the guide states one."""
    stated = target.stated
    if stated is None or not stated.has_range:
        return share(target.percent, units)
    return quantity("percent", stated.value, "%", minimum=stated.low, maximum=stated.high, is_set=True, to=units)


def _ends_m(target: Target) -> tuple[float, float]:
    """The shortest and the longest sag that is wanted: one figure, unless the guide states a range."""
    stated = target.stated
    ends = (None, None) if stated is None else (stated.low, stated.high)
    low, high = (target.percent if each is None else float(each) for each in ends)
    return target.sag_m * low / target.percent, target.sag_m * high / target.percent


def _sag_length(target: Target, units: Units) -> Quantity:
    """The wanted sag as a length. The ends of a range are rounded into it."""
    stated = target.stated
    if stated is None or not stated.has_range:
        return computed("length", target.sag_m, "mm", to=units, basis=None)
    travel_mm = Decimal(repr(round(target.sag_m / target.percent * 1e5, 6)))
    value, low, high = (
        None if each is None else (each * travel_mm / 100).quantize(Decimal("0.1"), rounding)
        for each, rounding in (
            (stated.value, ROUND_HALF_EVEN), (stated.low, ROUND_CEILING), (stated.high, ROUND_FLOOR),
        )
    )  # fmt: skip
    return quantity("length", value, "mm", minimum=low, maximum=high, is_set=True, to=units)


_EXTENDED = "Counted from full extension, with the fork pulled out to its stop."


def _zero(target: Target, basis: str | None) -> str:
    if basis == "measured from two sags":
        return "Counted from the same point as both measured sags: full extension or rest."
    if target.wanted_by == "guide":
        return "As stated in the guide, which does not say whether it counts from full extension or from rest."
    return _EXTENDED


def disagreement(wanted: str, expected: str, pressure: str, source: str) -> str:
    """The sentence for a published sag that lies outside the band of the expected one."""
    return (
        f"The guide says {wanted} of sag at {pressure}, the calculation expects {expected}: they disagree by "
        f"more than their bands ({source}). Start there, measure the sag, and go by the sag."
    )


def travel_change(spring: Spring) -> tuple[bool, str]:
    """Whether the pressure can stay the same at another travel of the family, and the sentence that says so."""
    if spring.kind == "coil" or spring.travel_set_by == "travel spacer":
        return False, (
            "Travel spacers set the travel here, and they change the chambers or the preload: measure again "
            "after a change of travel."
        )
    if spring.travel_set_by is None or spring.family is None or spring.negative != "port":
        return False, "How another travel changes this spring's chambers is not stated: measure again."
    return True, (
        "Within this family the travel is set by the length of the shaft: at full extension nothing changes, "
        "so the same pressure with the same spacers gives the same sag in millimetres at every travel, but a "
        "different percentage. The end of the stroke changes: with less travel, more air is left there."
    )


def formulas(model: bool, tiers: list[str], altitude: bool, coil: bool) -> list[Formula]:
    """The formulas an answer used."""
    used: list[Formula] = []
    if model or coil or "measured from one force" in tiers:
        used.append(_LOAD)
    if model:
        used.append(_SPRING)
    used += [formula for basis, formula in _BY_BASIS.items() if basis in tiers]
    if coil:
        used.append(_COIL)
    if altitude:
        used.append(_ALTITUDE)
    return used


_LOAD: Formula = {
    "text": "F = [(rider with gear + bike)·front share − unsprung front mass]·g·sin(head angle)",
    "source": "statics",
    "validity": "standing still on level ground; both legs taken as one",
}
_SPRING: Formula = {
    "text": "F(x) = A·P₊ − An·P₋ − As·pa; P₊ = P0·(V(0)/V(x))ⁿ; P₋ = P₊(x_p)·(Vn(x_p)/Vn(x))ⁿ, or "
    "P₋0·(Vn(0)/Vn(x))ⁿ with its own valve; "
    "V(x) = V_end − k·v + A·(T − x); Vn(x) = V_neg + An·x; start pressure P0 = (F + As·pa)/c(sag), c = (F + As·pa)/P0",
    "source": "polytropic gas law (Cengel & Boles, Thermodynamics) with the force balance of the piston",
    "validity": "n = 1 up to the sag (slow curve: all the way), 1.30 to 1.41 beyond it; P0 is absolute, read at full "
    "extension after cycling; the air in the lower legs is left out",
}
_BY_BASIS: dict[str, Formula] = {
    "measured from two sags": {
        "text": "ln(p + pa) is a straight line over ln(sag) between two readings of one rider",
        "source": "from F = c(x)·P0 − As·pa with c close to a power of x; tested on random springs",
        "validity": "same rider, same spacers; sags 1.08 to 2 times apart; no more than 20 % of their span outside it",
    },
    "measured from one sag": {
        "text": "the force at the sag that was read equals the force at the wanted sag: (p + pa)·c is constant",
        "source": "the force balance of the piston",
        "validity": "same rider, same spacers; the sizes of the spring as the catalogue gives them",
    },
    "measured from one force": {
        "text": "c = (F + As·pa)/(p + pa); start pressure = (load + As·pa)/c − pa",
        "source": "the force balance of the piston",
        "validity": "at the travel where the force was read, with the spacers that were fitted",
    },
    "measured geometry": {
        "text": "V(0)/A = y·P3/(P3 − P2); V_neg/A from the air that crossed the port between the first two readings",
        "source": "Boyle's law and conservation of mass",
        "validity": "three slow readings; the air in pump and hose counts as part of the positive chamber",
    },
}
_COIL: Formula = {
    "text": "F = k·(x + preload); k = F/(sag + preload)",
    "source": "Hooke's law",
    "validity": "one coil, or two taken as one; the rate is per length of fork travel",
}
_ALTITUDE: Formula = {
    "text": "fill = [p + pa_meant − As/c·(pa_meant − pa_there)]·T_here/T_there − pa_here; reading there = (fill + "
    "pa_here)·T_there/T_here − pa_there",
    "source": "equal force on the piston; ideal gas at constant mass and volume; ISO 2533:1975 for the surrounding air",
    "validity": "fork at full extension both times, air at the temperature of its surroundings; weather moves the "
    "surrounding air by about 3 kPa",
}


def load_assumptions(asked: Circumstances, units: Units) -> list[Assumption]:
    """The assumptions about rider and bike: values that were not given, and the accuracy of those that were."""

    def taken(name: str, kind: Kind, si_value: float, usual: str, text: str) -> Assumption:
        value: Quantity = computed(kind, si_value, usual, to=units, basis=None)
        return {"name": name, "value": value, "text": f"{text} ({PRACTICE})"}

    front, bike, angle = asked.front_share, asked.bike_kg, asked.head_angle_rad
    found: list[Assumption] = []
    if not front.given:
        found.append(
            taken("front_share", "percent", front.value, "%", "Share on the front wheel, ±5 percentage points")
        )
    if not bike.given:
        found.append(taken("bike_mass", "mass", bike.value, "kg", "Mass of the bike, ±2 kg"))
    found.append(taken("unsprung_front_mass", "mass", UNSPRUNG_FRONT_KG, "kg", "Wheel, brake and lower legs, ±1 kg"))
    if not angle.given:
        found.append(taken("head_angle", "angle", angle.value, "°", "Head angle, ±2°"))
    named = {
        "share on the front wheel ±2 percentage points": front,
        "mass of the bike ±0.5 kg": bike,
        "head angle ±0.5°": angle,
    }
    given = [words for words, each in named.items() if each.given]
    if given:
        found.append(
            {"name": "given", "text": (f"Assumed accuracy of the figures given: {', '.join(given)} ({PRACTICE}).")}
        )
    if not asked.friction_given:
        found.append(taken("friction", "force", asked.friction_n, "N", "Friction may hold up to this much of the load"))
    return found


def reading_assumptions(rider_unknown: bool, units: Units) -> list[Assumption]:
    """The assumed accuracy of sag, force and gauge readings; without a rider, the load that it refers to."""
    usual = ReadingSpread()
    spreads: list[tuple[str, Kind, float, str]] = [
        ("reading_load", "force", usual.load_n, "N"),
        ("reading_travel", "length", usual.sag_m, "mm"),
        ("reading_gauge", "pressure", usual.gauge_pa, "psi"),
    ]
    text = f"Standard deviation of a reading; more for load and force if there is friction ({PRACTICE})."
    found: list[Assumption] = [
        {"name": name, "value": computed(kind, value, unit, to=units, basis=None), "text": text}
        for name, kind, value, unit in spreads
    ]
    if rider_unknown:
        load = computed("force", LIGHT_LOAD_N, "N", to=units, basis=None)
        found.append({"name": "load", "value": load, "text": f"For a light rider; only widens the band ({PRACTICE})."})
    return found


def surroundings_assumption(asked: Circumstances, units: Units) -> list[Assumption]:
    """The air around the fork where it is filled, if no altitude was given."""
    if asked.fill_altitude_m is not None:
        return []
    value = computed("absolute pressure", SEA_LEVEL_PA, "kPa(a)", to=units, basis=None)
    return [
        {"name": "fill_altitude", "value": value, "text": "Filled at sea level (ISO 2533). If not, give fill_altitude."}
    ]
