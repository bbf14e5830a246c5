"""Orders of work judged for every construction. The invariants are common practice of the trade, no source."""

from typing import Any

import pytest

from app.catalogue.tables import Step
from app.rules.checks.work import unsafe

BOLT, NUT = "foot_joint=bolt into shaft", "foot_joint=nut on shaft"


def step(order: int, action: str, position: str | None = None, *when: str, **columns: Any) -> Step:
    fields = {"id": f"step-{order}", "procedure": "job", "order": order, "action": action, "text": "Do it."}
    return Step.checked({**fields, "fastener_position": position, "when": when or None, **columns})


def faults(*steps: Step) -> list[str]:
    return [text for text, _, _ in unsafe(steps)]


AIR_OUT = step(1, "empty", None, "spring_kind=air")


def test_one_joint_with_two_ways_to_close_it_is_unsafe_where_the_joint_is_not_stated() -> None:
    """A card keeps both steps if the catalogue does not say which joint the fork has."""
    apart = [AIR_OUT, step(2, "loosen", "foot bolt", BOLT), step(3, "loosen", "foot nut", NUT)]
    apart += [step(4, "tighten", "foot bolt", BOLT), step(5, "tighten", "foot nut", NUT)]
    assert faults(*apart) == []
    same = [AIR_OUT, step(2, "loosen", "foot bolt"), step(4, "tighten", "foot bolt", BOLT)]
    same.append(step(5, "tighten", "foot bolt", NUT))
    found = faults(*same)
    assert "foot bolt is loosened and then tightened 2 times" in found
    assert "foot bolt is loosened and then tightened 0 times" in found, "for another joint"


@pytest.mark.parametrize("last", ["crowns=dual", "damper_kind=bladder cartridge"])
def test_a_fault_of_one_construction_among_thousands_is_found(last: str) -> None:
    """Every property occurs in the order; the fault shows only on forks with one value of one of them."""
    every = [
        f"{name}={value}"
        for name, values in {
            "adjuster_at": ("foot", "top", "remote"), "crowns": ("single", "dual"), "travel_set_by": ("shaft length",),
            "damper_kind": ("open bath", "sealed cartridge", "bladder cartridge"), "negative": ("port", "own valve"),
            "foot_joint": ("bolt into shaft", "nut on shaft"), "seal_head": ("threaded", "retaining ring"),
        }.items()
        for value in values
    ]  # fmt: skip
    looks = [step(10 + number, "check", None, condition) for number, condition in enumerate(every)]
    both = [AIR_OUT, step(2, "empty", None, "negative=own valve")]
    done = [*both, *looks, step(90, "loosen", "top cap", last)]
    assert faults(*done, step(91, "tighten", "top cap", last)) == []
    assert faults(*done) == ["top cap is loosened and then tightened 0 times"]


@pytest.mark.parametrize("name", ["negative", "second_positive"])
def test_a_valve_that_the_order_knows_of_and_does_not_empty_is_unsafe(name: str) -> None:
    own = f"{name}=own valve"
    opened = [step(3, "loosen", "top cap"), step(5, "tighten", "top cap"), step(6, "set", None, own)]
    assert faults(AIR_OUT, *opened) == ["the spring has 2 valves and only 1 of them is emptied"]
    assert faults(AIR_OUT, step(2, "empty", None, own), *opened) == []


def test_three_valves_need_three_steps() -> None:
    second, negative = (step(2 + at, "empty", None, f"{name}=own valve")
                        for at, name in enumerate(("second_positive", "negative")))  # fmt: skip
    opened = [step(5, "loosen", "top cap"), step(6, "tighten", "top cap")]
    assert faults(AIR_OUT, second, negative, *opened) == []
    shared = step(2, "empty", None, "negative=own valve", chamber="negative chamber")
    refilled = step(7, "fill", None, "negative=own valve", chamber="negative chamber")
    fills = step(8, "set", None, "second_positive=own valve")
    assert set(faults(AIR_OUT, shared, *opened, refilled, fills)) == {
        "the spring has 2 valves and only 1 of them is emptied",
        "the spring has 3 valves and only 2 of them are emptied",
    }


def test_a_chamber_that_is_emptied_through_its_own_valve_counts_as_let_out() -> None:
    opened = [step(3, "loosen", "top cap"), step(5, "tighten", "top cap")]
    late = step(4, "empty", None, "negative=own valve")
    assert faults(AIR_OUT, step(2, "empty", None, "negative=own valve"), *opened) == []
    assert faults(AIR_OUT, *sorted([*opened, late], key=lambda each: each.order)) == [
        "top cap is opened before the air is out"
    ]
