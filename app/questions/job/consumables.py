"""Oils, greases and thread preparations of a card, summed with an allowance and in packs.

Volumes are sums of what the fills state: the maximum of a range, the most under any condition. Greases are given in
words: the smallest pack is named, without an amount.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import ceil

from app.catalogue.tables import Fill, Fluid
from app.questions.job.figures import uses_of
from app.questions.job.plan import Plan
from app.questions.job.steps import Step_
from app.questions.job.views import Consumable, Pack
from app.questions.setup.parameters import si_of
from app.units.preferences import Units
from app.units.quantity import Quantity, quantity

ALLOWANCE = Decimal("1.10")  # for oil left in the syringe; common practice, no source
ALLOWANCE_TEXT = "Includes 10 % extra for oil left in the syringe (common practice, no source)."
RINGS = 2  # foam rings of a fork, one in each leg, if no use states the number; common practice, no source
ML = 1e-6
BRINGS_ITS_OWN = re.compile(r"\b(bring|come with|carry|have|has|brings|comes with|carries) (their|its) own\b")
"""A bolt that comes with threadlocker needs none from a bottle."""
_NO_FLUID = {"oiled": "oil on the thread", "greased": "grease on the thread"}


@dataclass(slots=True)
class Sum:
    """The required amount of one fluid; volume in mL, None if a use states none."""

    fluid: Fluid | None
    id: str
    volume_ml: Decimal = Decimal(0)
    known: bool = False
    used_for: list[str] = field(default_factory=list)
    statements: list[str] = field(default_factory=list)

    def add(self, what: str, statement: str, volume_ml: Decimal | None) -> None:
        """Add another use."""
        if what not in self.used_for:
            self.used_for.append(what)
        self.statements.append(statement)
        if volume_ml is not None:
            self.volume_ml += volume_ml
            self.known = True

    def merge(self, other: "Sum") -> None:
        """Add another card's requirement of the same fluid."""
        self.used_for = list(dict.fromkeys([*self.used_for, *other.used_for]))
        self.statements += other.statements
        self.volume_ml += other.volume_ml
        self.known = self.known or other.known


def sums_of(plan: Plan, steps: Sequence[Step_]) -> dict[str, Sum]:
    """The fluids of the steps, by id in order of first use."""
    sums: dict[str, Sum] = {}
    for each in steps:
        fills = [fill.statement for fill in each.figures.fill_rows]
        for fluid in dict.fromkeys(fill.fluid for fill in fills if fill.fluid is not None):
            mine = [fill for fill in fills if fill.fluid == fluid]
            volumes = [volume for fill in mine if (volume := _volume_ml(plan, fill)) is not None]
            _sum(sums, plan, fluid).add(mine[0].chamber, mine[0].id, max(volumes, default=None))
        grease = each.figures.grease_row
        if grease is not None and grease.statement.fluid is not None:
            _sum(sums, plan, grease.statement.fluid).add(grease.statement.place, grease.statement.id, None)
    return sums


def _sum(sums: dict[str, Sum], plan: Plan, id: str) -> Sum:
    return sums.setdefault(id, Sum(plan.found.fluids.get(id), id))


def _volume_ml(plan: Plan, fill: Fill) -> Decimal | None:
    """The maximum volume of a fill, in mL; a foam ring counts once per ring."""
    most = fill.max if fill.max is not None else fill.value if fill.value is not None else fill.min
    if most is None or fill.unit is None:
        return None
    times = 1
    if fill.chamber == "foam ring":
        times = next((each.statement.count or RINGS for each in uses_of(plan, "foam ring")), RINGS)
    volume = most if fill.unit == "mL" else Decimal(str(si_of("volume", most, fill.unit) / ML))
    return volume * times


def shown(needed: Sum, units: Units) -> Consumable:
    """A sum in words: the need, the need with allowance, and the packs that cover it."""
    fluid = needed.fluid
    found: Consumable = {
        "id": needed.id, "name": needed.id if fluid is None else fluid.name, "packs": [],
        "used_for": needed.used_for, "statements": list(dict.fromkeys(needed.statements)),
    }  # fmt: skip
    if fluid is not None:
        found["kind"] = fluid.kind
    sizes = sorted(fluid.packs_ml or ()) if fluid is not None else []
    wanted = needed.volume_ml * ALLOWANCE
    if needed.known:
        found["need"] = _ml(needed.volume_ml, units)
        found["with_allowance"] = _ml(wanted, units)
        found["text"] = ALLOWANCE_TEXT
    if sizes:
        found["packs"] = _packs(sizes, wanted if needed.known else Decimal(0), units)
    return found


def _ml(volume_ml: Decimal, units: Units) -> Quantity:
    return quantity("volume", volume_ml.normalize() + 0, "mL", to=units, rounding="minimum", basis="computed")


def _packs(sizes: Sequence[Decimal], wanted: Decimal, units: Units) -> list[Pack]:
    """The smallest pack that is enough, else several of the largest."""
    size = next((each for each in sizes if each >= wanted), sizes[-1])
    return [{"size": quantity("volume", size, "mL", to=units), "count": max(1, ceil(wanted / size))}]


def on_threads(steps: Iterable[Step_]) -> list[Consumable]:
    """The thread preparations of the torques, by kind; the catalogue names no product for them."""
    found: dict[str, Consumable] = {}
    for each in steps:
        for row in each.figures.torques:
            prep, instruction = row.statement.thread_prep, row.statement.instruction
            if prep is None or prep == "dry" or (instruction is not None and BRINGS_ITS_OWN.search(instruction)):
                continue
            entry = found.setdefault(
                prep, {"name": _NO_FLUID.get(prep, prep), "packs": [], "used_for": [], "statements": []}
            )
            position = each.row.fastener_position or each.row.id
            if position not in entry["used_for"]:
                entry["used_for"].append(position)
            if instruction is not None and "thread" in instruction:
                entry["text"] = f"{instruction[:1].upper()}{instruction[1:]}."
            entry["statements"].append(row.statement.id)
    return list(found.values())
