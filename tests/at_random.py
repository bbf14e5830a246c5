"""Runs a property on a few fixed examples, then on random ones for as long as you want.

LEGWORK_TEST_FUZZ_MINUTES sets how long, for each property separately; unset means not at all."""

import os
import random
import time
from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, given, seed, settings
from hypothesis.strategies import SearchStrategy, tuples

MINUTES = float(os.environ.get("LEGWORK_TEST_FUZZ_MINUTES", "0"))
AT_ONCE = 400


def hold(holds: Callable[..., None], *given_by: SearchStrategy[Any], few: int) -> None:
    """Runs `holds` on `few` examples; then, if the environment asks for it, on others until the time is up."""
    tried = 0

    def counted(values: tuple[Any, ...]) -> None:
        nonlocal tried
        tried += 1
        holds(*values)

    relaxed: dict[str, Any] = {"deadline": None, "suppress_health_check": list(HealthCheck)}
    settings(max_examples=few, derandomize=True, database=None, **relaxed)(given(tuples(*given_by))(counted))()
    until = time.monotonic() + MINUTES * 60
    while time.monotonic() < until:
        number = random.randrange(2**32)
        others = settings(max_examples=AT_ONCE, derandomize=False, database=None, **relaxed)
        seed(number)(others(given(tuples(*given_by))(counted)))()
    if MINUTES:
        print(f"{tried} examples of {holds.__qualname__}")
