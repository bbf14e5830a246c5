"""The visible features of every chassis of a revision, in a form in which one clue is weighed in one pass over numbers.

For each attribute a chassis has the number of a value, and a value is the possible readings; None is unknown. An index
has ids and readings only, no rows; the last few revisions of each database are kept.
"""

import math
import threading
from collections import OrderedDict, defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakKeyDictionary

from app.catalogue.rows import Rows, Snapshot
from app.catalogue.serials import Run
from app.catalogue.tables import Chassis, Damper, Maker, Variant

KEPT_REVISIONS = 2
SPREAD_MM = {"stanchion_diameter": 0.12, "axle_diameter": 0.12, "hub_spacing": 1.0}
"""Standard deviation of a reading: ± 0.2 mm on a diameter is noise. Common practice, no source."""
CLUES = (
    "stanchion_diameter", "axle_diameter", "hub_spacing", "wheel_size", "steerer", "foot_joint", "adjuster_at", "mark",
    "serial", "model_year", "maker",
)  # fmt: skip
"""In order of ease: of equally informative checks the earlier one is proposed."""


ClueReading = str | int | float | Run
Value = tuple[ClueReading, ...] | None


@dataclass(slots=True)
class Attribute:
    """One attribute: the distinct values, how many chassis have each, and each chassis's value.

    `holding` are the values that may give a reading. `labels` are the readings that can be distinguished; for each
    value `shares` gives their probabilities, and `unsure` the bits that stay open once the chassis is known.
    """

    values: list[Value] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    of: list[int] = field(default_factory=list)
    numbers: dict[Hashable, int] = field(default_factory=dict)
    holding: dict[ClueReading, list[int]] = field(default_factory=dict)
    labels: list[str] = field(default_factory=list)
    shares: list[tuple[tuple[int, float], ...]] = field(default_factory=list)
    unsure: list[float] = field(default_factory=list)

    def add(self, readings: Iterable[ClueReading] | None) -> None:
        """The value of the next chassis."""
        value = tuple(dict.fromkeys(readings)) if readings is not None else None
        value = value or None
        number = self.numbers.setdefault(value, len(self.values))
        if number == len(self.values):
            self.values.append(value)
            self.counts.append(0)
        self.counts[number] += 1
        self.of.append(number)

    def finish(self, clue: str) -> None:
        """Name the distinguishable readings, once all chassis have been added."""
        for number, value in enumerate(self.values):
            for reading in value or ():
                self.holding.setdefault(reading, []).append(number)
        names = labels(clue, self.holding)
        self.labels = list(dict.fromkeys(names.values()))
        place = {name: number for number, name in enumerate(self.labels)}
        for value in self.values:
            shares: dict[int, float] = {}
            for reading in value or ():
                number = place[names[reading]]
                shares[number] = shares.get(number, 0.0) + 1 / len(value or ())
            self.shares.append(tuple(shares.items()))
            self.unsure.append(entropy(shares.values()))
        self.numbers = {}  # needed while building only


def labels(clue: str, readings: Iterable[ClueReading]) -> dict[ClueReading, str]:
    """The name of each reading; measures too close to distinguish share one name."""
    if clue not in SPREAD_MM:
        return {reading: reading.pattern if isinstance(reading, Run) else str(reading) for reading in readings}
    found: dict[ClueReading, str] = {}
    last, name = -math.inf, ""
    for number in sorted(reading for reading in readings if isinstance(reading, int | float)):
        if number - last > 2 * SPREAD_MM[clue]:
            name = f"{number:g} mm"
        found[number], last = name, number
    return found


def entropy(shares: Iterable[float]) -> float:
    """In bits."""
    return -sum(each * math.log2(each) for each in shares if each > 0)


@dataclass(slots=True)
class Index:
    """All chassis of a revision by position, and makers by their possible names."""

    ids: list[str]
    attributes: dict[str, Attribute]
    makers: dict[str, str]

    def value(self, clue: str, position: int) -> Value:
        """The known features of one chassis."""
        attribute = self.attributes[clue]
        return attribute.values[attribute.of[position]]


def build(rows: Rows) -> Index:
    """The index of a catalogue."""
    makers: dict[str, str] = {}
    for maker in rows.all(Maker):
        makers |= {maker.id.casefold(): maker.id, maker.name.casefold(): maker.id}
    dampers: dict[str, tuple[str | None, str | None]] = {
        damper.id: (damper.foot_joint, damper.adjuster_at) for damper in rows.all(Damper)
    }
    variants: dict[str, list[Variant]] = defaultdict(list)
    for variant in rows.all(Variant):
        variants[variant.chassis].append(variant)
    index = Index([], {clue: Attribute() for clue in CLUES}, makers)
    years = _years_of_all(rows)
    for chassis in rows.all(Chassis):
        index.ids.append(chassis.id)
        for clue, readings in _seen(chassis, variants.get(chassis.id, []), dampers, years).items():
            index.attributes[clue].add(readings)
    for clue, attribute in index.attributes.items():
        attribute.finish(clue)
    return index


def _years_of_all(rows: Rows) -> tuple[int, int]:
    """The span of all stated model years: the ends of a span that is stated on one side only."""
    stated = [
        year
        for chassis in rows.all(Chassis)
        for year in (chassis.model_year_from, chassis.model_year_to)
        if year is not None
    ]
    return (min(stated), max(stated)) if stated else (0, 0)


def _seen(
    chassis: Chassis,
    variants: list[Variant],
    dampers: dict[str, tuple[str | None, str | None]],
    years: tuple[int, int],
) -> dict[str, Iterable[ClueReading] | None]:
    first, last = chassis.model_year_from, chassis.model_year_to
    known_years = None
    if first is not None or last is not None:
        known_years = range(years[0] if first is None else first, (years[1] if last is None else last) + 1)
    fitted = dict.fromkeys([*(chassis.dampers or ()), *(id for each in variants for id in each.dampers or ())])
    joints, adjusters = _of_dampers(fitted, dampers)
    marks = [*(chassis.marks or ()), *(mark for each in variants for mark in each.marks or ())]
    return {
        "stanchion_diameter": None if chassis.stanchion_diameter_mm is None else (chassis.stanchion_diameter_mm,),
        "axle_diameter": chassis.axle_diameters_mm,
        "hub_spacing": chassis.hub_spacings_mm,
        "wheel_size": chassis.wheel_sizes,
        "steerer": chassis.steerers and tuple(steerer.casefold() for steerer in chassis.steerers),
        "foot_joint": joints,
        "adjuster_at": adjusters,
        "mark": tuple(mark.casefold() for mark in marks),
        "serial": tuple(
            Run(each.id, each.serial_pattern, each.serial_from, each.serial_to)
            for each in variants
            if each.serial_pattern is not None
        ),
        "model_year": known_years,
        "maker": (chassis.maker,),
    }


def _of_dampers(
    fitted: Iterable[str], dampers: dict[str, tuple[str | None, str | None]]
) -> tuple[list[str] | None, list[str] | None]:
    """Foot joints and adjusters of the dampers it was made with; unknown if that of one of them is."""
    found = [dampers.get(id, (None, None)) for id in fitted]
    joints, adjusters = ([each[place] for each in found] for place in (0, 1))
    return (
        None if None in joints else [each for each in joints if each is not None],
        None if None in adjusters else [each for each in adjusters if each is not None],
    )


_KEPT: WeakKeyDictionary[Any, OrderedDict[int, Index]] = WeakKeyDictionary()
_ONE_AT_A_TIME = threading.Lock()


def index_at(snapshot: Snapshot) -> Index:
    """The index of the catalogue at a revision; what holds there never changes, so it is built once."""
    with snapshot.exclusive(_ONE_AT_A_TIME):
        kept = _KEPT.setdefault(snapshot.cache_key, OrderedDict())
        index = kept.get(snapshot.revision)
        if index is None:
            snapshot.require_thread()
            index = kept[snapshot.revision] = build(snapshot)
            while len(kept) > KEPT_REVISIONS:
                kept.popitem(last=False)
        kept.move_to_end(snapshot.revision)
        return index
