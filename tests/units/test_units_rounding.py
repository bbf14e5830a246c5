"""Rounding against the published examples of NIST SP 811 B.7, ISO 80000-1 annex B, ASTM E29 and inward limits."""

import csv
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from app.units.convert import Role, exact, round_limit
from app.units.preferences import choose
from app.units.quantity import quantity
from app.units.table import find

REFERENCE = Path(__file__).parents[1] / "reference" / "rounding_examples.csv"
ROWS = {row["id"]: row for row in csv.DictReader(REFERENCE.open(encoding="utf-8"))}
CONVERTED = {"RN61", "RN62", "RN63", "RN65", "RN66", "RN67", "RN69", "RN70", "RN71", "RN73", "RN74", "RN75"}
SIGNIFICANT = {"RN01", "RN02", "RN03", "RN05"}
NEAREST = {"RN30", "RN31", "RN32", "RN34", "RN35", "RN40", "RN42", "RN43"}


@pytest.mark.parametrize("key", sorted(SIGNIFICANT))
def test_significant_digits_tie_to_even(key: str) -> None:
    row = ROWS[key]
    value, wanted = Decimal(row["input"]), int(re.search(r"\d+", row["rule"])[0])  # type: ignore[index]
    step = Decimal(1).scaleb(value.adjusted() - wanted + 1)
    assert str(round_limit(value, step, "nominal")) == row["expected"]


@pytest.mark.parametrize("key", sorted(NEAREST))
def test_nearest_multiple_tie_to_even(key: str) -> None:
    row = ROWS[key]
    step = Decimal(re.search(r"multiple of ([\d.]+)", row["rule"])[1])  # type: ignore[index]
    expected = re.search(r"(?:A )?([\d.]+)", row["expected"])[1]  # type: ignore[index]
    assert round_limit(Decimal(row["input"]), step, "nominal") == Decimal(expected)


@pytest.mark.parametrize("key", sorted(CONVERTED))
def test_converted_limits_round_inward(key: str) -> None:
    row = ROWS[key]
    side, number, spelling = row["input"].split(" ", 2)
    step, target = re.search(r"step ([\d.]+) (.+)", row["rule"]).groups()  # type: ignore[union-attr]
    expected, _, unit = row["expected"].partition(" ")
    assert unit == target
    role: Role = "minimum" if side == "min" else "maximum"
    here, there = find(spelling)[0], find(target)[0]
    assert str(round_limit(exact(Decimal(number), here, there), Decimal(step), role)) == expected


def test_one_step_never_two() -> None:
    row = ROWS["RN44"]
    assert row["expected"].startswith(str(round_limit(Decimal("12.251"), Decimal("0.1"), "nominal")))


@pytest.mark.parametrize("key", ["RN51", "RN52", "RN53"])
def test_rounding_method_of_astm_e29(key: str) -> None:
    observed = re.search(r"observed ([\d.]+)", ROWS[key]["input"])[1]  # type: ignore[index]
    assert ROWS[key]["expected"].startswith(str(round_limit(Decimal(observed), Decimal("0.1"), "nominal")))


def test_a_converted_value_keeps_the_digits_it_deserves() -> None:
    """SP 811 B.7.2: 36 ft is 11.0 m, not 11 m."""
    shown = quantity("length", Decimal(36), "ft", to=choose(None, {"length_unit": "m"}))
    assert shown["text"] == ROWS["RN13"]["expected"]


def test_nearest_would_break_the_limits_that_inward_keeps() -> None:
    """RN20: 11 ±0.3 mm, 10.7 to 11.3 mm, to 0.001 in."""
    nearest = ROWS["RN20"]["expected"].removesuffix(" in").split(" / ")
    mm, inch = find("mm")[0], find("in")[0]
    for text, limit, role in zip(nearest, ("10.7", "11.3"), ("minimum", "maximum"), strict=True):
        true = exact(Decimal(limit), mm, inch)
        assert str(round_limit(true, Decimal("0.001"), "nominal")) == text
        inward = round_limit(true, Decimal("0.001"), role)  # type: ignore[arg-type]
        assert inward >= true if role == "minimum" else inward <= true
        assert inward != Decimal(text)


def test_negative_values_round_to_the_safe_side_too() -> None:
    assert round_limit(Fraction(-15, 100), Decimal("0.1"), "maximum") == Decimal("-0.2")
    assert round_limit(Fraction(-15, 100), Decimal("0.1"), "minimum") == Decimal("-0.1")
