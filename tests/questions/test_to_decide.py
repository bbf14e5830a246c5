"""Every value offered for a decision can be given: nothing already given rules it out."""

import random
from functools import partial
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis
from app.errors import Invalid
from app.questions.job.job_card import JobCardAsked, job_card
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.sheet.fits import FitsAsked, fits
from app.questions.sheet.sheet import SheetAsked, sheet

OUTSIDE = {
    "model-year-outside", "variant-outside", "travel-outside", "wheel-size-outside", "damper-outside", "spring-outside",
    "spring-gives-other-travel", "no-spring-for-travel",
}  # fmt: skip


def given(values: dict[str, Any]) -> dict[str, Any]:
    return {name: value if name == "model_year" else str(value) for name, value in values.items()}


def values_of(open_parameter: dict[str, Any]) -> list[Any]:
    """The values to give for an open parameter. A serial comes as a range: both of its ends can be given."""
    if open_parameter["parameter"] != "serial":
        return open_parameter["values"]  # type: ignore[no-any-return]
    return [end for said in open_parameter["values"] for end in said.split(" to ")]


def walk(chassis: str, ask: Any, chance: random.Random) -> int:
    """Answers open questions at random until nothing is undecided; returns how many answers that took."""
    known: dict[str, Any] = {}
    for count in range(12):
        open_parameters = ask(known)
        if not open_parameters:
            return count
        each = chance.choice(open_parameters)
        for value in values_of(each):  # none of them is refused
            ask({**known, each["parameter"]: value})
        known[each["parameter"]] = chance.choice(values_of(each))
    raise AssertionError(f"{chassis}: never decided with {known}")


@pytest.mark.parametrize("seed", range(3))
def test_every_value_that_is_offered_can_be_given(loaded: Catalogue, seed: int) -> None:
    if not loaded.database.is_sqlite:
        pytest.skip("the engines answer alike: one is enough for a walk of this length")
    questions = ((sheet, SheetAsked), (setup, SetupAsked), (fits, FitsAsked))
    with loaded.snapshot() as snapshot:
        walks = [
            walk(chassis.id, partial(undecided_of, snapshot, chassis.id, *each), random.Random(f"{chassis.id} {seed}"))
            for chassis in snapshot.all(Chassis)
            for each in questions
        ]
    assert sum(walks) > 40


def undecided_of(snapshot: Snapshot, chassis: str, question: Any, asked: Any, known: dict[str, Any]) -> Any:
    """The parameters that the question leaves open. Fails if an offered value is refused."""
    try:
        return question(snapshot, chassis, asked(**given(known)))["undecided"]
    except Invalid as refusal:
        raise AssertionError(f"{chassis} {known}: {refusal.faults}") from refusal


def test_a_job_card_offers_nothing_that_is_then_outside(loaded: Catalogue) -> None:
    """Refusals of another kind, such as spacers above a limit, are for the mechanic to decide."""
    with loaded.snapshot() as snapshot:
        for chassis in [row.id for row in snapshot.all(Chassis)]:
            for job in ("lower-leg-service", "full-service"):
                known: dict[str, Any] = {"job": job}
                while (refusal := refused(snapshot, chassis, known)) is not None and "undecided" in refusal.extra:
                    assert {fault.code for fault in refusal.faults} == {"undecided"}, (chassis, known, refusal.faults)
                    first = refusal.extra["undecided"][0]
                    assert first["parameter"] not in known
                    known[first["parameter"]] = values_of(first)[-1]
                codes = set() if refusal is None else {fault.code for fault in refusal.faults}
                assert not codes & OUTSIDE, (chassis, known)


def refused(snapshot: Snapshot, chassis: str, known: dict[str, Any]) -> Invalid | None:
    """The reason why there is no card, or None if there is one."""
    try:
        job_card(snapshot, chassis, JobCardAsked(**given(known)))
    except Invalid as refusal:
        return refusal
    return None


def test_the_second_run_is_not_offered_in_a_year_of_the_first(loaded: Catalogue) -> None:
    """Trivet: the second run begins in 2023."""
    with loaded.snapshot() as snapshot:
        (variant,) = (
            each
            for each in sheet(snapshot, "quembry-trivet-35", SheetAsked())["undecided"]
            if each["parameter"] == "variant"
        )
        early = sheet(snapshot, "quembry-trivet-35", SheetAsked(model_year=2021))["undecided"]
    assert "quembry-trivet-35-run-two" in variant["values"]
    assert not any("quembry-trivet-35-run-two" in each["values"] for each in early)
