"""Rows of tests/reference for the physics tests; the columns are described in tests/reference/README.md."""

import csv
import re
from pathlib import Path

REFERENCE = Path(__file__).parent.parent / "reference"

Row = dict[str, str]


def rows(table: str) -> list[Row]:
    with (REFERENCE / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def by_id(table: str) -> dict[str, Row]:
    return {row["id"]: row for row in rows(table)}


def numbers(text: str) -> dict[str, float]:
    """{"K": 0.2, "d": 5.0} of "K=0.2; d=5 mm"; keys as printed, units dropped, an equals chain gives its last number."""
    found = {}
    for part in text.split(";"):
        match = re.match(r"\s*([^=]+?)\s*=.*?(-?\d+(?:\.\d+)?(?:e-?\d+)?)(?=[^=]*$)", part)
        if match:
            found[match.group(1)] = float(match.group(2))
    return found
