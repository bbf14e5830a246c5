"""Every job, from every fit of the demo to every other travel of its chassis, has a valid card or a reason."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Fit, is_row_of
from app.errors import Invalid
from app.questions.job.job_card import JobCardAnswer, JobCardAsked, job_card
from app.questions.sheet.gather import WORK_ORDER
from app.questions.sheet.sheet import SheetAsked, sheet
from tests.questions.job_walk import Fork, Known, faults

SERVICES = ("lower-leg-service", "full-service")
REASONS = {
    "undecided", "no-spring-for-travel", "same-travel", "spring-kind-differs", "spacers-over-limit",
    "spacer-limit-not-stated", "no-volume-spacers", "travel-outside", "model-year-outside",
}  # fmt: skip


@pytest.fixture(scope="module")
def known(loaded: Catalogue) -> Known:
    return Known(loaded)


def asked(catalogue: Catalogue, chassis: str, **given: Any) -> JobCardAnswer | Invalid:
    with catalogue.snapshot() as snapshot:
        try:
            return job_card(snapshot, chassis, JobCardAsked(**given))
        except Invalid as refusal:
            return refusal


def everything(known: Known, every: int) -> Iterator[tuple[dict[str, Any], Fork]]:
    """Each job for each fit and each damper of its chassis; takes one in `every`."""
    fits: list[Fit] = [row for row in known.rows["fits"].values() if is_row_of(row, Fit)]
    counted = 0
    for fit in fits:
        chassis = known.chassis(fit.chassis)
        given: dict[str, Any] = {
            "model_year": fit.model_year_to or chassis.model_year_to,
            "wheel_size": str(fit.wheel_size[0] if fit.wheel_size else None),
            "damper": (fit.damper or sorted(chassis.dampers or ())[counted % len(chassis.dampers or ()) :])[0],
        }  # fmt: skip
        if fit.variant is not None:
            given["variant"] = fit.variant[0]
        given |= _serial(known, fit.chassis, counted)
        coil = known.rows["springs"][fit.spring].kind == "coil"
        travels = sorted({other.travel_mm for other in fits if other.chassis == fit.chassis} - {fit.travel_mm})
        jobs: list[dict[str, Any]] = [{"job": job, "travel": f"{fit.travel_mm:g}"} for job in SERVICES]
        jobs.append({"job": "spacer-change", "travel": f"{fit.travel_mm:g}", "spacers": counted % 4})
        jobs += [
            {"job": "travel-change", "from_travel": f"{fit.travel_mm:g}", "to_travel": f"{travel:g}"}
            for travel in travels
        ]
        for job in jobs:
            counted += 1
            if counted % every == 0:
                spring = {"spring": fit.spring} if coil or job["job"] != "travel-change" else {}
                more = {"from_spring": fit.spring} if job["job"] == "travel-change" else {}
                more |= {"rider_mass": "80"} if counted // every % 2 else {}
                yield {"chassis": fit.chassis, **given, **job, **spring, **more}, _fork(fit, given, job)


def _fork(fit: Fit, given: dict[str, Any], job: dict[str, Any]) -> Fork:
    travel = float(job.get("to_travel", job.get("travel")))
    return Fork(
        fit.chassis, given["model_year"], travel, fit.spring, given["damper"], int(given["wheel_size"]),
        given.get("variant"), job.get("spacers"), given.get("serial"),
    )  # fmt: skip


def _serial(known: Known, chassis: str, counted: int) -> dict[str, str]:
    """A serial inside and outside of a range in turn, for a chassis with figures that depend on it."""
    ends = [
        row["serial_to"]
        for row in known.any.values()
        if getattr(row, "serial_from", None) and row["chassis"] == chassis
    ]
    return {"serial": (ends[0], "00000-00")[counted % 2]} if ends else {}


def test_every_job_on_every_fit_has_a_card_that_holds_or_a_reason(loaded: Catalogue, known: Known) -> None:
    every = 1 if loaded.database.is_sqlite else 9
    made: Counter[str] = Counter()
    for given, fork in everything(known, every):
        chassis = given.pop("chassis")
        found = asked(loaded, chassis, **given)
        if isinstance(found, Invalid):
            assert found.faults, given
            assert {fault.code for fault in found.faults} <= REASONS, (given, found.faults)
            assert all(fault.text for fault in found.faults)
            made[found.faults[0].code] += 1
            continue
        spring = found["fit"]["spring"]["id"]
        wrong = faults(found, Fork(**{**_fields(fork), "spring": spring}), known)
        assert wrong == [], (given, wrong)
        assert found["fit"]["travel"]["value"] == fork.travel_mm
        made["card"] += 1
    if loaded.database.is_sqlite:
        assert made["card"] > 400, made
        assert made["no-volume-spacers"] > 0, made
        assert made["spacers-over-limit"] > 0, made


def _fields(fork: Fork) -> dict[str, Any]:
    return {name: getattr(fork, name) for name in Fork.__dataclass_fields__}


def test_with_a_parameter_left_out_a_card_is_the_same_for_all_it_may_be_or_there_is_none(
    loaded: Catalogue, known: Known
) -> None:
    """If an undecided parameter slipped through, the card for some value would differ from the one without it."""
    every = 11 if loaded.database.is_sqlite else 60
    refused = 0
    for given, _ in everything(known, every):
        chassis = known.chassis(given.pop("chassis"))
        years = range(chassis.model_year_from or 2020, (chassis.model_year_to or 2020) + 1)
        left_out: dict[str, list[Any]] = {
            "wheel_size": [str(size) for size in chassis.wheel_sizes or ()],
            "damper": list(chassis.dampers or ()),
            "model_year": list(years),
            "variant": [id for id, row in known.rows["variants"].items() if row.chassis == chassis.id],
        }
        for name, values in left_out.items():
            rest = {key: value for key, value in given.items() if key != name}
            found = asked(loaded, chassis.id, **rest)
            if isinstance(found, Invalid):
                refused += name in {fault.parameter for fault in found.faults if fault.code == "undecided"}
                continue
            for value in values:
                other = asked(loaded, chassis.id, **{**rest, name: value})
                if not isinstance(other, Invalid):
                    mine = [step["text"] for step in found["steps"]]
                    assert [step["text"] for step in other["steps"]] == mine, (chassis.id, rest, name, value)
                    assert other["parts"] == found["parts"], (chassis.id, rest, name, value)
    if loaded.database.is_sqlite:
        assert refused > 10


def test_torques_are_listed_in_the_order_of_work(loaded: Catalogue, known: Known) -> None:
    """On a card in the order of its steps; on a sheet in the order in which the full service tightens them."""
    with loaded.snapshot() as snapshot:
        sheets = {chassis: sheet(snapshot, chassis, SheetAsked())["torques"] for chassis in known.rows["chassis"]}
    for chassis, torques in sheets.items():
        listed = [torque["fastener"]["position"] for torque in torques]
        positions = [name for name in dict.fromkeys(listed) if name in WORK_ORDER]
        assert positions == [name for name in WORK_ORDER if name in positions]
        card = asked(loaded, chassis, job="full-service", model_year=2023)
        if not isinstance(card, Invalid):
            in_steps = [torque["id"] for step in card["steps"] for torque in step.get("torque", ())]
            assert [torque["id"] for torque in card["torques"]] == list(dict.fromkeys(in_steps))
    steps = [step for step in map(known.step, known.rows["steps"]) if step.procedure == "full-service"]
    tightened = [
        step.fastener_position for step in sorted(steps, key=lambda each: each.order) if step.action == "tighten"
    ]
    assert [name for name in WORK_ORDER if name in tightened] == [name for name in tightened if name in WORK_ORDER]
