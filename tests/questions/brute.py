"""A second reading of a package, straight from the text of its CSV files: it enumerates every configuration.

It shares no code with the program. It says which statements hold for one complete configuration. A question that leaves
parameters out gets the union over all configurations that they leave open."""

import csv
import itertools
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

Cells = dict[str, str]
Point = dict[str, str]
"""model_year, travel, variant, spring, damper, wheel_size, serial, fitted_part; "" if the chassis has none. The fitted
parts are separated by semicolons, at most one of each kind that scopes name: without one, another part is fitted."""

FACTORS = {  # to N·m, bar, mL, mm, kg; NIST SP 811 (2008), B.8
    "N·m": "1", "Nm": "1", "in·lbf": "0.1129848290276167", "ft·lbf": "1.3558179483314004",
    "kgf·cm": "0.0980665", "bar": "1", "psi": "0.0689475729316836", "kPa": "0.01", "MPa": "10", "mL": "1", "ml": "1",
    "cm³": "1", "US fl oz": "29.5735295625", "mm": "1", "in": "25.4", "kg": "1", "lb": "0.45359237", "N": "1",
    "%": "1", "N/mm": "1", "lbf/in": "0.1751268352464739", "°": "1", "": "1",
}  # fmt: skip
SCOPE = [
    "variant",
    "serial_from",
    "serial_to",
    "model_year_from",
    "model_year_to",
    "travel_from_mm",
    "travel_to_mm",
    "spring",
    "damper",
    "wheel_size",
    "fitted_part",
]
CLAIM = ["source", "page", "confirmed", "exception_to", "note"]
SUBJECT = {
    "fits": ["chassis", "spring"],
    "torques": ["chassis", "fastener", "mating_material"],
    "fills": ["chassis", "chamber", "condition"],
    "greases": ["chassis", "place"],
    "uses": ["chassis", "job", "position"],
    "limits": ["chassis", "subject"],
    "intervals": ["chassis", "operation", "riding"],
    "guides": ["chassis", "chamber", "rider_mass_from", "rider_mass_to", "mass_unit", "riding"],
    "adjustments": ["chassis", "target", "condition"],
}
UNIT_OF = {
    "pressure_limit": "pressure_unit", "value": "unit", "min": "unit", "max": "unit", "pressure": "pressure_unit",
    "pressure_min": "pressure_unit", "pressure_max": "pressure_unit",
}  # fmt: skip
RANGED = {
    "pressure": ("pressure_min", "pressure_max"), "sag_percent": ("sag_min_percent", "sag_max_percent"),
    "rebound_clicks": ("rebound_clicks_min", "rebound_clicks_max"),
    "compression_clicks": ("compression_clicks_min", "compression_clicks_max"),
    "preload_turns": ("preload_turns_min", "preload_turns_max"), "value": ("min", "max"),
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
        self.scoped = [row for table in SUBJECT for row in package.of(table, chassis) if _ends([row])]
        self.stamped = sorted(_ends([*self.scoped, *self.variants.values()]))
        self.domain: dict[str, list[str]] = {
            "model_year": [str(year) for year in years],
            "travel": sorted({row["travel_mm"] for row in fits}, key=float),
            "variant": [*sorted(self.variants), ""],
            "spring": sorted({row["spring"] for row in fits}),
            "damper": self.chassis["dampers"].split(";") if self.chassis["dampers"] else [""],
            "wheel_size": self.chassis["wheel_sizes"].split(";") if self.chassis["wheel_sizes"] else [""],
            "serial": self._serials(self.scoped),
            "fitted_part": self._fitted([row for table in SUBJECT for row in package.of(table, chassis)]),
        }

    def _fitted(self, rows: list[Cells]) -> list[str]:
        """Every choice of one part, or another one, of each kind that a scope names."""
        self.kind_of = {id: self.package.by_id["parts"][id]["kind"] for row in rows if (id := row.get("fitted_part"))}
        kinds = [
            ["", *sorted(id for id, own in self.kind_of.items() if own == kind)]
            for kind in sorted(set(self.kind_of.values()))
        ]
        return [";".join(filter(None, chosen)) for chosen in itertools.product(*kinds)]

    def fitted(self, given: Point) -> list[str]:
        """The choices of parts that a question leaves open; a part of a kind that no scope names decides nothing."""
        known = [id for id in given.get("fitted_part", "").split(";") if id]
        named = set(self.kind_of.values())
        kinds = {id: self.package.by_id["parts"][id]["kind"] for id in known}
        return [
            choice
            for choice in self.domain["fitted_part"]
            if all(
                {id} & set(choice.split(";"))
                or (id not in self.kind_of and kind not in {self.kind_of.get(each) for each in choice.split(";")})
                for id, kind in kinds.items()
                if kind in named
            )
        ]

    def _serials(self, scoped: list[Cells]) -> list[str]:
        """One serial for each set of ranges that a serial can be in, "" for one in none; only that without ranges."""
        if not _ends(scoped):
            return [""]
        ranges = [*scoped, *self.variants.values()]
        return list({self._in(serial, ranges): serial for serial in [*self.stamped, ""]}.values())

    def _in(self, serial: str, ranges: list[Cells]) -> tuple[bool, ...]:
        return tuple(_stamped(serial, row) for row in ranges if _ends([row]))

    def like(self, serial: str) -> str:
        """The serial of the domain that is in the same ranges."""
        ranges = [*self.scoped, *self.variants.values()]
        if len(self.domain["serial"]) == 1:
            return self.domain["serial"][0]
        return next(each for each in self.domain["serial"] if self._in(each, ranges) == self._in(serial, ranges))

    def points(self, given: Point) -> Iterator[Point]:
        """Every configuration that a question leaves open; a variant exists only in its own years."""
        given = self.decided(given)
        serials = self.serials(given)
        choices = [
            [given[name]] if name in given else values
            for name, values in self.domain.items()
            if name not in ("serial", "fitted_part")
        ]
        for values in itertools.product(*choices, serials, self.fitted(given)):
            point = dict(zip(self.domain, values, strict=True))
            variant = self.variants.get(point["variant"])
            if variant is None or _within(point["model_year"], variant["model_year_from"], variant["model_year_to"]):
                yield point

    def decided(self, given: Point) -> Point:
        """The question with the variant that its serial decides: the only one whose range has it."""
        holding = [id for id, row in self.variants.items() if _ends([row]) and _stamped(given.get("serial", ""), row)]
        return {"variant": holding[0], **given} if len(holding) == 1 else given

    def serials(self, given: Point) -> list[str]:
        """The serials that a question leaves open; none if its variant excludes the one given."""
        variant = self.variants.get(given.get("variant", ""))
        if "serial" in given:
            excluded = variant is not None and not _is_one_of(given["serial"], variant)
            return [] if excluded else [self.like(given["serial"])]
        if variant is None or not _ends([variant]):
            return self.domain["serial"]
        return [serial for serial in self.domain["serial"] if _stamped(serial, variant)] or [""]

    def leaving_open(self, given: Point) -> Callable[[Point], bool]:
        """Whether a configuration is one that a question leaves open."""
        given = self.decided(given)
        serials = self.serials(given)
        fitted = self.fitted(given)
        rest = [(name, value) for name, value in given.items() if name not in ("serial", "fitted_part")]
        return lambda point: (
            point["serial"] in serials
            and point["fitted_part"] in fitted
            and all(point[name] == value for name, value in rest)
        )

    def contains(self, table: str, row: Cells, point: Point) -> bool:
        """Whether the scope of a statement contains a configuration; a torque is also bound to its fastener's owner."""
        checks = [
            _within(point["model_year"], row["model_year_from"], row["model_year_to"]),
            _lists(row["variant"], point["variant"]),
            not _ends([row]) or _stamped(point["serial"], row),
            _lists(row["damper"], point["damper"]),
            _lists(row["wheel_size"], point["wheel_size"]),
            not (part := row.get("fitted_part")) or part in point["fitted_part"].split(";"),
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
        key = [row.get(name, "") for name in SUBJECT[table]]
        if table == "uses":
            key.append(self.package.by_id["parts"][row["part"]]["kind"])
        if table == "fits":
            key.append(row["travel_spacers"] or "0")
        if table == "torques":
            key.append(row["stage"] or "1")
        return tuple(key)

    def _replaced(self, table: str, rows: list[Cells]) -> dict[str, list[Cells]]:
        """For each statement, those with its scope and subject from a source that replaces its own."""
        sources = self.package.by_id["sources"]
        replacing = {id: row["supersedes"].split(";") for id, row in sources.items() if row.get("supersedes")}
        found: dict[str, list[Cells]] = {}
        for row, new in itertools.product(rows, [each for each in rows if each["source"] in replacing]):
            same = self.subject(table, row) == self.subject(table, new) and _scope(row) == _scope(new)
            if same and row["source"] in replacing[new["source"]]:
                found.setdefault(row["id"], []).append(new)
        return found

    def overruled_by(self, table: str, rows: list[Cells]) -> dict[str, list[Cells]]:
        """For each statement, the exceptions that overrule it wherever they hold."""
        found = self._replaced(table, rows)
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
    grouped = {end for ends in RANGED.values() for end in ends} if table != "limits" else set()
    for name in a.keys() - outside - grouped:
        if name in UNIT_OF.keys() | RANGED.keys() and table != "limits":
            low, high = RANGED.get(name, ("", ""))
            first, second = (_interval(row, name, low, high) for row in (a, b))
            if first and second and (first[0] > second[1] or second[0] > first[1]):
                return False
        elif a[name] and b[name] and not _same(a, b, name):
            return False
    return True


def _interval(row: Cells, name: str, low: str, high: str) -> tuple[Decimal, Decimal] | None:
    factor = Decimal(FACTORS[row.get(UNIT_OF.get(name, "-"), "")])
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


def _ends(rows: list[Cells]) -> set[str]:
    """The ends of the serial ranges of some rows, and the serials just outside them."""
    found: set[str] = set()
    for row in rows:
        for end, step in ((row.get("serial_from", ""), -1), (row.get("serial_to", ""), 1)):
            if end:
                found |= {end, _next(end, step)}
    return found - {""}


def _next(serial: str, step: int) -> str:
    """The serial before or after one, counted by its digits; "" if there is none of that length."""
    digits = "".join(filter(str.isdigit, serial))
    counted = str(int(digits) + step).rjust(len(digits), "0")
    if len(counted) != len(digits) or counted.startswith("-"):
        return ""
    place = iter(counted)
    return "".join(next(place) if character.isdigit() else character for character in serial)


def _stamped(serial: str, row: Cells) -> bool:
    """Whether a serial is in the range of a row: of the length of its ends, and between them as text."""
    first, last = row["serial_from"], row["serial_to"]
    return len(serial) == len(first or last) and first <= serial and (last == "" or serial <= last)


def _scope(row: Cells) -> list[str]:
    return [row.get(name, "") for name in SCOPE]


def _lists(cell: str, value: str) -> bool:
    """Whether a cell is empty or lists a value."""
    return cell == "" or cell == value or value in cell.split(";")


def _is_one_of(serial: str, variant: Cells) -> bool:
    """Whether a serial can be one of a variant: a variant that states neither pattern nor range has any."""
    kinds = {"#": str.isdigit, "@": str.isalpha}
    pattern = variant["serial_pattern"]
    shaped = len(pattern) == len(serial) and all(
        kinds[kind](character) if kind in kinds else kind == character
        for kind, character in zip(pattern, serial, strict=True)
    )
    return (pattern == "" or shaped) and (not _ends([variant]) or _stamped(serial, variant))


def _within(value: str, low: str, high: str) -> bool:
    if value == "":
        return True
    return (low == "" or float(low) <= float(value)) and (high == "" or float(value) <= float(high))
