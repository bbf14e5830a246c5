"""The worth of each rule: how many faults would no longer be rejected or found without it."""

from collections import defaultdict
from dataclasses import dataclass, field

from app.rules.finding import Finding
from app.rules.registry import RULES
from app.rules.rule_set import RuleSet
from tests.faults.fault import KINDS, Fault, made
from tests.faults.trying import SEED, Court

ENOUGH = 3  # this many faults with a worse result show that a rule matters


@dataclass(slots=True)
class Worth:
    """How many faults a rule fired on, how many of those retried have a worse result without it, and of which kinds."""

    fired: int = 0
    again: int = 0
    worse: int = 0
    kinds: set[str] = field(default_factory=set)


def level(found: list[Finding]) -> int:
    """2 rejected, 1 warned, 0 missed."""
    return 2 if any(each.severity == "reject" for each in found) else 1 if found else 0


def worths(courts: list[Court], count: int) -> dict[str, Worth]:
    """The worth of every rule that judges and whose findings count, over `count` faults of each kind and catalogue."""
    counted = [rule.slug for rule in RULES.values() if rule.judge is not None and rule.family != "completeness"]
    found = {slug: Worth() for slug in counted}
    fired: dict[str, list[tuple[Court, str, Fault, int, int]]] = defaultdict(list)
    for court in courts:
        for kind in KINDS.values():
            for fault in made(court.rows, kind, SEED, count):
                said = court.verdict(fault)
                rules = {finding.rule for finding in said}
                for slug in rules:
                    found[slug].fired += 1
                    fired[slug].append((court, kind.name, fault, level(said), len(rules)))
    for slug, worth in found.items():
        bench = RuleSet(rule for rule in RULES.values() if rule.slug != slug)
        for court, name, fault, was, _ in sorted(fired[slug], key=lambda each: each[4]):
            if worth.worse == ENOUGH:
                break
            worth.again += 1
            if level(court.verdict(fault, bench)) < was:
                worth.worse += 1
                worth.kinds.add(name)
    return found
