"""A check by several processes gives the same findings in the same order; a failed process gives no clean verdict."""

import os
import signal
from collections.abc import Iterator
from datetime import date

import pytest

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import Torque, is_row_of
from app.rules import apart
from app.rules.apart import AnyPart, JudgingFailed, judge_apart
from app.rules.batches import TableBatch
from app.rules.engine import judge_all
from app.rules.finding import Finding
from tests import catalogue_generator

TODAY = date(2026, 6, 1)


def two_processes(parts: Iterator[AnyPart], today: date) -> Iterator[Finding]:
    return judge_apart(parts, today, count=2, alone=0)


def test_two_processes_find_what_one_finds_in_the_same_order() -> None:
    rows = list(catalogue_generator.rows(40, 7))
    spoilt = [
        row.replaced(unit="psi", source=None) if is_row_of(row, Torque) and place % 9 == 0 else row
        for place, row in enumerate(rows)
    ]
    here = list(judge_all(MemoryRows(spoilt), TODAY))
    assert len(here) > 20
    assert list(judge_all(MemoryRows(spoilt), TODAY, judged=two_processes)) == here


def test_a_process_that_is_killed_is_no_clean_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    start = apart._started

    def start_and_kill(today: date) -> apart._Worker:
        worker = start(today)
        assert worker.process.pid is not None
        os.kill(worker.process.pid, signal.SIGKILL)
        return worker

    monkeypatch.setattr(apart, "_started", start_and_kill)
    with pytest.raises(JudgingFailed, match=r"died \(exit code -9\)"):
        list(judge_all(MemoryRows(catalogue_generator.rows(2, 7)), TODAY, judged=two_processes))


def test_an_error_in_a_process_is_raised_here() -> None:
    sound = TableBatch(Torque, [], [], frozenset())
    unreadable = TableBatch(Torque, [("too", "short")], [], frozenset())
    with pytest.raises(JudgingFailed, match="IndexError"):
        list(two_processes(iter([sound, unreadable]), TODAY))
