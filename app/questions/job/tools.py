"""Tools to lay out in order of use, and torque wrenches by the range they must cover (ISO 6789-1)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from app.catalogue.tables import Fastener, Tool
from app.physics.bolt import wrench_check
from app.questions.job.plan import Plan
from app.questions.job.steps import Step_
from app.questions.job.views import ToolNeeded
from app.questions.setup.parameters import si_of
from app.units.preferences import Units
from app.units.quantity import quantity

FIFTH = Decimal(5)
WRENCH_TEXT = (
    "Both ends must be within the marked range (ISO 6789-1:2017). Wrenches to the 2003 edition were never "
    "tested below a fifth of their marked maximum: do not use one with a larger maximum than this."
)


class TorqueFigure(NamedTuple):
    """A torque in N·m, for sorting its ends, and as its source gives it."""

    torque_nm: float
    figure: Decimal
    unit: str


@dataclass(slots=True)
class Laid:
    """The tools of a card under construction, by identity, in order of first use."""

    tools: dict[object, ToolNeeded] = field(default_factory=dict)

    def add(self, key: object, needed: ToolNeeded, step: int) -> None:
        """Add a step for a tool; it is listed at its first."""
        known = self.tools.setdefault(key, needed)
        if step not in known["steps"]:
            known["steps"].append(step)


def tools_needed(plan: Plan, steps: Sequence[Step_]) -> list[ToolNeeded]:
    """Every tool, in order of first use; also adds the names to the steps."""
    laid = Laid()
    named = {id for each in steps for id in each.row.tools or ()}
    known = plan.snapshot.many(Tool, named) if named else {}
    ends = [_ends(each) for each in steps]
    wrenches = _wrenches(ends, plan.units)
    for each, torques in zip(steps, ends, strict=True):
        number = each.shown["number"]
        for id in each.row.tools or ():
            name = known[id].name if id in known else "a tool that is not in the catalogue"
            each.shown["tools"].append(name)
            laid.add(id, {"id": id, "name": name, "steps": []}, number)
        for fastener in each.fasteners:
            _turn(plan, fastener, each, laid)
        for low, high, wrench in wrenches:
            if any(low <= end.torque_nm <= high for end in torques):
                laid.add(("wrench", low), wrench, number)
    return list(laid.tools.values())


def _turn(plan: Plan, fastener: Fastener, each: Step_, laid: Laid) -> None:
    """The tool for a fastener's drive; a gap if the drive or the tool is unknown."""
    drives = list(fastener.drives or ())
    fitting = [tool for drive in drives for tool in plan.found.tools.get(drive, ())]
    if not drives:
        text = f"The catalogue does not give the drive of {fastener.id}."
        plan.miss("drive", fastener.id, "you need the right tool before you start", text)
        return
    if not fitting:
        text = f"The catalogue has no tool for {' or '.join(drives)} on {fastener.id}."
        plan.miss("tool", fastener.id, "you need the right tool before you start", text)
        return
    first = fitting[0]
    needed: ToolNeeded = {"id": first.id, "name": first.name, "steps": []}
    if first.drive is not None:
        needed["drive"] = first.drive
    if len(fitting) > 1:
        needed["any_of"] = [tool.name for tool in fitting]
    if first.name not in each.shown["tools"]:
        each.shown["tools"].append(first.name)
    laid.add(first.id, needed, each.shown["number"])


def _ends(each: Step_) -> list[TorqueFigure]:
    """Both ends of every torque of a step."""
    found = []
    for shown in each.figures.torques:
        row = shown.statement
        figures = [figure for figure in (row.value, row.min, row.max) if figure is not None]
        if figures and row.unit is not None:
            found += [
                TorqueFigure(si_of("torque", figure, row.unit), figure, row.unit)
                for figure in (min(figures), max(figures))
            ]
    return found


def _wrenches(ends: Iterable[Sequence[TorqueFigure]], units: Units) -> list[tuple[float, float, ToolNeeded]]:
    """As few wrenches as cover all torques, none used in the lowest fifth of its range; in order of torque, in N·m."""
    groups: list[list[TorqueFigure]] = []
    for end in sorted({end for each in ends for end in each}):
        if groups and not wrench_check(groups[-1][0].torque_nm, 0.0, end.torque_nm).in_lowest_fifth:
            groups[-1].append(end)
        else:
            groups.append([end])
    return [(group[0].torque_nm, group[-1].torque_nm, _wrench(group[0], group[-1], units)) for group in groups]


def _wrench(low: TorqueFigure, high: TorqueFigure, units: Units) -> ToolNeeded:
    """A range rounds outward, so that it still covers everything; the highest marked maximum rounds down."""
    smallest = quantity("torque", low.figure, low.unit, to=units, rounding="maximum")
    largest = quantity("torque", high.figure, high.unit, to=units, rounding="minimum")
    most = quantity("torque", None, low.unit, maximum=FIFTH * low.figure, to=units, basis="computed")
    span = largest["text"] if low.torque_nm == high.torque_nm else f"{smallest['text']} to {largest['text']}"
    return {
        "name": f"Torque wrench for {span}", "smallest": smallest, "largest": largest,
        "marked_maximum_at_most": most, "steps": [], "text": WRENCH_TEXT,
    }  # fmt: skip
