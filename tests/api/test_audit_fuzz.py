"""Fuzzes every operation, writes included, inside and outside its description, with every available check.

`test_conformance.py` sends each lookup a few times with real parameters; here the input may be anything. By default it
runs a few fixed cases; LEGWORK_TEST_FUZZ_MINUTES sets how long it then tries others."""

import os
import random
import time
from collections import Counter
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import checks as judged
from schemathesis.generation import GenerationMode

from tests.api.test_conformance import DOCUMENT, IN_A_CHILD, Served, service
from tests.api.writing import TORQUE

MINUTES = float(os.environ.get("LEGWORK_TEST_FUZZ_MINUTES", "0"))
CASES = 4
"""Requests per operation and kind of case."""

judged.load_all_checks()
NEEDS_MORE_THAN_ONE_REQUEST = {
    "use_after_free": "test_edits.py, test_forks.py: what is withdrawn or erased is gone",
    "ensure_resource_availability": "test_edits.py, test_forks.py: what was made is there",
    "ignored_auth": "test_documented_refusals.py: every operation without a key",
    "object_level_authorization": "test_forks_apart.py: the forks of another shop",
}
NOT_MEANT = {
    "unsupported_method": "asks TRACE and the like through a client; test_wire.py does so on a socket",
    "positive_data_acceptance": "a description cannot say that a travel is one of the fork's: 404 and 422 are right",
}
CHECKS = [
    judged.CHECKS.get_one(name)
    for name in judged.CHECKS.get_all_names()
    if name not in {**NEEDS_MORE_THAN_ONE_REQUEST, **NOT_MEANT}
]
TAKEN_OR_NOT = [check for check in CHECKS if check.__name__ != "negative_data_rejection"]
"""Cases whose fault was taken out here or cannot be written in an address (an empty list), and so was never sent."""
OPERATIONS = [
    (path, method.upper())
    for path, item in DOCUMENT["paths"].items()
    for method in item
    if path not in IN_A_CHILD and method in ("get", "put", "post", "delete")
]
TAKING = [each for each in OPERATIONS if "parameters" in DOCUMENT["paths"][each[0]][each[1].lower()]]
"""Every other operation accepts anything except an unknown parameter."""
WRITES = [each for each in OPERATIONS if each[1] != "GET"]
MODES = [GenerationMode.POSITIVE, GenerationMode.NEGATIVE]

__all__ = ["service"]


def ask_at_random(service: Served, path: str, method: str, mode: GenerationMode, number: int, cases: int) -> list[int]:
    """The statuses of `cases` requests; raises whatever schemathesis finds."""
    operation = service.described[path][method]
    seen: list[int] = []

    @seed(number)
    @settings(
        max_examples=cases, derandomize=False, deadline=None, phases=[Phase.generate], database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy(generation_mode=mode), data=st.data())
    def ask(case: Any, data: st.DataObject) -> None:
        asked = set(case.query)
        case.query.pop("min_revision", None)  # a revision in the future is a 503, and not a fault
        if mode is GenerationMode.POSITIVE and (
            known := [*service.known(path), *([TORQUE] if "statements" in path else [])]
        ):
            for name in case.path_parameters or {}:
                case.path_parameters[name] = data.draw(st.sampled_from(known))
        response = case.call(headers=service.headers)
        sent = {name for name, _ in parse_qsl(urlsplit(str(response.request.url)).query, keep_blank_values=True)}
        checks = CHECKS if asked <= sent else TAKEN_OR_NOT
        if response.status_code != 414:  # schemathesis does not count "too long" as a refusal
            case.validate_response(response, checks=checks)
        seen.append(response.status_code)

    try:
        ask()
    except Unsatisfiable:  # only text is accepted there, so nothing has another type
        assert mode is GenerationMode.NEGATIVE
    return seen


@pytest.mark.parametrize("mode", MODES, ids=lambda mode: str(mode.value))
def test_no_write_fails_or_answers_otherwise_than_described(service: Served, mode: GenerationMode) -> None:
    seen = [status for path, method in WRITES for status in ask_at_random(service, path, method, mode, 1, CASES)]
    assert len(WRITES) >= 13
    assert max(seen) < 500


def test_a_lookup_outside_its_description_is_refused(service: Served) -> None:
    seen = Counter(
        status
        for path, method in TAKING
        if method == "GET"
        for status in ask_at_random(service, path, method, GenerationMode.NEGATIVE, 1, 2)
    )
    assert seen[422] > 20, seen


@pytest.mark.skipif(not MINUTES, reason="takes LEGWORK_TEST_FUZZ_MINUTES")
@pytest.mark.timeout(MINUTES * 60 + 300)
def test_nothing_is_found_for_as_long_as_is_wanted(service: Served) -> None:
    chance, until = random.Random(), time.monotonic() + MINUTES * 60
    seen: Counter[int] = Counter()
    found: dict[str, str] = {}
    while time.monotonic() < until:
        path, method = chance.choice([*TAKING, *WRITES * 3])
        number, mode = chance.randrange(2**32), chance.choice(MODES)
        try:
            seen.update(ask_at_random(service, path, method, mode, number, 25))
        except (AssertionError, BaseExceptionGroup) as failure:
            found.setdefault(f"{method} {path} {str(failure)[:200]}", f"{mode} {number}\n{str(failure)[:3000]}")
    print(f"{sum(seen.values())} requests in {MINUTES:g} minutes: {dict(sorted(seen.items()))}")
    assert not found, "\n\n".join(f"{what}\n{how}" for what, how in found.items())
