"""A second reading of a package, straight from the text of its CSV files: it enumerates every configuration.

It shares no code with the program. It says which statements hold for one complete configuration. A question that leaves
parameters out gets the union over all configurations that they leave open."""

import csv
import itertools
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

Cells = dict[str, str]
Point = dict[str, str]  # model_year, travel, variant, spring, damper, wheel_size; "" if the chassis has none

FACTORS = {  # to N·m, bar, mL, mm, kg; NIST SP 811 (2008), B.8
    "N·m": "1", "Nm": "1", "in·lbf": "0.1129848290276167", "ft·lbf": "1.3558179483314004",
    "kgf·cm": "0.0980665", "bar": "1", "psi": "0.0689475729316836", "kPa": "0.01", "MPa": "10", "mL": "1", "ml": "1",
    "cm³": "1", "US fl oz": "29.5735295625", "mm": "1", "in": "25.4", "kg": "1", "lb": "0.45359237", "N": "1",
    "%": "1", "N/mm": "1", "lbf/in": "0.1751268352464739", "°": "1", "": "1",
}  # fmt: skip
SCOPE = [
    "variant",
    "model_year_from",
    "model_year_to",
    "travel_from_mm",
    "travel_to_mm",
    "spring",
    "damper",
    "wheel_size",
]
CLAIM = ["source", "page", "confirmed", "exception_to", "note"]
SUBJECT = {
    "fits": ["chassis", "spring"],
    "torques": ["chassis", "fastener"],
    "fills": ["chassis", "chamber"],
    "greases": ["chassis", "place"],
    "uses": ["chassis", "job", "position"],
    "limits": ["chassis", "subject"],
    "intervals": ["chassis", "operation", "riding"],
    "guides": ["chassis", "chamber", "rider_mass_from", "rider_mass_to", "mass_unit"],
}
UNIT_OF = {
    "pressure_limit": "pressure_unit", "value": "unit", "min": "unit", "max": "unit", "pressure": "pressure_unit",
    "pressure_min": "pressure_unit", "pressure_max": "pressure_unit",
}  # fmt: skip


class Package:
    """The files of a package as lists of rows of text."""

    def __init__(self, folder: Path) -> None:
        self.tables = {path.stem: list(csv.DictReader(path.open(newline=""))) for path in folder.glob("*.csv")}
        self.by_id = {name: {row["id"]: row for row in rows} for name, rows in self.tables.items()}

    def of(self, table: str, chassis: str) -> list[Cells]:
        """The statements of one chassis."""
        return [row for row in self.tables.get(table, []) if row["chassis"] == chassis]


class Brute:
    """One chassis of a package, and the configurations it can have."""

    def __init__(self, package: Package, chassis: str) -> None:
        self.package = package
        self.chassis = package.by_id["chassis"][chassis]
        self.variants = {row["id"]: row for row in package.tables.get("variants", []) if row["chassis"] == chassis}
        years = range(int(self.chassis["model_year_from"]), int(self.chassis["model_year_to"]) + 1)
        fits = package.of("fits", chassis)
        self.domain: dict[str, list[str]] = {
            "model_year": [str(year) for year in years],
            "travel": sorted({row["travel_mm"] for row in fits}, key=float),
            "variant": [*sorted(self.variants), ""],
            "spring": sorted({row["spring"] for row in fits}),
            "damper": self.chassis["dampers"].split(";") if self.chassis["dampers"] else [""],
            "wheel_size": self.chassis["wheel_sizes"].split(";") if self.chassis["wheel_sizes"] else [""],
        }

    def points(self, given: Point) -> Iterator[Point]:
        """Every configuration that a question leaves open; a variant exists only in its own years."""
        choices = [[given[name]] if name in given else values for name, values in self.domain.items()]
        for values in itertools.product(*choices):
            point = dict(zip(self.domain, values, strict=True))
            variant = self.variants.get(point["variant"])
            if variant is None or _within(point["model_year"], variant["model_year_from"], variant["model_year_to"]):
                yield point

    def contains(self, table: str, row: Cells, point: Point) -> bool:
        """Whether the scope of a statement contains a configuration; a torque is also bound to its fastener's owner."""
        variant = self.variants.get(row["variant"])
        checks = [
            _within(point["model_year"], row["model_year_from"], row["model_year_to"]),
            variant is None or _within(point["model_year"], variant["model_year_from"], variant["model_year_to"]),
            row["variant"] in ("", point["variant"]),
            row["damper"] in ("", point["damper"]),
            row["wheel_size"] in ("", point["wheel_size"]),
            table == "fits" or row["spring"] in ("", point["spring"]),
            table == "fits" or _within(point["travel"], row["travel_from_mm"], row["travel_to_mm"]),
        ]
        if table == "torques":
            fastener = self.package.by_id["fasteners"][row["fastener"]]
            checks += [
                fastener["spring"] in ("", point["spring"]),
                fastener["damper"] in ("", point["damper"]),
                _within(point["model_year"], fastener["model_year_from"], fastener["model_year_to"]),
            ]
        return all(checks)

    def inside(self, table: str, narrow: Cells, wide: Cells) -> bool:
        """Whether the scope of one statement lies within another's, configuration by configuration."""
        return all(
            self.contains(table, wide, point) for point in self.points({}) if self.contains(table, narrow, point)
        )

    def subject(self, table: str, row: Cells) -> tuple[str, ...]:
        """The subject of a statement: what it is about."""
        key = [row[name] for name in SUBJECT[table]]
        if table == "uses":
            key.append(self.package.by_id["parts"][row["part"]]["kind"])
        if table == "fits":
            key.append(row["travel_spacers"] or "0")
        if table == "torques":
            key.append(row["stage"] or "1")
        return tuple(key)

    def overruled_by(self, table: str, rows: list[Cells]) -> dict[str, list[Cells]]:
        """For each statement, the exceptions that overrule it wherever they hold."""
        found: dict[str, list[Cells]] = {}
        for exception in rows:
            named = next((row for row in rows if row["id"] == exception["exception_to"]), None)
            if named is None:
                continue
            for row in rows:
                if row is exception or self.subject(table, row) != self.subject(table, exception):
                    continue
                related = row is named or (self.inside(table, exception, row) and agree(table, row, named))
                if related and not agree(table, row, exception):
                    found.setdefault(row["id"], []).append(exception)
        return found

    def holding(self, table: str, rows: list[Cells], overruled: dict[str, list[Cells]], point: Point) -> set[str]:
        """Ids of the statements that hold for one configuration."""
        there = [row for row in rows if self.contains(table, row, point)]
        return {
            row["id"]
            for row in there
            if not any(self.contains(table, exception, point) for exception in overruled.get(row["id"], []))
        }


def agree(table: str, a: Cells, b: Cells) -> bool:
    """Whether two statements agree wherever both give a value: figures to half of their last digit."""
    outside = {"id", *SCOPE, *CLAIM, *SUBJECT[table], *UNIT_OF.values()}
    outside |= {"part"} if table == "uses" else set()
    grouped = {"min", "max", "pressure_min", "pressure_max"} if table != "limits" else set()
    for name in a.keys() - outside - grouped:
        if name in UNIT_OF and table != "limits":
            low, high = f"{name}_min".removeprefix("value_"), f"{name}_max".removeprefix("value_")
            first, second = (_interval(row, name, low, high) for row in (a, b))
            if first and second and (first[0] > second[1] or second[0] > first[1]):
                return False
        elif a[name] and b[name] and not _same(a, b, name):
            return False
    return True


def _interval(row: Cells, name: str, low: str, high: str) -> tuple[Decimal, Decimal] | None:
    factor = Decimal(FACTORS[row.get(UNIT_OF[name], "")])
    if row.get(low) and row.get(high):
        return Decimal(row[low]) * factor, Decimal(row[high]) * factor
    if not row.get(name):
        return None
    value = Decimal(row[name])
    half = Decimal(1).scaleb(int(value.as_tuple().exponent)) / 2
    return (value - half) * factor + Decimal("1e-12"), (value + half) * factor - Decimal("1e-12")


def _same(a: Cells, b: Cells, name: str) -> bool:
    try:
        first, second = Decimal(a[name]), Decimal(b[name])
    except ArithmeticError:
        return a[name] == b[name]
    factors = (Decimal(FACTORS[row.get(UNIT_OF.get(name, "-"), "")]) for row in (a, b))
    halves = [Decimal(1).scaleb(int(value.as_tuple().exponent)) / 2 for value in (first, second)]
    here, there = factors
    return abs(first * here - second * there) < halves[0] * here + halves[1] * there


def _within(value: str, low: str, high: str) -> bool:
    if value == "":
        return True
    return (low == "" or float(low) <= float(value)) and (high == "" or float(value) <= float(high))
