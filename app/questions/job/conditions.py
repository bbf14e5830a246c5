"""The steps of a procedure that apply to a fork: conditions compared with the properties of its parts. Pure.

A property that the catalogue does not give decides nothing: the step stays, with its condition in words.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from app.catalogue.tables import Chassis, Damper, Fastener, Spring, SpringChamber, Step

SEAL_HEAD = "spring seal head"
RING = "retaining ring"
_WORDS = {
    "spring_kind": "the spring is of kind",
    "foot_joint": "the joint at the foot is",
    "adjuster_at": "the adjuster that must come off sits at",
    "crowns": "the fork's crowns are",
    "travel_set_by": "the travel is set by",
    "damper_kind": "the damper is of kind",
    "negative": "the negative chamber is filled by",
    "second_positive": "the second positive chamber is filled by",
    "seal_head": "the seal head of the spring is held by",
}
_HELD_BY = {"threaded": "its own thread", RING: "a retaining ring"}
_OF_SPRING = ("spring_kind", "travel_set_by", "negative", "second_positive", "seal_head")
_WHOSE = dict.fromkeys(_OF_SPRING, "spring") | {"crowns": "chassis"}

Properties = Mapping[str, frozenset[str | None]]
"""Every possible value of each property; None among them means that the catalogue does not say."""


@dataclass(frozen=True, slots=True)
class KeptStep:
    """A step that stays; `open` are the properties that would decide whether it applies."""

    step: Step
    open: tuple[str, ...] = ()

    @property
    def words(self) -> str | None:
        """The condition as a clause, or None if the step surely applies."""
        clauses = [_clause(condition) for condition in self.step.when or () if condition.partition("=")[0] in self.open]
        return None if not clauses else "If " + " and ".join(clauses)


def properties(
    chassis: Chassis, spring: Spring | None, dampers: Iterable[Damper], fasteners: Iterable[Fastener],
    part_kinds: Collection[str], chambers: Iterable[SpringChamber] = (),
) -> Properties:  # fmt: skip
    """The properties that conditions are compared with; several dampers may differ.

    A spring whose seal head is listed among the fasteners has a threaded one; it has a retaining ring if one is among
    the kinds of part that jobs use. A spring that lists no second positive chamber has none.
    """
    fitted = list(dampers)
    return {
        "spring_kind": frozenset({None if spring is None else spring.kind}),
        "travel_set_by": frozenset({None if spring is None else spring.travel_set_by}),
        "negative": frozenset({None if spring is None else spring.negative}),
        "second_positive": frozenset({_second_positive(spring, chambers)}),
        "crowns": frozenset({chassis.crowns}),
        "foot_joint": frozenset(damper.foot_joint for damper in fitted) or frozenset({None}),
        "adjuster_at": frozenset(damper.adjuster_at for damper in fitted) or frozenset({None}),
        "damper_kind": frozenset(damper.kind for damper in fitted) or frozenset({None}),
        "seal_head": frozenset({_seal_head(fasteners, part_kinds)}),
    }


def _second_positive(spring: Spring | None, chambers: Iterable[SpringChamber]) -> str | None:
    if spring is None:
        return None
    return next((each.valve for each in chambers if each.chamber == "second positive"), "none")


def _seal_head(fasteners: Iterable[Fastener], part_kinds: Collection[str]) -> str | None:
    if any(row.position == SEAL_HEAD for row in fasteners):
        return "threaded"
    return RING if RING in part_kinds else None


def kept(steps: Iterable[Step], having: Properties) -> list[KeptStep]:
    """The steps that apply or may apply, in order."""
    found = []
    for step in sorted(steps, key=lambda each: (each.order, each.id)):
        verdicts = {name: _verdict(values, having.get(name)) for name, values in _read(step)}
        if False not in verdicts.values():
            found.append(KeptStep(step, tuple(name for name, verdict in verdicts.items() if verdict is None)))
    return found


def whose(name: str) -> str:
    """The part that a property belongs to."""
    return _WHOSE.get(name, "damper")


def words(name: str) -> str:
    """A property in words, as they come before its value."""
    return _WORDS[name]


def _read(step: Step) -> list[tuple[str, frozenset[str]]]:
    parted = [condition.partition("=") for condition in step.when or ()]
    return [(name, frozenset(value.strip() for value in values.split("|"))) for name, _, values in parted]


def _verdict(wanted: frozenset[str], may_be: frozenset[str | None] | None) -> bool | None:
    """True if the condition surely holds, False if it cannot, None if it is open."""
    if may_be is None or None in may_be:
        return None
    if may_be <= wanted:
        return True
    return None if may_be & wanted else False


def _clause(condition: str) -> str:
    name, _, values = condition.partition("=")
    named = (_HELD_BY.get(value, value) for value in map(str.strip, values.split("|")))
    return f"{_WORDS.get(name, name)} {' or '.join(named)}"
