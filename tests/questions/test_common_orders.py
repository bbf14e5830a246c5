"""Cards from the common orders of work: on every fork of the demo, and on a fork of which next to nothing is known.

The demo's own orders are withdrawn; what is left of it covers air and coil, a port and a second valve, travel by shaft
and by spacers, bolt and nut, open bath and cartridges, one crown and two. The work is common practice, no source."""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Damper, Fastener, Procedure, Row, Spring, Step, Torque, Use
from app.database.connections import Database
from app.errors import Invalid
from app.exchange.common_orders import common_orders
from app.questions.job.job_card import JobCardAnswer
from tests.conftest import Fresh
from tests.questions.job_walk import Fork, Known, faults
from tests.questions.storing import store
from tests.questions.test_job_card import HAAR, HEDDLE, SMIRR, SMIRR_JOBS, WHIMBREL, card, gaps
from tests.questions.test_job_card_walk import REASONS, asked, everything

EVERY = 2  # takes one of so many questions
CONSTRUCTIONS = {
    "air", "coil", "port", "own valve", "shaft length", "travel spacer", "bolt into shaft", "nut on shaft", "foot",
    "open bath", "sealed cartridge", "bladder cartridge", "single", "dual",
}  # fmt: skip
SERVICE = {**HAAR, "job": "full-service", "travel": "190"}


Stored = Callable[..., Catalogue]


@pytest.fixture(scope="module")
def instead(fresh_database: Fresh) -> Iterator[Stored]:
    """Makes the demo with the common orders of work instead of its own, and with other rows changed or left out."""
    with ExitStack() as stack:

        def made(change: Callable[[Snapshot], tuple[list[Row], list[Row]]] = lambda snapshot: ([], [])) -> Catalogue:
            database = Database(stack.enter_context(fresh_database("sqlite", True)))
            stack.callback(database.close)
            with Catalogue(database).snapshot() as snapshot:
                own: list[Row] = [*snapshot.all(Procedure), *snapshot.all(Step)]
                rows, gone = change(snapshot)
            store(database, [*rows, *(row for each in common_orders().values() for row in each)], [*gone, *own])
            return Catalogue(database)

        yield made


@pytest.fixture(scope="module")
def common(instead: Stored) -> Catalogue:
    return instead()


@pytest.fixture(scope="module")
def known(common: Catalogue) -> Known:
    return Known(common)


def actions(found: JobCardAnswer, word: str) -> list[str]:
    """The texts of the steps that contain a word."""
    return [step["text"] for step in found["steps"] if word in step["text"]]


def test_every_job_on_every_fork_has_a_card_that_holds_or_a_reason(common: Catalogue, known: Known) -> None:
    made: Counter[str] = Counter()
    built: set[Any] = set()
    for given, fork in everything(known, EVERY):
        chassis = given.pop("chassis")
        found = asked(common, chassis, **given)
        if isinstance(found, Invalid):
            assert {fault.code for fault in found.faults} <= REASONS, (given, found.faults)
            continue
        fitted = {name: getattr(fork, name) for name in Fork.__dataclass_fields__}
        wrong = faults(found, Fork(**{**fitted, "spring": found["fit"]["spring"]["id"]}), known)
        assert wrong == [], (given, wrong)
        assert found["procedure"]["id"] == f"common-{given['job']}"
        made[given["job"]] += 1
        spring, damper = known.spring(found["fit"]["spring"]["id"]), known.rows["dampers"][fork.damper]
        built |= {spring.kind, spring.negative, spring.travel_set_by, known.chassis(fork.chassis).crowns}
        built |= {damper["kind"], damper["foot_joint"], damper["adjuster_at"]}
    assert built >= CONSTRUCTIONS, CONSTRUCTIONS - built
    assert min(made.values()) > 20, made
    assert len(made) == 4, made


def test_the_card_says_that_it_is_common_practice(common: Catalogue) -> None:
    procedure = card(common, **SERVICE)["procedure"]
    assert procedure["text"] == "Order of work: common practice; the maker's manual prevails."
    assert (procedure["source"]["id"], procedure["source"]["kind"]) == ("common-practice", "common practice")


@pytest.mark.parametrize("job", SMIRR_JOBS)
def test_a_second_valve_is_emptied_and_its_hollow_bolt_is_never_struck(common: Catalogue, job: str) -> None:
    found = card(common, **SMIRR, job=job, **SMIRR_JOBS[job])
    emptied = [step for step in found["steps"] if step["action"] == "empty" and "valve" in step["text"]]
    assert len(emptied) == 2
    if job != "spacer-change":
        hollow = [step for step in found["steps"] if "Drift for a hollow foot bolt" in step["tools"]]
        assert ["never strike it" in step["text"] for step in hollow] == [True]


def test_a_fork_with_one_valve_has_no_step_for_a_second(common: Catalogue) -> None:
    found = card(common, **SERVICE)
    assert not actions(found, "second chamber")
    assert "Drift for a hollow foot bolt" not in {tool["name"] for tool in found["tools"]}


def test_a_threaded_seal_head_has_a_torque_and_one_in_a_ring_has_none(common: Catalogue) -> None:
    threaded = card(common, **SMIRR, job="full-service", travel="130")
    heads = [each for each in threaded["torques"] if each["fastener"]["position"] == "spring seal head"]
    assert [each["torque"]["unit"] for each in heads] == ["N·m"]
    ringed = card(common, **SERVICE)
    assert actions(ringed, "retaining ring")
    assert not any(each["fastener"]["position"] == "spring seal head" for each in ringed["torques"])


def test_an_open_bath_is_refilled_and_a_cartridge_stays_shut(common: Catalogue) -> None:
    bath, cartridge = card(common, **WHIMBREL), card(common, **HEDDLE, job="full-service", model_year=2023)
    assert "damper" in {step["fill"]["chamber"] for step in bath["steps"] if "fill" in step}
    assert not actions(cartridge, "damper cap")
    assert actions(cartridge, "closed cartridge")


def test_a_remote_is_taken_off_and_put_back(instead: Stored) -> None:
    def remote(snapshot: Snapshot) -> tuple[list[Row], list[Row]]:
        damper = snapshot.many(Damper, [HEDDLE["damper"]])[HEDDLE["damper"]]
        return [Damper.checked({**damper.values(), "adjuster_at": "remote"})], []

    found = card(instead(remote), **HEDDLE, job="lower-leg-service", model_year=2023)
    assert [step["action"] for step in found["steps"] if "remote" in step["text"]] == ["remove", "fit"]
    assert not actions(found, "knob")


def bare(snapshot: Snapshot) -> tuple[list[Row], list[Row]]:
    """Springs and dampers without a word about how they are made; seal heads and uses of parts left out."""
    springs = [Spring.checked({**row.values(), **dict.fromkeys(OF_SPRING)}) for row in snapshot.all(Spring)]
    dampers = [Damper.checked({**row.values(), **dict.fromkeys(OF_DAMPER)}) for row in snapshot.all(Damper)]
    heads = [row for row in snapshot.all(Fastener) if row.position == "spring seal head"]
    torques = [row for row in snapshot.all(Torque) if row.fastener in {head.id for head in heads}]
    return [*springs, *dampers], [*heads, *torques, *snapshot.all(Use)]


OF_SPRING, OF_DAMPER = ("negative", "travel_set_by"), ("kind", "foot_joint", "adjuster_at")
LOWERS_OFF = {
    "If the joint at the foot is bolt into shaft", "If the joint at the foot is nut on shaft",
    "If the adjuster that must come off sits at remote",
}  # fmt: skip
SPRING_OUT = {
    "If the seal head of the spring is held by its own thread",
    "If the seal head of the spring is held by a retaining ring", "If the travel is set by travel spacer",
}  # fmt: skip
UNKNOWN = {
    "spacer-change": set(), "lower-leg-service": LOWERS_OFF, "travel-change": LOWERS_OFF | SPRING_OUT,
    "full-service": LOWERS_OFF | SPRING_OUT | {"If the damper is of kind open bath"},
}  # fmt: skip


def test_what_the_catalogue_does_not_say_stays_as_a_condition_in_words(instead: Stored) -> None:
    catalogue = instead(bare)
    for job, conditions in UNKNOWN.items():
        found = card(catalogue, **SMIRR, job=job, **SMIRR_JOBS[job])
        assert conditions <= {step.get("condition") for step in found["steps"]}
        emptied = [step for step in found["steps"] if step["action"] == "empty" and "valve" in step["text"]]
        assert [step.get("condition") for step in emptied] == [None, "If the negative chamber is filled by own valve"]
        assert "negative" in {what for what, _ in gaps(found)}


@pytest.mark.parametrize("job", SMIRR_JOBS)
def test_a_known_valve_without_its_step_gives_no_card(instead: Stored, job: str) -> None:
    catalogue = instead()
    emptied = [step["step"] for step in card(catalogue, **SMIRR, job=job, **SMIRR_JOBS[job])["steps"]
               if step["action"] == "empty" and "valve" in step["text"]]  # fmt: skip
    with catalogue.snapshot() as snapshot:
        second = snapshot.many(Step, [emptied[1]])[emptied[1]]
    store(catalogue.database, withdrawn=[second])
    refusal = asked(Catalogue(catalogue.database), **SMIRR, job=job, **SMIRR_JOBS[job])
    assert isinstance(refusal, Invalid)
    assert [fault.code for fault in refusal.faults] == ["procedure-unsafe"]


@pytest.mark.parametrize("own", ["a-service", "zz-service"])
def test_a_catalogues_own_order_comes_first(instead: Stored, own: str) -> None:
    """Whatever its id, and also if it is for one fork in some years only: then the year is asked for."""
    mine = {"id": own, "job": "full-service", "name": "Our way", "source": "marrowfell-workshop-book"}
    look = {"id": f"{own}-1", "procedure": own, "order": 10, "action": "note", "text": "Look."}
    database = instead(lambda snapshot: ([Procedure.checked(mine), Step.checked(look)], [])).database
    assert card(Catalogue(database), **SERVICE)["procedure"]["id"] == own
    lowers = card(Catalogue(database), **{**SERVICE, "job": "lower-leg-service"})
    assert lowers["procedure"]["id"] == "common-lower-leg-service"
    store(database, [Procedure.checked({**mine, "chassis": HAAR["chassis"], "model_year_from": 2022})])
    older = card(Catalogue(database), **{**SERVICE, "model_year": 2021})
    assert older["procedure"]["id"] == "common-full-service"
    refusal = asked(Catalogue(database), **{name: value for name, value in SERVICE.items() if name != "model_year"})
    assert isinstance(refusal, Invalid)
    assert [fault.parameter for fault in refusal.faults] == ["model_year"]
