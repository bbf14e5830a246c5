"""Identifies a chassis: candidates from any clues on the fork, and the next thing to check."""

from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from typing import Annotated, Literal, NotRequired

from pydantic import Field, TypeAdapter, field_validator
from typing_extensions import TypedDict

from app.catalogue.columns import write_number
from app.catalogue.rows import Snapshot
from app.catalogue.serials import Run
from app.catalogue.tables import Chassis, Maker, Source, Variant
from app.errors import Fault, Invalid
from app.questions.answers.cautions import cautions
from app.questions.answers.explained import Assumption
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.views import Caution, ChassisRef, Named, chassis_ref, length, named, own_length
from app.questions.identify.index import CLUES, ClueReading, Index, Value, index_at
from app.questions.identify.model import Agreement, Clue, ClueCheck, CluesGiven, Ranking, each_clue, next_check, rank
from app.questions.sheet.fits import chosen_units
from app.units.measure import parse_measure, parse_wheel_size, wheel_called
from app.units.preferences import AS_PUBLISHED, Units
from app.units.quantity import Quantity

MOST_CANDIDATES = 20
MOST_READINGS = 12
MOST_MARKS = 40
DIAMETERS = ("stanchion_diameter", "axle_diameter", "hub_spacing")


Marks = Annotated[list[Annotated[str, Field(max_length=120)]], Field(max_length=MOST_MARKS)]


class IdentifyAsked(LookupParameters):
    """The clues; each may be left out, inaccurate or wrong. Without any, the answer is the first check."""

    stanchion_diameter: str | None = Field(
        None, max_length=64, description="Outside diameter of a stanchion in mm, or with a unit.", examples=["34.9"]
    )
    model_year: int | None = Field(None, ge=1900, le=2200, description="Model year, if you know it.")
    wheel_size: str | None = Field(
        None, max_length=12, description="Wheel: ISO 5775 bead seat diameter in mm, or 29, 27.5, 26.", examples=["622"]
    )
    hub_spacing: str | None = Field(None, max_length=64, description="Front hub width in mm.", examples=["110"])
    axle_diameter: str | None = Field(None, max_length=64, description="Axle diameter in mm.", examples=["15"])
    steerer: str | None = Field(None, max_length=80, description="Steerer, or part of it.", examples=["tapered"])
    serial: str | None = Field(None, max_length=80, description="Serial number as engraved.", examples=["QT-012345"])
    mark: Marks = Field(default_factory=list, description="A mark on the fork, or part of one; may be repeated.")
    maker: str | None = Field(None, max_length=120, description="Maker: id or name.")
    foot_joint: Literal["bolt into shaft", "nut on shaft"] | None = Field(
        None, description="How the damper is fastened at the foot."
    )
    adjuster_at: Literal["foot", "top", "remote"] | None = Field(
        None, description="Where the rebound adjuster is that must be removed."
    )
    skip: list[Literal[CLUES]] | None = Field(  # type: ignore[valid-type]
        None, description="A clue that you cannot get, so that another is proposed; may be repeated."
    )

    @field_validator("mark", mode="before")
    @classmethod
    def _several(cls, value: object) -> object:
        """One mark counts as a list of one."""
        return [value] if isinstance(value, str) else value


class ClueView(TypedDict):
    """One clue compared with the catalogue's values for a chassis: as the parameter takes them, and if it is a length,
    as quantities too.
    """

    parameter: str
    given: str
    listed: list[str]
    given_length: NotRequired[Quantity]
    listed_lengths: NotRequired[list[Quantity]]


class IdentifyCandidate(TypedDict):
    """A chassis; `score` is its posterior probability. `variants` are those whose serials or marks agree."""

    chassis: ChassisRef
    score: float
    agrees: list[ClueView]
    disagrees: list[ClueView]
    unknown: list[str]
    variants: NotRequired[list[Named]]


class CheckReading(TypedDict):
    """One possible reading: its name, its probability, and the number of plausible chassis it leaves."""

    reading: str
    name: str
    length: NotRequired[Quantity]
    probability: float
    leaves: int


class NextCheck(TypedDict):
    """The check with the most expected information; `bits` is how much, and 1 halves what is left."""

    parameter: str
    text: str
    bits: float
    readings: list[CheckReading]
    readings_total: int


class Excluding(TypedDict):
    """A clue that leaves no chassis; `without` is how many would be left if it were wrong."""

    parameter: str
    given: str
    given_length: NotRequired[Quantity]
    without: int
    text: str


class IdentifyAnswer(TypedDict):
    """Candidates, likeliest first; `plausible` is how many are at least a twentieth as likely as the first."""

    revision: int
    chassis_total: int
    candidates: list[IdentifyCandidate]
    plausible: int
    next_check: NotRequired[NextCheck]
    excluding: list[Excluding]
    text: str
    assumptions: list[Assumption]
    cautions: list[Caution]


IDENTIFY = TypeAdapter(IdentifyAnswer)
LOOK: Mapping[str, str] = {
    "stanchion_diameter": "Measure the outside of a stanchion with a caliper.",
    "axle_diameter": "Measure the axle with a caliper.",
    "hub_spacing": "Measure between the inner faces of the dropouts.",
    "wheel_size": "Read the bead seat diameter off the tyre.",
    "steerer": "Measure the steerer at the top and at the crown race.",
    "foot_joint": "Look at the foot of the damper leg: a bolt that goes into the shaft, or a nut on it?",
    "adjuster_at": "Where is the rebound adjuster?",
    "mark": "Which marks do you see on the crown, lowers and caps?",
    "serial": "Read the serial number on the steerer or the back of the crown.",
    "model_year": "Which model year is it, according to the receipt, decal or date code?",
    "maker": "Who made it?",
}


def identify(snapshot: Snapshot, asked: IdentifyAsked) -> IdentifyAnswer:
    """The answer at one revision. Raises Invalid for a clue that cannot be read."""
    units = chosen_units(asked)
    return answer(snapshot, index_at(snapshot), clues(asked), asked.skip or (), units)


def _assumptions(units: Units) -> list[Assumption]:
    spread = "a reading may be off by this much either way: about two standard deviations"
    return [
        {
            "name": "wrong clues",
            "assumed": "1 in 10",
            "text": "a wrong clue reads like that of any fork in the catalogue: common practice",
        },
        {"name": "diameters", "value": own_length(0.2, units), "text": spread},
        {"name": "hub spacing", "value": own_length(2.0, units), "text": spread},
        {"name": "unknown", "text": "a value that the catalogue lacks counts neither for nor against a chassis"},
        {"name": "prior", "text": "before the first clue every chassis is equally likely"},
    ]


def clues(asked: IdentifyAsked) -> dict[str, Clue | tuple[str, ...]]:
    """The given clues, diameters in mm and wheels as bead seat diameters. Raises Invalid."""
    given: dict[str, Clue | tuple[str, ...]] = {}
    faults: list[Fault] = []
    for clue in CLUES:
        value = getattr(asked, clue)
        if value is None or value == []:
            continue
        if isinstance(value, list):
            given[clue] = tuple(dict.fromkeys(value))
            continue
        try:
            given[clue] = _read(clue, value)
        except Invalid as refusal:
            faults += refusal.faults
    if faults:
        raise Invalid(faults[0].text, faults)
    return given


def _read(clue: str, value: str | int) -> str | int | float:
    if clue in DIAMETERS:
        read = parse_measure(
            str(value), kind="length", usual="mm", parameter=clue, minimum=Decimal(1), maximum=Decimal(1000)
        )
        return float(read.value)
    return parse_wheel_size(str(value)) if clue == "wheel_size" else value


def answer(
    snapshot: Snapshot, index: Index, given: CluesGiven, skip: Collection[str] = (), units: Units = AS_PUBLISHED
) -> IdentifyAnswer:
    """The candidates in words; only rows that are shown are loaded."""
    ranking = rank(index, given, MOST_CANDIDATES)
    rows = snapshot.many(Chassis, [index.ids[place] for place in ranking.best])
    makers = snapshot.many(Maker, {row.maker for row in rows.values()})
    sources = snapshot.many(Source, {row.source for row in rows.values() if row.source})
    found: IdentifyAnswer = {
        "revision": snapshot.revision,
        "chassis_total": len(index.ids),
        "candidates": [
            _candidate(snapshot, index, place, given, ranking, chassis_ref(row, makers.get(row.maker)), units)
            for place in ranking.best
            for row in [rows[index.ids[place]]]
        ],
        "plausible": len(ranking.plausible),
        "excluding": _excluding(index, given, ranking, units),
        "text": "",
        "assumptions": _assumptions(units),
        "cautions": cautions("not-in-the-catalogue", sources=sources.values()),
    }
    check = next_check(index, ranking, {*given, *skip}) if given else _first_check(index, ranking, skip)
    if check is not None:
        found["next_check"] = _check_shown(check, units)
    found["text"] = _text(ranking, check)
    return found


def _first_check(index: Index, ranking: Ranking, skip: Collection[str]) -> ClueCheck | None:
    """The first check: the easiest one that is informative."""
    for clue in CLUES:
        if clue not in skip and (check := next_check(index, ranking, {*CLUES} - {clue})) is not None:
            return check
    return None


def _candidate(
    snapshot: Snapshot,
    index: Index,
    place: int,
    given: CluesGiven,
    ranking: Ranking,
    chassis: ChassisRef,
    units: Units,
) -> IdentifyCandidate:
    by: dict[Agreement, list[tuple[str, Clue]]] = {"agrees": [], "disagrees": [], "unknown": []}
    for name, reading in each_clue(given):
        by[ranking.judged[name, reading][index.attributes[name].of[place]]].append((name, reading))
    candidate: IdentifyCandidate = {
        "chassis": chassis,
        "score": round(ranking.posterior[place], 4),
        "agrees": [_clue(name, reading, index.value(name, place), units) for name, reading in by["agrees"]],
        "disagrees": [_clue(name, reading, index.value(name, place), units) for name, reading in by["disagrees"]],
        "unknown": list(dict.fromkeys(name for name, _ in by["unknown"])),
    }
    agreeing = _variants(snapshot, index, place, by["agrees"])
    if agreeing is not None:
        candidate["variants"] = [named(row) for row in agreeing]
    return candidate


def _variants(
    snapshot: Snapshot, index: Index, place: int, agrees: Sequence[tuple[str, Clue]]
) -> Sequence[Variant] | None:
    """The variants with a matching serial and with a mark that no other variant has; None without such clues."""
    serial = next((str(reading).upper() for name, reading in agrees if name == "serial"), None)
    marks = {str(reading).casefold() for name, reading in agrees if name == "mark"}
    if serial is None and not marks:
        return None
    variants = snapshot.where(Variant, "chassis", index.ids[place])
    if serial is not None:
        runs = [run for run in index.value("serial", place) or () if isinstance(run, Run)]
        ids = {run.variant for run in runs if run.holds(serial)}
        variants = [row for row in variants if row.id in ids]
    marked = [row for row in variants if marks & {mark.casefold() for mark in row.marks or ()}]
    return marked or (variants if serial is not None else None)


def _clue(clue: str, given: str | int | float, value: Value, units: Units) -> ClueView:
    listed = [_words(reading) for reading in value or ()]
    if clue == "model_year" and len(listed) > 1:
        listed = [f"{listed[0]}–{listed[-1]}"]
    shown: ClueView = {"parameter": clue, "given": _words(given), "listed": listed}
    if clue in DIAMETERS:
        shown["given_length"] = own_length(float(given), units)
        shown["listed_lengths"] = [length(float(each), units) for each in listed]
    return shown


def _words(reading: ClueReading) -> str:
    if isinstance(reading, Run):
        ends = f" from {reading.first or 'the first'} to {reading.last or 'the last'}"
        return reading.pattern + (ends if reading.first or reading.last else "")
    return write_number(reading) if isinstance(reading, float) else str(reading)


def _excluding(index: Index, given: CluesGiven, ranking: Ranking, units: Units) -> list[Excluding]:
    """The clues that no chassis agrees with; if only their combination leaves none, each with what it excludes."""
    every = each_clue(given)
    alone = [clue for clue in every if not ranking.fits[clue]]
    suspects = alone or ([] if ranking.best else every)
    found: list[Excluding] = []
    for clue in suspects:
        others = _without(given, clue)
        without = len(rank(index, others, 1).plausible) if others else len(index.ids)
        why = (
            "No chassis in the catalogue agrees with it"
            if clue in alone
            else ("Combined with the others it leaves none")
        )
        text = f"{why}; without it {without} would be left."
        each: Excluding = {"parameter": clue[0], "given": _words(clue[1]), "without": without, "text": text}
        if clue[0] in DIAMETERS:
            each["given_length"] = own_length(float(clue[1]), units)
        found.append(each)
    return sorted(found, key=lambda each: -each["without"])


def _without(given: CluesGiven, clue: tuple[str, Clue]) -> CluesGiven:
    """The clues without one of them."""
    name, reading = clue
    value = given[name]
    rest = tuple(each for each in value if each != reading) if isinstance(value, tuple) else ()
    return {**{other: kept for other, kept in given.items() if other != name}, **({name: rest} if rest else {})}


def _check_shown(check: ClueCheck, units: Units) -> NextCheck:
    most = MOST_MARKS if check.clue == "mark" else MOST_READINGS
    return {
        "parameter": check.clue,
        "text": LOOK[check.clue],
        "bits": round(check.bits, 2),
        "readings": [_reading(check.clue, *each, units) for each in check.readings[:most]],
        "readings_total": len(check.readings),
    }


def _reading(clue: str, name: str, probability: float, leaves: int, units: Units) -> CheckReading:
    shown: CheckReading = {
        "reading": name, "name": _called(clue, name), "probability": round(probability, 3), "leaves": leaves,
    }  # fmt: skip
    if clue in DIAMETERS:
        shown["length"] = length(float(name.removesuffix(" mm")), units)
    return shown


def _called(clue: str, reading: str) -> str:
    """The name of a reading; a wheel also by its usual name."""
    return wheel_called(int(reading)) if clue == "wheel_size" else reading


def _text(ranking: Ranking, check: ClueCheck | None) -> str:
    count = len(ranking.plausible)
    if not count:
        return "No chassis in the catalogue agrees with these clues: see what excludes them."
    if count == 1:
        return "One chassis stands out; compare every clue with the fork before you trust it."
    if check is None:
        return f"{count} chassis remain, and nothing else in the catalogue distinguishes them."
    return f"{count} chassis remain. {LOOK[check.clue]}"
