"""The phases of a job, from the actions of its steps: make safe, take down, inspect and build, fill and prove. Pure.

The order is common practice, no source. Every phase is a run of steps; a phase without steps is left out.
"""

from collections.abc import Collection, Sequence
from typing import NamedTuple

from app.bench.work_order_shapes import PhaseId
from app.json_types import JsonObject

_TAKES_DOWN = {"loosen", "back-off", "free", "remove"}
_LOOKS = {"clean", "inspect"}
_BUILDS = {"fit", "grease", "seat", "fill"}
_CLOSES = {"tighten", "check"}
NAMES: dict[PhaseId, str] = {
    "a": "Make safe", "b": "Take down", "c": "Inspect and build", "d": "Fill and prove",
}  # fmt: skip


class WorkPhase(NamedTuple):
    """A phase and the numbers of its steps."""

    id: PhaseId
    steps: list[int]


def phases(steps: Sequence[JsonObject]) -> list[WorkPhase]:
    """The phases of the steps of a card, in order of work."""
    actions = [step["action"] for step in steps]
    down = _first(actions, _TAKES_DOWN, 0)
    build = min(_first(actions, _LOOKS, down), _first(actions, _BUILDS, down))
    built = [index for index, action in enumerate(actions) if action in _BUILDS and index >= build]
    prove = built[-1] + 1 if built else build
    while prove < len(actions) and actions[prove] in _CLOSES:
        prove += 1
    ends = zip(NAMES, [0, down, build, prove], [down, build, prove, len(actions)], strict=True)
    found = [WorkPhase(id, [step["number"] for step in steps[start:end]]) for id, start, end in ends]
    return [phase for phase in found if phase.steps]


def _first(actions: Sequence[str], wanted: Collection[str], start: int) -> int:
    return next((index for index in range(start, len(actions)) if actions[index] in wanted), len(actions))
