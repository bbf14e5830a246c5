"""Factors and codes against outside: scipy.constants, printed NIST SP 811 factors, UCUM through ucumvert."""

import csv
import itertools
import math
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from scipy import constants as sc
from ucumvert import PintUcumRegistry

from app.units import factors
from app.units.convert import exact, linear
from app.units.definitions import BASES, UNITS
from app.units.factors import factors_of, kept_as
from app.units.table import KINDS, Unit, find, unit, units_of

REFERENCE = Path(__file__).parents[1] / "reference" / "conversion_factors.csv"
ROWS = {row["id"]: row for row in csv.DictReader(REFERENCE.open(encoding="utf-8"))}

# The factor to coherent SI by scipy.constants 1.17; plain SI prefixes are written out.
SCIPY = {
    "torque": {
        "N·m": 1.0, "N·cm": sc.centi, "in·lbf": sc.lbf * sc.inch, "ft·lbf": sc.lbf * sc.foot,
        "kgf·cm": sc.kgf * sc.centi, "kgf·m": sc.kgf,
    },
    "pressure": {
        "bar": sc.bar, "psi": sc.psi, "kPa": sc.kilo, "MPa": sc.mega, "Pa": 1.0, "kgf/cm²": sc.kgf / sc.centi**2,
    },
    "absolute pressure": {
        "bar(a)": sc.bar, "psi(a)": sc.psi, "kPa(a)": sc.kilo, "MPa(a)": sc.mega, "Pa(a)": 1.0,
        "kgf/cm²(a)": sc.kgf / sc.centi**2, "hPa": sc.hecto, "atm": sc.atm,
    },
    "stress": {"MPa": sc.mega, "N/mm²": sc.mega},
    "volume": {
        "mL": sc.milli * sc.liter, "cm³": sc.centi**3, "L": sc.liter, "US fl oz": sc.fluid_ounce_US,
        "imp fl oz": sc.fluid_ounce_imp, "in³": sc.inch**3,
    },
    "length": {
        "mm": sc.milli, "cm": sc.centi, "m": 1.0, "in": sc.inch, "ft": sc.foot, "µm": sc.micro, "thou": sc.mil,
    },
    "area": {"mm²": sc.milli**2, "cm²": sc.centi**2, "in²": sc.inch**2},
    "mass": {"kg": 1.0, "g": sc.gram, "lb": sc.lb, "oz": sc.oz, "st": sc.stone},
    "force": {"N": 1.0, "kN": sc.kilo, "lbf": sc.lbf, "kgf": sc.kgf},
    "spring rate": {"N/mm": sc.kilo, "N/m": 1.0, "lbf/in": sc.lbf / sc.inch, "kgf/mm": sc.kgf / sc.milli},
    "kinematic viscosity": {"mm²/s": sc.milli**2, "cSt": sc.micro},
    "dynamic viscosity": {"mPa·s": sc.milli, "cP": sc.milli},
    "density": {"g/mL": sc.kilo, "g/cm³": sc.kilo, "kg/L": sc.kilo, "kg/m³": 1.0},
    "temperature": {"°C": 1.0, "°F": sc.degree_Fahrenheit, "K": 1.0},
    "temperature difference": {"Δ°C": 1.0, "Δ°F": sc.degree_Fahrenheit, "ΔK": 1.0},
    "angle": {"°": sc.degree, "′": sc.arcmin, "rad": 1.0},
    "duration": {"h": sc.hour, "min": sc.minute, "s": 1.0, "d": sc.day, "wk": sc.week},
    "calendar time": {"months": 1.0, "years": 12.0},  # by the calendar; scipy has no month
    "percent": {"%": sc.centi, "ratio": 1.0},
    "energy": {"J": 1.0, "kJ": sc.kilo},
}  # fmt: skip

PAIRS = [pair for kind in KINDS for pair in itertools.product(units_of(kind), repeat=2)]

# How the reference file writes a unit, if we deliberately do not accept that spelling.
WRITTEN = {
    "lbf·in": "in·lbf", "lbf·ft": "ft·lbf", "kgf/cm2 (technical atmosphere, at)": "kgf/cm²", "atm": "atm",
    "UK (imperial) fl oz": "imp fl oz", "UK fl oz": "imp fl oz", "mil (0.001 in)": "thou",
    "lbf/in (spring rate)": "lbf/in",
    "kgf/mm (spring rate)": "kgf/mm", "lb (avoirdupois)": "lb", "oz (avoirdupois)": "oz", "cSt (centistokes)": "cSt",
    "cP (centipoise)": "cP", "degree of angle": "°", "degree": "°", "minute of angle": "′", "arcminute": "′",
    "delta degF (temperature difference)": "Δ°F", "delta degC": "Δ°C",
}  # fmt: skip
# Not in the table: no fork is specified in ounce-force inches or in columns of mercury.
LEFT_OUT = {"CF03", "CF30", "CF31"}


def written(row: dict[str, str], column: str) -> Unit:
    text = WRITTEN.get(row[column], row[column])
    gauge = row["id"] == "CF11" and column == "to_unit"
    found = find("Pa(a)" if gauge else text)
    assert found, f"{row['id']}: {text} is not in the table"
    return found[0]


def test_every_unit_has_a_scipy_factor() -> None:
    assert {kind: {each.name for each in units_of(kind)} for kind in KINDS} == {k: set(v) for k, v in SCIPY.items()}


@pytest.mark.parametrize(("start", "target"), PAIRS, ids=lambda each: f"{each.kind}:{each.name}")
def test_every_pair_agrees_with_scipy(start: Unit, target: Unit) -> None:
    factors = SCIPY[start.kind]
    assert float(linear(start, target)[0]) == pytest.approx(factors[start.name] / factors[target.name], rel=1e-14)


@pytest.mark.parametrize("scales", [*itertools.product(("°C", "°F", "K"), repeat=2)], ids="→".join)
def test_temperatures_agree_with_scipy(scales: tuple[str, str]) -> None:
    names = {"°C": "Celsius", "°F": "Fahrenheit", "K": "Kelvin"}
    for value in ("-40", "0", "20", "68", "451.5"):
        ours = exact(Decimal(value), unit("temperature", scales[0]), unit("temperature", scales[1]))
        theirs = sc.convert_temperature(float(value), names[scales[0]], names[scales[1]])
        assert float(ours) == pytest.approx(float(theirs), abs=1e-9)


@pytest.mark.parametrize("key", [k for k in ROWS if k.startswith("CF") and k not in LEFT_OUT])
def test_factors_agree_with_the_reference_table(key: str) -> None:
    """NIST SP 811 (2008) appendix B.8: exact fractions, printed digits to half a unit of the last one, and offsets."""
    row = ROWS[key]
    start, target = written(row, "from_unit"), written(row, "to_unit")
    assert start.kind == target.kind
    factor, offset = linear(start, target)
    if row["factor_exact"]:
        assert factor == Fraction(row["factor_exact"])
    assert float(factor) == pytest.approx(float(row["factor"]), rel=float(row["tolerance_rel"]))
    assert float(offset) == pytest.approx(float(row["offset"]), rel=1e-12, abs=1e-12)
    if row["nist_printed"]:
        printed = Decimal(row["nist_printed"])
        half_last_digit = Fraction(Decimal(1).scaleb(printed.as_tuple().exponent)) / 2
        assert abs(factor - Fraction(printed)) <= half_last_digit


@pytest.mark.parametrize("key", [k for k in ROWS if k.startswith("CX")])
def test_worked_conversions_agree_with_the_reference_table(key: str) -> None:
    row = ROWS[key]
    number, _, spelling = row["from_unit"].partition(" ")
    start = find(WRITTEN.get(spelling, spelling))[0]
    target = written(row, "to_unit")
    assert float(exact(Decimal(number), start, target)) == pytest.approx(float(row["factor"]), rel=1e-9)


def test_ucum_codes_agree_with_the_reference_table() -> None:
    checked = set()
    for key, row in ROWS.items():
        for column, code in (("from_unit", "ucum_from"), ("to_unit", "ucum_to")):
            if row[code] and key not in LEFT_OUT:
                assert written(row, column).ucum == row[code], key
                checked.add(row[code])
    assert len(checked) >= 25


@pytest.fixture(scope="module")
def ucum() -> PintUcumRegistry:
    return PintUcumRegistry()


def test_every_ucum_code_means_the_same_size(ucum: PintUcumRegistry) -> None:
    """UCUM essence table by ucumvert 0.3. Left out: `'`, which ucumvert reads as a minute of time (its known fault)."""
    for each in (each for kind in KINDS for each in units_of(kind) if each.ucum != "'" and kind != "temperature"):
        parsed = ucum.from_ucum(each.ucum)
        if each.kind == "temperature difference":
            continue  # UCUM has one code for a temperature and its difference
        size = float(parsed.to(BASES[each.kind].pint).magnitude)
        assert math.isclose(size, float(each.factor), rel_tol=1e-12), each.name


def test_the_kept_factors_are_what_the_library_gives() -> None:
    kept = Path(factors.__file__).with_name(factors.KEPT).read_text(encoding="utf-8")
    assert kept == kept_as(UNITS), "run: python -m app.units.factors"


def test_another_library_or_definition_is_asked_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    asked_for: list[int] = []
    monkeypatch.setattr(factors, "asked", lambda definitions: asked_for.append(len(definitions)) or [])
    factors_of(UNITS)
    assert asked_for == []
    factors_of([replace(UNITS[0], pint="furlong*newton")])
    monkeypatch.setattr(factors, "version", lambda _: "0.0")
    factors_of(UNITS)
    assert asked_for == [1, len(UNITS)]
