"""The closed list of quantity kinds and their units, as data.

`symbols` are matched exactly, because case carries meaning in the SI (mm is not Mm); `words` in any case. A `step` is
the smallest sensible step for reading in that unit. UCUM codes follow the Unified Code for Units of Measure; pint names
are the only texts that ever reach the unit library.
"""

from dataclasses import dataclass
from itertools import product
from typing import Literal, get_args

Kind = Literal[
    "torque",
    "pressure",
    "absolute pressure",
    "stress",
    "volume",
    "length",
    "area",
    "mass",
    "force",
    "spring rate",
    "kinematic viscosity",
    "dynamic viscosity",
    "density",
    "temperature",
    "temperature difference",
    "angle",
    "duration",
    "calendar time",
    "percent",
    "energy",
]
KINDS: tuple[Kind, ...] = get_args(Kind)


@dataclass(frozen=True, slots=True)
class Definition:
    """One unit of one kind: its names, its code, and the source of its factor."""

    kind: Kind
    name: str
    ucum: str
    pint: str
    step: str
    symbols: tuple[str, ...] = ()
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Base:
    """The coherent SI unit that a kind's factors lead to, for people and for the unit library."""

    name: str
    pint: str
    meaning: str


BASES: dict[Kind, Base] = {
    "torque": Base("N·m", "newton*meter", "a moment of force; never an energy"),
    "pressure": Base("Pa", "pascal", "gauge pressure: pressure above the surrounding air, as a shock pump shows it"),
    "absolute pressure": Base("Pa", "pascal", "pressure above vacuum"),
    "stress": Base("Pa", "pascal", "force per area inside a solid, such as proof stress"),
    "volume": Base("m³", "meter**3", "oil, spacers, chambers; `fl oz` alone means the US fluid ounce"),
    "length": Base("m", "meter", "travel, diameters, levels, altitude"),
    "area": Base("m²", "meter**2", "stress areas, piston areas"),
    "mass": Base("kg", "kilogram", "rider and bike; never a force"),
    "force": Base("N", "newton", "a push or pull; never a mass"),
    "spring rate": Base("N/m", "newton/meter", "force per length of a spring"),
    "kinematic viscosity": Base("m²/s", "meter**2/second", "the property that oils are classed by"),
    "dynamic viscosity": Base("Pa·s", "pascal*second", "kinematic viscosity times density"),
    "density": Base("kg/m³", "kilogram/meter**3", "mass per volume of a fluid"),
    "temperature": Base("K", "kelvin", "a point on a scale; never a difference"),
    "temperature difference": Base(
        "K", "kelvin", ("difference between two temperatures, independent of the scale's zero")
    ),
    "angle": Base("rad", "radian", "head and seat angles"),
    "duration": Base("s", "second", "time in use or elapsed"),
    "calendar time": Base("month", "month", "months and years of the calendar; never hours in use"),
    "percent": Base("1", "dimensionless", "a share of a whole"),
    "energy": Base("J", "joule", "work; never a torque"),
}


def _joined(first: str, second: str, separators: tuple[str, ...] = ("", " ", ".", "-", "·")) -> tuple[str, ...]:
    """Every way to write two space-separated lists of words together: `in lb` and `inch pounds` alike."""
    return tuple(a + by + b for a, b in product(first.split(), second.split()) for by in separators)


_POUND = "lb lbs lbf pound pounds pounds-force"
_INCH = "in inch inches"
_FOOT = "ft foot feet"
_KILOPOND = "kgf kg kp"

UNITS: tuple[Definition, ...] = (
    Definition(
        "torque",
        "N·m",
        "N.m",
        "newton*meter",
        "0.1",
        (*_joined("N", "m"), "NM"),
        _joined("newton", "metre metres meter meters", (" ", "-")),
    ),
    Definition("torque", "N·cm", "N.cm", "newton*centimeter", "1", _joined("N", "cm")),
    Definition(
        "torque",
        "in·lbf",
        "[lbf_av].[in_i]",
        "pound_force*inch",
        "1",
        (),
        _joined(_INCH, _POUND) + _joined(_POUND, _INCH),
    ),
    Definition(
        "torque",
        "ft·lbf",
        "[lbf_av].[ft_i]",
        "pound_force*foot",
        "0.1",
        (),
        _joined(_FOOT, _POUND) + _joined(_POUND, _FOOT),
    ),
    Definition("torque", "kgf·cm", "kgf.cm", "kilogram_force*centimeter", "1", _joined(_KILOPOND, "cm")),
    Definition("torque", "kgf·m", "kgf.m", "kilogram_force*meter", "0.01", _joined(_KILOPOND, "m")),
    Definition("pressure", "bar", "bar", "bar", "0.1", (), ("bar", "bars", "barg", "bar(g)", "bar gauge")),
    Definition(
        "pressure",
        "psi",
        "[psi]",
        "pound_force/inch**2",
        "1",
        ("lbf/in²", "lb/in²"),
        ("psi", "psig", "psi(g)", "psi gauge", "pounds per square inch"),
    ),
    Definition(
        "pressure", "kPa", "kPa", "kilopascal", "1", (), ("kPa", "kPa(g)", "kPa gauge", "kilopascal", "kilopascals")
    ),
    Definition("pressure", "MPa", "MPa", "megapascal", "0.01", ("Mpa", "MPa(g)"), ("megapascal", "megapascals")),
    Definition("pressure", "Pa", "Pa", "pascal", "1", ("Pa(g)",), ("pascal", "pascals")),
    Definition(
        "pressure", "kgf/cm²", "att", "kilogram_force/centimeter**2", "0.1", ("kg/cm²", "kp/cm²", "kgf/cm^2", "kg/cm^2")
    ),
    Definition("absolute pressure", "bar(a)", "bar", "bar", "0.01", (), ("bara", "bar abs", "bar absolute")),
    Definition(
        "absolute pressure", "psi(a)", "[psi]", "pound_force/inch**2", "0.1", (), ("psia", "psi abs", "psi absolute")
    ),
    Definition("absolute pressure", "kPa(a)", "kPa", "kilopascal", "1", (), ("kPa abs", "kPa absolute")),
    Definition("absolute pressure", "MPa(a)", "MPa", "megapascal", "0.001", ("MPa abs", "MPa absolute")),
    Definition("absolute pressure", "Pa(a)", "Pa", "pascal", "1", ("Pa abs", "Pa absolute")),
    Definition(
        "absolute pressure",
        "kgf/cm²(a)",
        "att",
        "kilogram_force/centimeter**2",
        "0.01",
        ("kgf/cm² abs", "kg/cm² abs", "ata"),
    ),
    Definition("absolute pressure", "hPa", "hPa", "hectopascal", "1", ("hPa(a)", "hPa abs", "mbar", "mbar(a)")),
    Definition(
        "absolute pressure", "atm", "atm", "standard_atmosphere", "0.01", (), ("atm abs", "atmosphere", "atmospheres")
    ),
    Definition("stress", "MPa", "MPa", "megapascal", "1", ("Mpa",)),
    Definition("stress", "N/mm²", "N/mm2", "newton/millimeter**2", "1", ("N/mm^2",)),
    Definition(
        "volume",
        "mL",
        "mL",
        "milliliter",
        "0.1",
        ("ml",),
        ("cc", "ccm", "millilitre", "millilitres", "milliliter", "milliliters"),
    ),
    Definition("volume", "cm³", "cm3", "centimeter**3", "0.1", ("cm^3", "cu cm")),
    Definition("volume", "L", "L", "liter", "0.001", ("l", "dm³"), ("litre", "litres", "liter", "liters")),
    Definition(
        "volume",
        "US fl oz",
        "[foz_us]",
        "US_fluid_ounce",
        "0.01",
        (),
        (
            *("fl oz", "floz", "fl. oz", "fl. oz.", "fl-oz", "fl.oz", "oz fl", "fluid ounce", "fluid ounces"),
            *("fl oz us", "fl oz (us)", "us floz", "us fluid ounce", "us fluid ounces"),
        ),
    ),
    Definition(
        "volume",
        "imp fl oz",
        "[foz_br]",
        "imperial_fluid_ounce",
        "0.01",
        (),
        ("uk fl oz", "imperial fl oz", "fl oz imp", "fl oz (imp)", "fl oz uk", "fl oz (uk)", "imperial fluid ounce"),
    ),
    Definition("volume", "in³", "[cin_i]", "inch**3", "0.01", (), ("in^3", "cu in", "cubic inch", "cubic inches")),
    Definition(
        "length", "mm", "mm", "millimeter", "0.1", (), ("millimetre", "millimetres", "millimeter", "millimeters")
    ),
    Definition(
        "length", "cm", "cm", "centimeter", "0.1", (), ("centimetre", "centimetres", "centimeter", "centimeters")
    ),
    Definition("length", "m", "m", "meter", "1", (), ("metre", "metres", "meter", "meters")),
    Definition("length", "in", "[in_i]", "inch", "0.01", ('"', "''"), ("in", "in.", "inch", "inches")),
    Definition("length", "ft", "[ft_i]", "foot", "1", (), ("ft", "ft.", "foot", "feet")),
    Definition("length", "µm", "um", "micrometer", "1", ("um",), ("micron", "microns", "micrometre", "micrometer")),
    Definition("length", "thou", "[mil_i]", "thou", "1", (), ("thou", "mil", "mils")),
    Definition("area", "mm²", "mm2", "millimeter**2", "0.1", ("mm^2", "sq mm")),
    Definition("area", "cm²", "cm2", "centimeter**2", "0.01", ("cm^2", "sq cm")),
    Definition("area", "in²", "[sin_i]", "inch**2", "0.001", (), ("in^2", "sq in", "square inch", "square inches")),
    Definition("mass", "kg", "kg", "kilogram", "0.1", (), ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms")),
    Definition("mass", "g", "g", "gram", "1", (), ("gram", "grams", "gramme", "grammes")),
    Definition("mass", "lb", "[lb_av]", "pound", "1", (), ("lb", "lbs", "lb.", "lbs.", "lbm", "pound", "pounds")),
    Definition("mass", "oz", "[oz_av]", "ounce", "0.1", (), ("oz", "ounce", "ounces")),
    Definition("mass", "st", "[stone_av]", "stone", "0.1", (), ("st", "stone", "stones")),
    Definition("force", "N", "N", "newton", "1", (), ("newton", "newtons")),
    Definition("force", "kN", "kN", "kilonewton", "0.01", (), ("kilonewton", "kilonewtons")),
    Definition(
        "force",
        "lbf",
        "[lbf_av]",
        "pound_force",
        "1",
        (),
        ("lbf", "pound-force", "pounds-force", "pound force", "pounds force"),
    ),
    Definition("force", "kgf", "kgf", "kilogram_force", "0.1", ("kp",), ("kgf", "kilogram-force")),
    Definition("spring rate", "N/mm", "N/mm", "newton/millimeter", "0.01"),
    Definition("spring rate", "N/m", "N/m", "newton/meter", "1"),
    Definition(
        "spring rate",
        "lbf/in",
        "[lbf_av]/[in_i]",
        "pound_force/inch",
        "1",
        (),
        ("lb/in", "lbs/in", "lbf/in", "lb/inch", "lbs/inch", "pounds per inch"),
    ),
    Definition("spring rate", "kgf/mm", "kgf/mm", "kilogram_force/millimeter", "0.01", ("kg/mm", "kp/mm")),
    Definition("kinematic viscosity", "mm²/s", "mm2/s", "millimeter**2/second", "0.1", ("mm^2/s",)),
    Definition("kinematic viscosity", "cSt", "cSt", "centistokes", "0.1", (), ("cSt", "centistoke", "centistokes")),
    Definition("dynamic viscosity", "mPa·s", "mPa.s", "millipascal*second", "0.1", _joined("mPa", "s")),
    Definition("dynamic viscosity", "cP", "cP", "centipoise", "0.1", ("cp",), ("centipoise",)),
    Definition("density", "g/mL", "g/mL", "gram/milliliter", "0.001", ("g/ml", "g/cc")),
    Definition("density", "g/cm³", "g/cm3", "gram/centimeter**3", "0.001", ("g/cm^3",)),
    Definition("density", "kg/L", "kg/L", "kilogram/liter", "0.001", ("kg/l", "kg/dm³")),
    Definition("density", "kg/m³", "kg/m3", "kilogram/meter**3", "1", ("kg/m^3",)),
    Definition(
        "temperature",
        "°C",
        "Cel",
        "degree_Celsius",
        "1",
        ("C", "° C"),
        ("°C", "degC", "deg C", "celsius", "degrees celsius"),
    ),
    Definition(
        "temperature", "°F", "[degF]", "degree_Fahrenheit", "1", ("F", "° F"), ("°F", "degF", "deg F", "fahrenheit")
    ),
    Definition("temperature", "K", "K", "kelvin", "1", (), ("kelvin", "kelvins")),
    Definition(
        "temperature difference",
        "Δ°C",
        "Cel",
        "delta_degree_Celsius",
        "1",
        ("ΔC",),
        ("delta degC", "delta °C", "delta C"),
    ),
    Definition(
        "temperature difference",
        "Δ°F",
        "[degF]",
        "delta_degree_Fahrenheit",
        "1",
        ("ΔF",),
        ("delta degF", "delta °F", "delta F"),
    ),
    Definition("temperature difference", "ΔK", "K", "kelvin", "1", (), ("delta K", "delta kelvin")),
    Definition("angle", "°", "deg", "degree", "0.1", (), ("deg", "degs", "degree", "degrees")),
    Definition("angle", "′", "'", "arcminute", "1", (), ("arcmin", "arcminute", "arcminutes")),
    Definition("angle", "rad", "rad", "radian", "0.001", (), ("radian", "radians")),
    Definition("duration", "h", "h", "hour", "0.1", (), ("hr", "hrs", "hour", "hours")),
    Definition("duration", "min", "min", "minute", "1", (), ("min", "mins", "minute", "minutes")),
    Definition("duration", "s", "s", "second", "1", (), ("sec", "secs", "second", "seconds")),
    Definition("duration", "d", "d", "day", "0.1", (), ("day", "days")),
    Definition("duration", "wk", "wk", "week", "0.1", (), ("week", "weeks")),
    Definition("calendar time", "months", "mo", "month", "1", ("mo",), ("month", "months")),
    Definition("calendar time", "years", "a", "year", "0.1", ("a", "y"), ("yr", "yrs", "year", "years")),
    Definition("percent", "%", "%", "percent", "0.1", (), ("percent", "per cent", "pct")),
    Definition("percent", "ratio", "1", "dimensionless", "0.001", (), ("ratio", "fraction")),
    Definition("energy", "J", "J", "joule", "1", (), ("joule", "joules")),
    Definition("energy", "kJ", "kJ", "kilojoule", "0.001", (), ("kilojoule", "kilojoules")),
)
