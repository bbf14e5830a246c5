"""Rows of tests/reference for the physics tests; the columns are described in tests/reference/README.md."""

import csv
import re
from decimal import Decimal
from pathlib import Path

import pytest

REFERENCE = Path(__file__).parent.parent / "reference"

Row = dict[str, str]


def rows(table: str) -> list[Row]:
    with (REFERENCE / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def by_id(table: str) -> dict[str, Row]:
    return {row["id"]: row for row in rows(table)}


def numbers(text: str) -> dict[str, float]:
    """{"K": 0.2, "d": 5.0} of "K=0.2; d=5 mm": keys as printed, units dropped, the last of an equals chain."""
    found = {}
    for part in text.split(";"):
        match = re.match(r"\s*([^=]+?)\s*=.*?(-?\d+(?:\.\d+)?(?:e-?\d+)?)(?=[^=]*$)", part)
        if match:
            found[match.group(1)] = float(match.group(2))
    return found


def agrees(row: Row, value: float) -> None:
    """The row's relative tolerance holds, or half a unit of its last printed digit if that is wider.

    TQ71 prints nine digits and asks for 1e-9 of them, which is less than its own rounding."""
    digits = Decimal(row["value"]).as_tuple().exponent
    assert isinstance(digits, int)
    half_digit = 0.5 * 10.0**digits if digits < 0 else 0.0
    assert value == pytest.approx(float(row["value"]), rel=float(row["tolerance_rel"]), abs=half_digit), row["source"]
