"""The phases of a job: every step in exactly one, in order; worked out by hand from what a mechanic would say."""

from typing import get_args

import pytest

from app.bench.phases import phases
from app.catalogue.tables import Step

LOWERS = (
    "note check empty check | loosen back-off free remove empty remove | "
    "clean inspect inspect fill fit grease check fit fill seat fit tighten tighten | set clean tighten check set note"
)
SPACERS = "note check empty check | loosen | inspect loosen tighten grease tighten check tighten | set check note"
COIL = "note set | loosen remove | inspect fit tighten | set note"


@pytest.mark.parametrize("said", [LOWERS, SPACERS, COIL])
def test_phases_are_where_a_mechanic_changes_work(said: str) -> None:
    wanted = [part.split() for part in said.split("|")]
    actions = [action for part in wanted for action in part]
    steps = [{"number": number, "action": action} for number, action in enumerate(actions, 1)]
    found = phases(steps)
    assert [[actions[number - 1] for number in phase.steps] for phase in found] == wanted
    assert [phase.id for phase in found] == ["a", "b", "c", "d"]


def test_a_job_that_opens_nothing_has_no_phase_of_taking_down() -> None:
    steps = [{"number": 1, "action": "check"}, {"number": 2, "action": "set"}]
    assert [(phase.id, phase.steps) for phase in phases(steps)] == [("a", [1, 2])]
    assert phases([]) == []


def test_every_action_of_the_catalogue_is_used_in_the_examples() -> None:
    used = {word for said in (LOWERS, SPACERS, COIL) for word in said.split() if word != "|"}
    assert used == set(get_args(Step.model_fields["action"].annotation))
